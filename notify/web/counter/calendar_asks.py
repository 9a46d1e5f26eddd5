"""What calendars answered and staff decide: a line for any sheet, and the buttons that settle it with one tap."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.calendar_choices import Choice
from notify.core.errors import Conflict, Invalid
from notify.core.roles import may
from notify.flows.pickup import Offer
from notify.flows.settle_answer import At, settle
from notify.flows.view_calendar import Question, view
from notify.flows.view_slots import read_slot
from notify.web.counter import desk_words as d
from notify.web.counter.back import back_to
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with
from notify.web.say import Say

pages = Blueprint("calendar_asks", __name__)
_SHORT = 160  # characters of the words that came with it


@pages.post("/calendar-answers/<answer_id>")
def decide(answer_id: str) -> Response:
    """Carries one decision out; what stands in its way is said on the page it came from. Raises NotFound."""
    back, typed = back_to("/pickups"), request.form.get("choice", "")
    try:
        choice = _choice(typed)
        settle(ctx(), current_actor(), answer_id, choice, at=_at(request.form.get("slot", "")))
    except (Conflict, Invalid) as error:
        return redirect_with(back, d.plain(error))
    return redirect_with(back, d.words()(f"choice_done.{choice}"))


def _choice(typed: str) -> Choice:
    try:
        return Choice(typed)
    except ValueError:
        raise Invalid("There is no such decision", "Press one of the buttons.", field="choice") from None


def _at(typed: str) -> At | None:
    if not typed:
        return None
    try:
        local, fold = read_slot(typed)
    except ValueError:
        raise Invalid(f"{typed[:40]!r} is no pickup time", "Press one of the buttons.", field="slot") from None
    return At(local, fold)


def asked_by_calendars(speak: Say, *, back: str) -> list[d.Line]:
    """Everything that waits for a decision; nothing for who may not see contacts, since people's words stand there."""
    actor = current_actor()
    found = view(ctx(), actor) if may(actor.role, "see_contact") else ()
    return [question_line(one, speak, back=back) for one in found]


def question_line(one: Question, speak: Say, *, back: str) -> d.Line:
    """One open answer with every key of templates/pages/_lines.html."""
    return d.sheet_line(
        d.person(one.person), sentence(one, speak), mark="question", number=one.number, href=f"/visits/{one.visit_id}",
        buttons=buttons(one, speak, back=back), id=f"calendar-{one.id}",
    )  # fmt: skip


def sentence(one: Question, speak: Say) -> str:
    """What was asked about which time, what fits, and the words that came with it."""
    stands = "Their time is" if one.is_live else "The time was"
    said = [d.staff_word("calendar_asks", one.asked), f"{stands} {_when(one.start_at, speak)}.", _wanted(one, speak)]
    words = " ".join(one.words.split())
    short = words if len(words) <= _SHORT else f"{words[:_SHORT].rstrip()}…"
    return " ".join(part for part in (*said, f"“{short}”" if short else "") if part)


def _wanted(one: Question, speak: Say) -> str:
    if not one.asked.startswith("proposal"):
        return ""
    if one.wants_at is None:
        return "Which time they ask for cannot be read; ask them."
    wanted = f"They ask for {_when(one.wants_at, speak)}"
    if one.is_own:
        return f"{wanted}: that lies within their pickup time, so nothing has to change."
    if one.fits or not one.is_live:
        return f"{wanted}."
    return f"{wanted}. No place is free then" + ("; these are the nearest." if one.near else ".")


def _when(moment: datetime, speak: Say) -> str:
    return d.at(speak, moment).removeprefix("at ")


def buttons(one: Question, speak: Say, *, back: str) -> list[d.Line]:
    """One button for each decision; for a proposal one for each time that can be had."""
    found: list[d.Line] = []
    for choice in one.can:
        if choice is Choice.TAKE:
            found += [_take(one, offer, speak, back=back) for offer in ((one.fits,) if one.fits else one.near)]
        else:
            found.append(d.button(f"/calendar-answers/{one.id}", d.word("choice", choice), choice=choice, back=back))
    return found


def _take(one: Question, offer: Offer, speak: Say, *, back: str) -> d.Line:
    slot = f"{offer.slot.local:%Y-%m-%dT%H:%M}/{offer.slot.fold}"
    label = d.word("choice", Choice.TAKE, when=speak.when(offer.slot.start))
    return d.button(f"/calendar-answers/{one.id}", label, main=offer is one.fits, choice=Choice.TAKE, slot=slot,
                    back=back)  # fmt: skip
