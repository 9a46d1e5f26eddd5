"""A visit just taken in, its code to photograph, and the desk where devices are handed back."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound
from notify.core.roles import may
from notify.core.tickets import OPEN_PHASES, Phase
from notify.flows import desk_notes, handover
from notify.flows.view_handover import Collector, HandoverView, view_handover
from notify.flows.view_ticket_print import claim_code
from notify.flows.view_visit import DeviceView, ReachView, VisitView, view_visit
from notify.render.qr import qr_svg
from notify.web import carry
from notify.web.counter import lines
from notify.web.counter.scan import SCAN
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, problems_of, redirect_with, render_page, say

pages = Blueprint("visits", __name__)
_BY = {"sms": "by text message to {address}", "email": "by e-mail to {address}"}


@pages.get("/visits/<visit_id>")
def show(visit_id: str) -> Response:
    """What was taken in, what to print, and how the customer will hear from us."""
    visit, speak = view_visit(ctx(), current_actor(), visit_id), say()
    has_claim = visit.devices[0].has_claim
    return render_page(
        "checked_in.html", here="check_in", visit_id=visit_id, person=visit.person, reach=reach_sentence(visit),
        tickets=[lines.slip(device, speak) for device in visit.devices],
        reissue=_may_reissue(visit), qr_src=f"/visits/{visit_id}/qr.svg" if has_claim else "",
        qr_help=_qr_help(len(visit.devices)),
    )  # fmt: skip


def _may_reissue(visit: VisitView) -> bool:
    return may(current_actor().role, "reissue") and any(one.phase in OPEN_PHASES for one in visit.devices)


@pages.post("/visits/<visit_id>/reissue")
def reissue(visit_id: str) -> Response:
    """New claim secrets in place of lost ones; the old ones stop working at once."""
    count = desk_notes.replace_claim_links(ctx(), current_actor(), visit_id)
    what = "ticket was" if count == 1 else f"{count} tickets were"
    return redirect_with(
        f"/visits/{visit_id}", f"The old claim {what} replaced. Print anew; old codes open nothing now."
    )


def _qr_help(devices: int) -> str:
    if not ctx().public_url:
        return "The customer may photograph this and show it when collecting; it opens no page."
    what = "the claim page" if devices == 1 else "the claim page of all these devices"
    return f"The customer may photograph this. It opens {what}."


def reach_sentence(visit: VisitView) -> str:
    """How this customer hears from us; when by nothing, that somebody will have to call."""
    who = visit.told or visit.person or "The customer"
    ways = [_BY[one.channel].format(address=one.address) for one in visit.reach if _is_used(one)]
    resting = [one.address for one in visit.reach if one.rests]
    said = f"{who} hears from us {' and '.join(ways)}." if ways else (
        f"{who} cannot be written to: there is no address or number that we may use. What must be said becomes a call."
    )  # fmt: skip
    return said + (f" {resting[0]} is in a device left with us and not used until it is back." if resting else "")


def _is_used(way: ReachView) -> bool:
    return bool(way.purposes) and not way.rests


@pages.get("/visits/<visit_id>/qr.svg")
def qr(visit_id: str) -> Response:
    """The claim code of the visit's first ticket, black on white."""
    code, number = claim_code(ctx(), current_actor(), visit_id)
    return Response(qr_svg(code, title=f"Claim code for {number}"), mimetype="image/svg+xml")


@pages.get("/visits/<visit_id>/handover")
def handover_desk(visit_id: str) -> Response:
    """What lies on the shelf for this visit, and what proves the claim."""
    return _desk(view_handover(ctx(), current_actor(), visit_id))


