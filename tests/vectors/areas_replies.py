"""Adapters for what people write back, and for the one confirmation of a wish to stop."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from notify.core.may_confirm import may_confirm
from notify.core.reply_words import read_wish


def opt_out(given: dict[str, Any], expect: dict[str, Any]) -> None:
    """How a text is read; what goes to staff as "wrong number" must also stop that number (note of case o-30)."""
    wish = read_wish(given["text"])
    assert wish.cls == expect["cls"]
    assert wish.stop_this_number == (given["text"] == "wrong number")


def confirmation(given: dict[str, Any], expect: dict[str, Any]) -> None:
    """Whether one confirmation may go; the zone of its reader does not matter."""
    allowed = may_confirm(
        stopped_at=datetime.fromisoformat(given["optout_received"]),
        now=datetime.fromisoformat(given["confirmation_sent"]),
        confirmed_before=given["prior_confirmations"],
        marketing=given["contains_marketing"],
    )
    assert allowed == expect["allowed"]


AREAS = {"opt_out": opt_out, "confirmation": confirmation}
