"""What the buttons of a ticket's page do: moves and their undoing, notes, place, money, safety, a new claim ticket."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound, NotifyError
from notify.flows import desk_notes, handover, moves, reach, repair_kinds
from notify.flows.find_ticket import number_of
from notify.flows.view_ticket import view
from notify.web.counter import desk_words as d
from notify.web.counter.back import back_to
from notify.web.counter.ticket import Typed, page
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with, say
from notify.web.say import until

pages = Blueprint("ticket_posts", __name__)


def again(ticket_id: str, error: NotifyError, typed: Typed, *, fields: dict[str, str] | None = None) -> Response:
    """The page once more with what is wrong beside its field, and everything typed."""
    return page(ticket_id, errors=d.problems(error, fields), status=422, typed=typed)


@pages.post("/tickets/<ticket_id>/move")
def move(ticket_id: str) -> Response:
    """One move; undoing a handover is one too. A refused one says what is allowed instead."""
    form, reason, note = request.form, request.form.get("reason", ""), request.form.get("note", "")
    try:
        event_id, kind = _take(ticket_id, reason, note)
    except Invalid as error:
        event = form.get("event", "")
        if error.field == "reason" and not reason:
            error = Invalid("No reason was chosen", "Choose one of the list.", field="reason")
        fields = {"note": f"note-{event}", "reason": f"reason-{event}", "to": ""}
        return again(ticket_id, error, {"event": event, "reason": reason, "note": note}, fields=fields)
    except (NotAllowed, Conflict) as error:
        return page(ticket_id, refused=d.plain(error), status=409)
    said = d.words()(f"moved.{kind}", number=number_of(ctx(), current_actor(), ticket_id))
    ends = until(ctx().clock(), seconds=int(moves.UNDO_WITHIN.total_seconds()))
    undo = {"action": f"/tickets/{ticket_id}/undo", "event": event_id, "label": f"Undo, until {_seconds(ends)}"}
    return redirect_with(back_to(f"/tickets/{ticket_id}"), said, undo=undo if event_id else None)


def _seconds(moment: datetime) -> str:
    return say().local(moment).strftime("%H:%M:%S")


def _take(ticket_id: str, reason: str, note: str) -> tuple[str, str]:
    """Carries the move out; its event (none to undo after a handover was undone) and its kind."""
    form, to = request.form, request.form.get("to", "")
    if form.get("event") == "handover_undone":
        handover.undo_handover(ctx(), current_actor(), ticket_id, reason=reason)
        if note.strip():
            desk_notes.add_note(ctx(), current_actor(), ticket_id, text=note)
        return "", "handover_undone"
    seen = form.get("version", "")[:18]
    done = moves.move(
        ctx(), current_actor(), ticket_id, to, reason=reason, outcome=form.get("outcome", ""), note=note,
        anyway=form.get("anyway") == "1", seen_version=int(seen) if seen.isascii() and seen.isdigit() else None,
    )  # fmt: skip
    return done.event_id, done.kind


@pages.post("/tickets/<ticket_id>/undo")
def undo(ticket_id: str) -> Response:
    """Takes the last move back; later than 90 seconds an owner must say why."""
    reason = request.form.get("reason", "")
    try:
        moves.undo(ctx(), current_actor(), ticket_id, reason=reason, event_id=request.form.get("event", ""))
    except Invalid as error:
        return again(ticket_id, error, {"undo_reason": reason}, fields={"reason": "undo-reason"})
    except (NotAllowed, Conflict) as error:
        return page(ticket_id, refused=d.plain(error), status=409, typed={"undo_reason": reason})
    return redirect_with(
        back_to(f"/tickets/{ticket_id}"),
        d.words()("moved.corrected", number=number_of(ctx(), current_actor(), ticket_id)),
    )


@pages.post("/tickets/<ticket_id>/notes")
def note(ticket_id: str) -> Response:
    """Keeps a note."""
    text = request.form.get("note", "")
    try:
        desk_notes.add_note(ctx(), current_actor(), ticket_id, text=text)
    except Invalid as error:
        return again(ticket_id, error, {"new_note": text})
    return redirect_with(f"/tickets/{ticket_id}", "The note is kept.")


@pages.post("/tickets/<ticket_id>/place")
def place(ticket_id: str) -> Response:
    """Notes where the device lies."""
    shelf = request.form.get("shelf", "")
    try:
        desk_notes.set_place(ctx(), current_actor(), ticket_id, shelf=shelf)
    except Invalid as error:
        return again(ticket_id, error, {"shelf": shelf})
    return redirect_with(f"/tickets/{ticket_id}", "The place is noted.")


@pages.post("/tickets/<ticket_id>/paid")
def paid(ticket_id: str) -> Response:
    """Notes price, deposit and whether it is paid."""
    form = request.form
    typed = {"price_agreed": form.get("price_agreed", ""), "deposit": form.get("deposit", "")}
    is_paid = form.get("paid") == "yes"
    try:
        desk_notes.record_money(
            ctx(),
            current_actor(),
            ticket_id,
            paid=is_paid,
            price_agreed=typed["price_agreed"],
            deposit=typed["deposit"],
        )
    except Invalid as error:
        return again(ticket_id, error, {**typed, "paid": is_paid})
    return redirect_with(f"/tickets/{ticket_id}", "The money is noted.")


@pages.post("/tickets/<ticket_id>/safety")
def safety(ticket_id: str) -> Response:
    """Sets the safety flags."""
    desk_notes.set_safety(ctx(), current_actor(), ticket_id, flags=request.form.getlist("safety"))
    return redirect_with(f"/tickets/{ticket_id}", "The safety flags are noted.")


@pages.post("/tickets/<ticket_id>/kind")
def kind(ticket_id: str) -> Response:
    """Says what kind of repair it is, or takes that back."""
    typed = request.form.get("kind", "")[:100]
    try:
        repair_kinds.set_kind(ctx(), current_actor(), ticket_id, typed)
    except NotFound as error:
        view(ctx(), current_actor(), ticket_id)  # the ticket itself is there
        return again(ticket_id, error, {"kind": typed}, fields={"kind": "repair-kind"})
    return redirect_with(f"/tickets/{ticket_id}", "The kind of repair is kept.")


@pages.post("/tickets/<ticket_id>/contact")
def contact(ticket_id: str) -> Response:
    """Replaces a number or an address of somebody in the visit; what they allowed it for stays."""
    typed = {name: request.form.get(name, "") for name in ("person", "channel", "address")}
    visit_id = view(ctx(), current_actor(), ticket_id).line.visit_id
    try:
        new = reach.set_contact(ctx(), current_actor(), visit_id, typed["person"], channel=typed["channel"],
                                address=typed["address"], works_again="works_again" in request.form)  # fmt: skip
    except (Invalid, NotFound) as error:
        field = "contact-channel" if error.field == "channel" else "contact-address"
        fields = dict.fromkeys(("", "phone", "email", "channel", error.field), field)
        return again(ticket_id, error, {"contact": {**typed, "open": True}}, fields=fields)
    unused = reach.why_unused(ctx(), current_actor(), new)
    told = unused or "Messages that wait go there; calls stay on the list."
    return redirect_with(f"/tickets/{ticket_id}", f"Corrected. {told}")


@pages.post("/tickets/<ticket_id>/claim-ticket")
def claim_ticket(ticket_id: str) -> Response:
    """Replaces a lost claim ticket: the old code stops working, the number stays."""
    desk_notes.replace_claim_link(ctx(), current_actor(), ticket_id)
    return redirect_with(f"/tickets/{ticket_id}", "The old claim ticket no longer works. Print the new one now.")
