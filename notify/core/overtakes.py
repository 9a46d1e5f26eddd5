"""Which message makes another one needless: several changes in one night become one about the latest state."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from notify.core.messages import MessageState

_A_NEW_TIME = frozenset(
    {"checked_in", "ready", "collection_reminder", "pickup_missed_note", "pickup_reminder", "pickup_cancelled"}
)
# Notice -> the kinds about the same ticket or visit that the same person need not read beside it, since it says how
# things stand whole when it is written. Kinds that it makes untrue stand in second_look.untrue instead.
OVERTAKES: dict[str, frozenset[str]] = {
    "ready": frozenset({"ready", "checked_in"}),
    "question": frozenset({"checked_in"}),
    "part_ordered": frozenset({"checked_in", "part_ordered"}),
    "part_arrived": frozenset({"checked_in", "part_ordered", "part_arrived"}),
    "promise_changed": frozenset({"checked_in", "part_ordered", "part_arrived"}),
    "called_back": frozenset({"part_ordered", "part_arrived"}),
    "pickup_confirmed": _A_NEW_TIME,
    "pickup_moved": _A_NEW_TIME,
}
# The time that counts is put in when the message is written, whatever the parts did meanwhile.
_TELLS_THE_TIME = frozenset({"promise_changed"})
_SAID = frozenset({MessageState.SENT, MessageState.CALLED})
_TO_COME = frozenset({MessageState.WAITING, MessageState.TO_CALL})


@dataclass(frozen=True, slots=True)
class Said:
    """Another message to the same person about the same visit. `composed_at` is when it was written, if it was."""

    seq: int
    notice: str
    about: str
    channel: str
    state: str
    due_at: datetime
    composed_at: datetime | None


@dataclass(frozen=True, slots=True)
class News:
    """The message in question; `one_device` and `nothing_in_work` are about its visit.

    `must_go` whatever else is told: it takes something out of the reader's calendar that nothing else would.
    """

    seq: int
    notice: str
    about: str
    created_at: datetime
    one_device: bool
    nothing_in_work: bool
    must_go: bool = False


def says_it_too(news: News, others: Iterable[Said]) -> Said | None:
    """The message that makes this one needless: one that has been said if there is any, else one still to leave."""
    found = [one for one in others if not news.must_go and _covers(one, news)]
    return min(found, key=lambda one: (not is_said(one), -one.seq), default=None)


def is_said(one: Said) -> bool:
    """Whether it has left, or was said on the phone."""
    return one.state in _SAID


def _covers(one: Said, news: News) -> bool:
    return (
        news.notice in OVERTAKES.get(one.notice, ())
        and (is_said(one) or one.state in _TO_COME)
        and (one.seq > news.seq or _speaks_last(one, news))
        and _is_about_all_of_it(one, news)
    )


def _speaks_last(one: Said, news: News) -> bool:
    """An older message tells later news as well when it is written after them."""
    return one.notice in _TELLS_THE_TIME and (one.composed_at is None or one.composed_at >= news.created_at)


def _is_about_all_of_it(one: Said, news: News) -> bool:
    """The first message speaks of all devices: of several, one about a single device does not stand for it.

    Whoever takes a pickup time has read all of it on the claim page.
    """
    if news.notice != "checked_in" or one.notice.startswith("pickup_"):
        return one.about == news.about
    return news.nothing_in_work if one.notice == "ready" else news.one_device


def never_heard_ready(news: News, others: Iterable[Said]) -> bool:
    """Whether nobody told this person to come, so that "do not come yet" would only puzzle them.

    A message that was written may have arrived, a skipped one means that they stood in the shop, and whoever has
    to do with a pickup has read the claim page.
    """
    before = [one for one in others if one.seq < news.seq]
    booked = any(one.notice.startswith("pickup_") for one in before)
    return not booked and not any(_may_be_heard(one) for one in before if one.notice == "ready")


def _may_be_heard(one: Said) -> bool:
    if one.channel == "call":
        return one.state == MessageState.CALLED
    return one.composed_at is not None or one.state == MessageState.SKIPPED
