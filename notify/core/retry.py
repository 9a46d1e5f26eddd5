"""When to try a message again: quick at first, then patient, and never past its end."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.errors import Invalid
from notify.core.instants import need_aware


@dataclass(frozen=True, slots=True)
class Patience:
    """How long to wait after each failed try. The defaults follow RFC 5321 4.5.4.1.

    At least half an hour between tries, two tries in the first hour, then one every two to three hours,
    given up after four to five days. `spread` is the share that jitter may add to a wait (0.2 is 20 %).
    A try of its own is made `last_call` before the end, so that nothing is given up early. What somebody may be
    phoned about gives way to the next channel, or to the phone, already after `gives_way_after`.
    """

    waits: tuple[timedelta, ...] = (timedelta(minutes=30), timedelta(minutes=30), timedelta(hours=1))
    then_every: timedelta = timedelta(hours=2)
    give_up_after: timedelta = timedelta(days=5)
    last_call: timedelta = timedelta(minutes=5)
    spread: float = 0.25
    gives_way_after: timedelta = timedelta(hours=4)  # better today than at the message's last minute (no source)

    def __post_init__(self) -> None:
        every = (*self.waits, self.then_every, self.give_up_after, self.last_call, self.gives_way_after)
        if min(every) <= timedelta(0) or not 0 <= self.spread <= 1:
            raise Invalid("The waits between tries are not usable", "Every wait must be above zero, spread 0 to 1.")
        if any(a > b for a, b in zip(every, (*self.waits[1:], self.then_every), strict=False)):
            raise Invalid("The waits between tries shrink", "Let each be at least as long as the one before.")


MAIL = Patience()
# Our own mail server not answering is no fault of the far end: the half hour of RFC 5321 is about other
# people's servers, and a customer at the door should not wait it out (policy).
HAND_OVER = Patience(
    waits=(timedelta(minutes=1), timedelta(minutes=2), timedelta(minutes=5), timedelta(minutes=10)),
    then_every=timedelta(minutes=15),
    last_call=timedelta(minutes=1),
)
# A text is expected within minutes, and a text gateway is one phone company's or one modem's (policy, no source).
TEXT = Patience(
    waits=(timedelta(minutes=1), timedelta(minutes=2), timedelta(minutes=5), timedelta(minutes=10)),
    then_every=timedelta(minutes=15),
    give_up_after=timedelta(days=1),
    last_call=timedelta(minutes=1),
    gives_way_after=timedelta(hours=1),
)
# The way, and how the answer's code begins -> patience; the first that fits. Codes as in channels/base: those of the
# far end about this recipient or message wait as RFC 5321 asks, anything else is about our own line.
PATIENCE: tuple[tuple[str, tuple[str, ...], Patience], ...] = (
    ("sms", ("",), TEXT),
    ("email", ("rcpt-4", "data-4", "dot-4"), MAIL),
    ("email", ("",), HAND_OVER),
)


def patience_for(channel: str, code: str) -> Patience:
    """How long to wait after this answer on this channel; of an unknown channel, as for our own line."""
    fits = (found for way, begins, found in PATIENCE if way == channel and code.startswith(begins))
    return next(fits, HAND_OVER)


def end_of(patience: Patience, *, first_at: datetime, expires_at: datetime, may_call: bool) -> datetime:
    """When trying on one channel ends: `may_call` says that somebody can be phoned about it instead."""
    return min(expires_at, first_at + patience.gives_way_after) if may_call else expires_at


def next_try(
    attempt: int,
    *,
    first_at: datetime,
    now: datetime,
    jitter: float,
    expires_at: datetime | None = None,
    patience: Patience = MAIL,
) -> datetime | None:
    """Instant (UTC) of the next try after `attempt` tries have failed, or None: give up now.

    `jitter` in 0..1 comes from the caller's random source and only ever lengthens a wait. The answer is
    always later than `now` and earlier than the end, which is the sooner of `expires_at` and
    `first_at + give_up_after`. A clock set back moves nothing into the past. Raises Invalid.
    """
    if attempt < 1 or not 0 <= jitter <= 1:
        raise Invalid("A retry needs at least one try before it and a jitter from 0 to 1")
    started, at = need_aware(first_at), need_aware(now)
    end = started + patience.give_up_after
    if expires_at is not None:
        end = min(end, need_aware(expires_at))
    wait = patience.waits[attempt - 1] if attempt <= len(patience.waits) else patience.then_every
    planned = at + wait * (1 + patience.spread * jitter)
    last_call = end - patience.last_call
    if planned <= last_call:
        return planned
    return last_call if at < last_call else None
