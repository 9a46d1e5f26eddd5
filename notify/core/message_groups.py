"""How the owner looks at messages: in four groups, and which waiting ones are waiting for too long."""

from __future__ import annotations

from datetime import datetime, timedelta

from notify.core.errors import Invalid
from notify.core.messages import MessageState as State

GROUPS: dict[str, tuple[State, ...]] = {
    "waiting": (State.WAITING,),
    "told": (State.SENT, State.CALLED),
    "failed": (State.GIVEN_UP, State.TO_CALL),
    "dropped": (State.DROPPED, State.SKIPPED),
}
# A failure is news for so long; then it stands in the list like every other one (common practice, no source).
FAILURE_IS_NEWS = timedelta(days=14)
# Why a message waits though it might have left: somebody has to look when that lasts.
_HELD_UP = frozenset({"try_later", "cannot_compose", "no_time_left"})


def check_group(group: str) -> str:
    """The group's code, "" for all; raises Invalid."""
    if group and group not in GROUPS:
        raise Invalid(f"{group[:20]!r} is no group of messages", f"Use one of: {', '.join(GROUPS)}.", field="state")
    return group


def late_since(*, reason: str, due_at: datetime, created_at: datetime, now: datetime) -> datetime | None:
    """Since when a waiting message could have left and has not; None while it waits as it should.

    It should until its due time and through the night; not while the other side does not take it.
    """
    if reason in _HELD_UP:
        return created_at
    return due_at if due_at < now else None
