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
    A try of its own is made `last_call` before the end, so that nothing is given up early.
    """

    waits: tuple[timedelta, ...] = (timedelta(minutes=30), timedelta(minutes=30), timedelta(hours=1))
    then_every: timedelta = timedelta(hours=2)
    give_up_after: timedelta = timedelta(days=5)
    last_call: timedelta = timedelta(minutes=5)
    spread: float = 0.25

    def __post_init__(self) -> None:
        every = (*self.waits, self.then_every, self.give_up_after, self.last_call)
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
