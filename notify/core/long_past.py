"""What customers are told of something that was entered long after it happened: what still holds, never what was.

After a day without power, or when another system tells a whole day at once, an event's own time lies far before now.
Of each notice this table says whether it speaks of a state that may still hold, or of a moment that is over. All of it
is common practice, no source: nobody publishes how old news may be. Answers, codes and warnings do not stand here: they
answer what somebody wrote or changed this moment, which is never typed from paper.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.notices import NOTICES

REASON = "long_past"
# What happened before a backup was brought back: the database that was lost may have told it already.
RESTORED = "restored"
# Whoever types a day's paper types one line after the other: "ready" waits until the handover below it is typed too.
TYPING = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class OfState:
    """It speaks of a state: told however long ago that began, if the second look finds that it still holds."""

    why: str


@dataclass(frozen=True, slots=True)
class OfMoment:
    """It speaks of a moment: not told once that is long past. `most` is a shorter time than the shop's own."""

    why: str
    most: timedelta | None = None


HOLDS: Mapping[str, OfState | OfMoment] = {
    "ready": OfState("it lies on the shelf until somebody comes, and whoever is not told cannot come"),
    "question": OfState("it is open until somebody answers, and the work stands still for it"),
    "called_back": OfState("whoever was told to come would come for nothing"),
    "promise_changed": OfState("the new time lies ahead, and its life ends with it"),
    "pickup_moved": OfState("the time that was booked before no longer holds"),
    "pickup_cancelled": OfState("the time that was booked before no longer holds"),
    "pickup_confirmed": OfState("the booked time lies ahead; the second look drops one that changed"),
    "proposal_declined": OfState("the pickup stands at another time than was asked for"),
    "checked_in": OfMoment("they stood at the counter and hold the paper"),
    "part_ordered": OfMoment("the order is old news; the promise says what matters of it"),
    "part_arrived": OfMoment("it came long ago; what follows from it is told when it follows"),
    "handed_back": OfMoment("they have it at home"),
    "pickup_reminder": OfMoment("the time to be reminded of is over"),
    "pickup_missed_note": OfMoment(
        "while the shop was without power nobody wrote down who came: rather no note than one to somebody who did",
        most=timedelta(hours=1),
    ),
    "collection_reminder": OfMoment("the clock itself decides it anew each day"),
    "all_well": OfMoment("the clock itself decides it anew each day"),
}


def is_told(notice: str, at: datetime, *, now: datetime, after: timedelta) -> bool:
    """Whether a notice about something that happened `at` is still told; `after` is the shop's own time.

    The shop's own bell always rings: whoever works here is told what is still to be done, however late.
    """
    if NOTICES[notice].audience == "shop":
        return True
    held = HOLDS[notice]
    if isinstance(held, OfState):
        return True
    return now - at <= (after if held.most is None else min(after, held.most))


def entered_late(at: datetime, *, now: datetime, after: timedelta) -> bool:
    """Whether what happened `at` counts as told from paper: then what still holds waits a while before it leaves."""
    return now - at > after