@pages.post("/visits/<visit_id>/handover")
def hand_back(visit_id: str) -> Response:
    """Gives one device or all ready ones back against the scanned claim, or against a check in words."""
    seen, chosen = view_handover(ctx(), current_actor(), visit_id), request.form.get("ticket", "")
    wanted = [one.id for one in seen.ready] if chosen == "all" else [chosen]
    if not {one.id for one in seen.devices}.issuperset(wanted):
        raise NotFound("There is no such device in this visit", "Open the visit again.")
    try:
        done = handover.hand_back(
            ctx(), current_actor(), ticket_ids=wanted, token=_scanned(visit_id).get("token", ""),
            checked=request.form.get("checked", ""), to=_taker(seen, request.form.get("collector", "")),
        )  # fmt: skip
    except (Invalid, NotAllowed) as error:
        return _desk(seen, errors=problems_of(error), status=422)
    except Conflict as error:
        return redirect_with(f"/visits/{visit_id}/handover", str(error))
    left = [one for one in seen.ready if one.id not in done.ticket_ids]
    names = ", ".join(one.device or one.number for one in seen.devices if one.id in done.ticket_ids)
    if left:
        return redirect_with(f"/visits/{visit_id}/handover", f"Handed back: {names}.")
    carry.take(SCAN)
    return redirect_with("/", f"Handed back: {names}.")


def _taker(seen: HandoverView, collector_id: str) -> str:
    """The name of who takes the devices when it is not the bringer."""
    for one in seen.collectors:
        if one.id == collector_id and one.role != "bringer":
            return one.name
    return ""


def _scanned(visit_id: str) -> dict[str, str]:
    """The claim scanned in this session within the last minutes, if it was one of this visit."""
    kept: dict[str, str] = carry.look(SCAN) or {}
    return kept if kept.get("visit") == visit_id else {}


def _desk(seen: HandoverView, *, errors: list[Problem] | None = None, status: int = 200) -> Response:
    scanned, speak = _scanned(seen.visit_id), say()
    proof = "No claim code was scanned. A claim number alone does not release a device: say how you know who this is."
    if scanned:
        proof = f"The claim code was scanned at {speak.time(datetime.fromisoformat(scanned['at']))}."
    return render_page(
        "handover.html", status=status, errors=errors, visit_id=seen.visit_id, refusal=_refusal(seen), scanned=proof,
        asks_check=not scanned, checked=request.form.get("checked", ""),
        devices=[_given(device) for device in seen.devices],
        collectors=[{"id": one.id, "label": _collector(one)} for one in seen.collectors],
    )  # fmt: skip


def _refusal(seen: HandoverView) -> dict[str, Any] | None:
    if seen.ready:
        return None
    sentences = [f"{one.device or one.number}: {lines.stands(one)}" for one in seen.devices]
    links = [{"label": f"{d.number} {d.device}".strip(), "href": f"/tickets/{d.id}"} for d in seen.devices]
    if all(one.phase is Phase.HANDED_BACK for one in seen.devices):
        return {
            "title": "Already handed back", "sentence": " ".join(sentences), "links": links,
            "steps": ["The page of the ticket says when it was handed back and by whom.",
                      "If somebody else stands here with this claim, find out first who took the device."],
        }  # fmt: skip
    return {
        "title": "Not yet handed back",
        "sentence": "Nothing of this visit is on the shelf. " + " ".join(sentences),
        "steps": ["Finish the repair, or put the device on the shelf unrepaired, on the page of its ticket.",
                  "Then scan the claim code again."],
        "links": links,
    }  # fmt: skip


def _collector(one: Collector) -> str:
    if one.role == "bringer":
        return f"{one.name}, who brought it" if one.name else "Who brought it"
    return f"{one.name}, named as collector"


def _given(device: DeviceView) -> dict[str, Any]:
    return {
        "id": device.id, "number": device.number, "device": device.device, "mark": device.phase.value,
        "sentence": lines.stands(device), "place": device.shelf, "accessories": list(device.accessories),
        "money": lines.money(device, say()), "owes": bool(device.left), "flag": lines.flag(device.safety),
        "cautions": lines.cautions(device.safety), "ready": device.phase.value == "on_shelf",
    }  # fmt: skip
