"""What pages say of reasons to keep data longer: on a ticket, and on the day sheet when somebody should look again."""

from __future__ import annotations

from typing import Any

from notify.core.holds import HOLD_REASONS, USUAL_REVIEW
from notify.core.retention import NOT_ADVICE
from notify.flows.data_holds import HoldLine, list_holds
from notify.flows.view_keeping import Keeping
from notify.web.counter import desk_words as d
from notify.web.here import ctx, current_actor
from notify.web.say import Say


def part(seen: Keeping, speak: Say, typed: dict[str, Any], *, may_hold: bool) -> dict[str, Any]:
    """The holds of a ticket's page and the form to set one; `typed` keeps what was refused."""
    usual = (speak.local(speak.now) + USUAL_REVIEW).date()
    blank = {"reason": "dispute", "note": "", "review_on": str(usual), "open": False}
    return {
        "holds": [
            {"id": one.id, "sentence": sentence(one), "overdue": one.overdue, "review_on": str(usual)}
            for one in seen.holds
        ],
        "hold": {**blank, **typed.get("hold", {})}, "may_hold": may_hold, "not_advice": NOT_ADVICE,
        "hold_reasons": [{"code": code, "label": d.capital(words)} for code, words in HOLD_REASONS.items()],
    }  # fmt: skip


def sentence(one: HoldLine) -> str:
    """Why, since when, and when somebody looks again."""
    note = f" ({one.note})" if one.note else ""
    again = (
        f"Somebody should look again: the day was {d.day(one.review_on)}. Until then they stay."
        if one.overdue
        else f"Somebody looks again on {d.day(one.review_on)}."
    )
    return f"Kept longer since {d.day(one.made_at.date())}: {HOLD_REASONS[one.reason]}{note}. {again}"


def sheet_line(one: HoldLine) -> d.Line:
    """The line on the day sheet for a hold whose day to look again has come."""
    said = f"{d.capital(HOLD_REASONS[one.reason])}: its data are kept longer. Does that still hold?"
    return d.sheet_line("Look again", said, mark="question", number=one.numbers[0],
                        href=f"/tickets/{one.ticket_id}#hold-{one.id}")  # fmt: skip


def sheet_lines() -> list[d.Line]:
    """Those whose day to look again has come; mostly none."""
    return [sheet_line(one) for one in list_holds(ctx(), current_actor()) if one.overdue]
