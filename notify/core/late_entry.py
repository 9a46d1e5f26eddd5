"""Times of what is entered later than it happened: read by the wall, not ahead, not long ago, in their order."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from notify.core.errors import Invalid
from notify.core.events import Event
from notify.core.instants import exists, instant, need_aware, zone
from notify.core.tickets import MOVE_EVENTS

# Paper that lay longer than this is a mistyped date (common practice, no source).
LONGEST_BACK = timedelta(days=30)
# A clock on the wall and that of the computer differ; within so much a time counts as now.
CLOCKS_DIFFER = timedelta(minutes=2)
# What the work on a device is made of. Others, such as a call or a corrected address, may come in any order.
_WORK = MOVE_EVENTS | {
    "checked_in", "question_asked", "question_answered", "answer_taken_back", "question_withdrawn", "question_expired",
    "part_needed", "part_ordered", "part_arrived", "parts_complete", "part_dead",
}  # fmt: skip


def read_past(text: str, *, zone_name: str, now: datetime, field: str) -> datetime | None:
    """The instant of "2026-11-26T11:30" by the shop's clock (or with its own offset); None for an empty text.

    An hour that comes twice on the night of the clock change means the first one, as it is written down nowhere.
    Raises Invalid for what cannot be read, lies ahead, is older than LONGEST_BACK, or is an hour that never was.
    """
    if not text.strip():
        return None
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        raise Invalid("The time cannot be read", "Write it as 2026-11-26T11:30.", field=field) from None
    return need_past(_by_the_wall(at, zone_name, field), now=now, field=field)


def _by_the_wall(at: datetime, zone_name: str, field: str) -> datetime:
    if at.tzinfo is not None:
        return at
    if not exists(at, zone(zone_name)):
        raise Invalid("That hour was left out when the clocks went forward", "Look at the time again.", field=field)
    return instant(at, zone(zone_name))


def need_past(at: datetime, *, now: datetime, field: str) -> datetime:
    """The same instant in UTC; at most now. Raises Invalid when it lies ahead, or is older than LONGEST_BACK."""
    utc = need_aware(at, field=field)
    if utc > now + CLOCKS_DIFFER:
        raise Invalid("That time lies ahead", "Enter when it happened.", field=field)
    if now - utc > LONGEST_BACK:
        raise Invalid(
            f"That time is more than {LONGEST_BACK.days} days ago", "Look at the date once more.", field=field
        )
    return min(utc, now)


def last_of_work(story: Iterable[Event], ticket_id: str) -> datetime | None:
    """When something of the work on that device happened last, without what was taken back; None for nothing."""
    mine = [event for event in story if event.ticket_id == ticket_id]
    undone = {event.codes.get("undoes") for event in mine if event.kind == "corrected"}
    return max((event.at for event in mine if event.kind in _WORK and event.id not in undone), default=None)


def need_after(at: datetime, story: Iterable[Event], ticket_id: str, *, field: str) -> None:
    """Raises Invalid, naming no time of its own, when something of that device's work happened later than `at`."""
    last = last_of_work(story, ticket_id)
    if last is not None and at < last:
        raise Invalid(
            "Something else was written down for this device at a later time",
            "Look at its story, and enter what happened first before what happened then.",
            field=field,
        )
