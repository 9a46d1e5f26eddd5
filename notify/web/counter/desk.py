"""The handover desk: who collects what, from which shelf place, against which secret; one press hands back."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound
from notify.core.scan import read_scan
from notify.flows import desk_secret, handover
from notify.flows.view_handover import Collector, HandoverView, view_handover
from notify.web import carry
from notify.web.counter import desk_says as says
from notify.web.counter.scan import SCAN, remember
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, problems_of, redirect_with, render_page, say

pages = Blueprint("desk", __name__)


@pages.get("/visits/<visit_id>/handover")
def handover_desk(visit_id: str) -> Response:
    """What lies on the shelf for this visit, and what proves the claim."""
    return _desk(_seen(visit_id))


@pages.post("/visits/<visit_id>/scan")
def scan_here(visit_id: str) -> Response:
    """A secret shown at this visit's desk: a right one opens it, a wrong one is written down and said."""
    found = read_scan(request.form.get("scan", ""), base_url=ctx().public_url.rstrip("/"))
    try:
        desk_secret.try_secret(ctx(), current_actor(), visit_id, found)
    except (Invalid, desk_secret.WrongSecret) as error:
        return _desk(_seen(visit_id), errors=problems_of(error, fields={"scan": "shown"}), status=422)
    remember(visit_id, found)
    return redirect_with(f"/visits/{visit_id}/handover")


@pages.post("/visits/<visit_id>/handover")
def hand_back(visit_id: str) -> Response:
    """Gives one device back or all ready ones, against what was scanned, or against a check in words; also paid now."""
    seen, scanned = _seen(visit_id), _scanned(visit_id)
    chosen, _, paid = request.form.get("ticket", "").partition("+")
    wanted = [one.id for one in seen.ready] if chosen == "all" else [chosen]
    if not {one.id for one in seen.devices}.issuperset(wanted):
        raise NotFound("There is no such device in this visit", "Open the visit again.")
    try:
        done = handover.hand_back(
            ctx(), current_actor(), ticket_ids=wanted, token=scanned.get("token", ""),
            pass_code=scanned.get("pass", ""), by_code=scanned.get("how", "") == "contact_code",
            checked=request.form.get("checked", ""), collector=request.form.get("collector", ""),
            paid_now=paid == "paid", since=_since(),
        )  # fmt: skip
    except desk_secret.WrongSecret as error:  # it was right when it was scanned: used, replaced or taken back meanwhile
        carry.take(SCAN)
        return _desk(_seen(visit_id), errors=problems_of(error, fields={"scan": "shown"}), status=422)
    except (Invalid, NotAllowed) as error:
        return _desk(seen, errors=problems_of(error), status=422)
    except Conflict as error:
        return redirect_with(f"/visits/{visit_id}/handover", str(error))
    return _go_on(seen, scanned, done)


def _go_on(seen: HandoverView, scanned: dict[str, str], done: handover.HandedBack) -> Response:
    said = f"Handed back: {says.names(one for one in seen.devices if one.id in done.ticket_ids)}."
    if all(one.id in done.ticket_ids for one in seen.ready):
        carry.take(SCAN)
        return redirect_with("/", said)
    if scanned.get("pass"):
        carry.take(SCAN)  # it counts once
    elif scanned:
        carry.put(SCAN, {**scanned, "since": ctx().clock().isoformat()})
    return redirect_with(f"/visits/{seen.visit_id}/handover", said)


def _since() -> datetime | None:
    """When this customer's turn began: when they were scanned, or when the desk was opened, as its form says."""
    try:
        moment = datetime.fromisoformat(request.form.get("since", "")[:40])
    except ValueError:
        return None
    return moment if moment.tzinfo else None


def _seen(visit_id: str) -> HandoverView:
    return view_handover(ctx(), current_actor(), visit_id, pass_code=_scanned(visit_id).get("pass", ""))


def _scanned(visit_id: str) -> dict[str, str]:
    """What was scanned in this session within the last minutes, if it was of this visit."""
    kept: dict[str, str] = carry.look(SCAN) or {}
    return kept if kept.get("visit") == visit_id else {}


def _desk(seen: HandoverView, *, errors: list[Problem] | None = None, status: int = 200) -> Response:
    scanned, speak = _scanned(seen.visit_id), say()
    buttons, singles = says.buttons(seen, speak)
    return render_page(
        "handover.html", status=status, errors=errors, visit_id=seen.visit_id, refusal=says.refusal(seen),
        scanned=says.proof(seen, scanned, speak), asks_scan=not scanned, asks_check=not scanned or seen.asks_check,
        warnings=says.warnings(seen, speak), checked=request.form.get("checked", ""),
        since=request.form.get("since") or scanned.get("since") or seen.now.isoformat(),
        devices=[says.given(device, speak) for device in seen.devices], booking=says.booking(seen, speak),
        taker=says.taker(seen, scanned=bool(scanned)), collectors=_choice(seen), buttons=buttons, singles=singles,
        passes=[{"id": one.pass_id, "sentence": says.pass_line(one, speak)} for one in seen.collectors if one.pass_id],
    )  # fmt: skip


def _choice(seen: HandoverView) -> list[dict[str, Any]]:
    """Whom to choose between; nobody when only one may, or a pass has said who it is."""
    may = () if seen.by_pass else seen.collectors
    return [_option(one, at) for at, one in enumerate(may)] if len(may) > 1 else []


def _option(one: Collector, at: int) -> dict[str, Any]:
    return {"id": one.id, "label": says.collector(one), "on": request.form.get("collector", "") == one.id or (
        at == 0 and not request.form.get("collector"))}  # fmt: skip
