"""The part of a ticket's page about its ready time: what is foreseen, what may be promised, and the words for it.

A first promise sends nothing: it stands on the paper and the claim page. Another time is sent, so its words can be read
before anybody presses.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from notify.core.bench_order import IN_WORK
from notify.core.parts import is_late
from notify.core.ready import Decides
from notify.dispatch.foretold import Foretold, Teller, foretell
from notify.flows.promises import WHY, heard
from notify.flows.view_ticket import TicketView
from notify.web.counter import desk_words as d
from notify.web.counter import forecast_says as ahead
from notify.web.errors import page_label
from notify.web.here import ctx, current_actor, services
from notify.web.pages import desk, say
from notify.web.say import Say

# Which reason a later time usually has; staff may choose another one.
_USUAL = {Decides.PART: "part_late", Decides.LINE: "bench_busy"}
Typed = dict[str, Any]


def context(seen: TicketView, speak: Say, typed: Typed) -> dict[str, Any]:
    """What ticket.html asks for about the ready time."""
    in_work, kept = seen.line.phase in IN_WORK, seen.line.promise_at or seen.suggested
    return {
        "may_promise": in_work, "promise_value": typed.get("promise", speak.for_input(kept)),
        "promise_help": _hint(seen, speak) if in_work else "", "promised": bool(seen.line.promise_at),
        "why": typed.get("why", usual_why(seen, speak)),
        "whys": [{"code": code, "label": d.words()(f"why.{code}")} for code in WHY],
        "ready": _ready(seen, speak) if in_work else None, "offer": _offer(seen, speak) if in_work else None,
        "preview": typed.get("preview"),
    }  # fmt: skip


def usual_why(seen: TicketView, speak: Say) -> str:
    """The reason that a later time would have, as far as the facts tell."""
    if any(is_late(part.state, part.due_at, now=speak.now) for part in seen.parts):
        return "part_late"
    found = seen.foreseen.forecast
    if found is not None and found.decides is Decides.PART and _found_since(seen):
        return "part_missing"
    return _USUAL.get(found.decides, "other") if found is not None and found.decides else "other"


def _found_since(seen: TicketView) -> bool:
    """Whether a part was found wanting only after the last promise."""
    promised = [one.at for one in seen.story if one.kind in ("promise_made", "promise_changed")]
    needed = [one.at for one in seen.story if one.kind == "part_needed"]
    return bool(promised and needed) and max(needed) > max(promised)


def preview(ticket_id: str, at: datetime, why: str) -> dict[str, Any]:
    """What the customer would read if the time were told now; `at` and `why` are sent on by its button."""
    speak, last = say(), heard(ctx(), current_actor(), ticket_id)
    shown = {"promise": speak.for_input(at), "why": why, "sms": "", "text": "", "language": ""}
    if last is None or last == at:
        quiet = "range.preview_first" if last is None else "range.preview_same"
        return {**shown, "sentence": d.words()(quiet, when=speak.by(at)), "label": f"Promise {speak.when(at)}"}
    words = _foretold(ticket_id, last, at, why)
    said = d.words()("range.preview", who=d.person(words.person), language=page_label(words.language))
    return {**shown, "sentence": said, "sms": words.sms, "text": words.text, "language": words.language,
            "label": f"Tell them {speak.when(at)}"}  # fmt: skip


def _foretold(ticket_id: str, last: datetime, at: datetime, why: str) -> Foretold:
    wired = services()
    teller = Teller(wired.texts, wired.words.get, ctx().public_url, wired.settings.limits.sms_parts)
    return foretell(ctx().db, desk().shop, teller, ticket_id, heard=last, at=at, why=why, now=ctx().clock())


def _hint(seen: TicketView, speak: Say) -> str:
    return f"Suggested: {speak.by(seen.suggested)}" if seen.suggested else "No time can be suggested now"


def _ready(seen: TicketView, speak: Say) -> dict[str, Any] | None:
    """Sentence, drawing and what it hangs on; None before the first forecast."""
    found = seen.foreseen.forecast
    if found is None:
        return None
    why = d.word("decides", found.decides) if found.decides and found.grid else ""
    drawn = ahead.picture(seen.foreseen, speak)
    legend = ahead.scale(seen.foreseen.on, speak) if drawn else None
    return {"sentence": ahead.sentence(seen.foreseen, speak), "why": why, "range": drawn, "scale": legend}


def _offer(seen: TicketView, speak: Say) -> dict[str, Any] | None:
    """One press: the suggested time, while none stands; once that is doubtful or past, its words first."""
    at, stands = seen.suggested, seen.line.promise_at
    if at is None or at == stands:
        return None
    if stands is None:
        return {"promise": speak.for_input(at), "why": "other", "label": f"Promise {speak.when(at)}", "look": False}
    if stands < speak.now or ahead.is_doubtful(seen.foreseen, speak):
        label = f"Promise {speak.when(at)} instead: read the words first"
        return {"promise": speak.for_input(at), "why": usual_why(seen, speak), "label": label, "look": True}
    return None
