"""When the desk trusts no secret alone any more: three wrong ones for a visit ask for a check by staff."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from notify.core.events import Event

# Our choice, after facts of guessing at other doors: an honest customer has one old stub or misreads a code once.
MOST_WRONG = 3
WITHIN = timedelta(hours=24)
# Why a secret was refused -> what staff are told.
WHY: dict[str, tuple[str, str]] = {
    "unknown": (
        "This code opens nothing here: it was replaced, or it belongs to another shop",
        "Ask for the newest claim ticket, or check who it is.",
    ),
    "foreign": ("This code belongs to another visit", "Scan what came with this device, or check who it is."),
    "pass_used": ("This pass was used already", "It counts once. Check who it is, or call the customer."),
    "pass_revoked": ("This pass was taken back by the customer or the shop", "Call the customer before anything else."),
    "pass_expired": ("This pass ran out", "Ask the customer for a new one, or check who it is."),
}


def wrong_secrets(story: Iterable[Event], now: datetime) -> int:
    """How many wrong secrets were shown for a visit within a day and since its last handover; `story` in order."""
    count = 0
    for event in story:
        if event.kind == "handover_done":
            count = 0
        elif event.kind == "handover_refused" and now - WITHIN < event.at <= now:
            count += 1
    return count


def asks_for_check(count: int) -> bool:
    """Whether so many wrong secrets ask for a check by staff beside the right one."""
    return count >= MOST_WRONG
