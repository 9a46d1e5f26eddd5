"""How far the machine's clock is believed: a clock that leapt must not make everybody's time be over. A pure rule.

What is compared: the wall clock, how long the machine itself says that it has been running since the last look
(monotonic, nobody can set it), and whether people worked here since. A step back, or one forward while the machine
was running, is refuted by the machine itself. A long step while it was off may be a closed shop or a wrong clock: then
two signs are asked for, that hours have passed since by both clocks, and that somebody worked by this clock.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

# All four are our choice (common practice, no source). A long weekend stays below the first; holidays below the second.
STEADY = timedelta(days=3)  # without a look: believed at once
LONGEST_SHUT = timedelta(days=70)  # longer than that: a person has to say that the clock is right
SEEN_RUNNING = timedelta(hours=6)  # by the machine's own count, after a long step
DRIFT = timedelta(minutes=5)  # between the two clocks from one look to the next


@dataclass(frozen=True, slots=True)
class Trail:
    """`believed_at` is the newest time that is believed; `leapt_at` the first one seen after a long step, until it is.

    `seen` is how long the machine was then seen running. `refuted`: the machine's own count says that the time did not
    pass, so only a person can say that the clock is right now.
    """

    believed_at: datetime
    leapt_at: datetime | None = None
    seen: timedelta = timedelta(0)
    refuted: bool = False


def look(trail: Trail | None, now: datetime, *, ran: timedelta | None, worked: bool = False) -> Trail:
    """The trail after a look at the clock.

    `ran` is how long the machine has been running since the last look by its own count, None if that was before it was
    started. `worked`: something was done by people by this clock since it leapt.
    """
    if trail is None:
        return Trail(now)
    step = now - trail.believed_at
    if step < -DRIFT:
        return replace(trail, leapt_at=now, seen=timedelta(0))
    if step <= _plausible(ran):
        return Trail(max(now, trail.believed_at))
    if trail.leapt_at is None or not trail.leapt_at - DRIFT <= now <= trail.leapt_at + trail.seen + STEADY:
        seen_to_leap = trail.leapt_at is None and ran is not None  # the look before was at a time that is believed
        return Trail(trail.believed_at, now, refuted=trail.refuted or seen_to_leap or step > LONGEST_SHUT)
    return _proved(replace(trail, seen=trail.seen + (ran or timedelta(0))), now, worked)


def _plausible(ran: timedelta | None) -> timedelta:
    return STEADY if ran is None else max(STEADY, ran + DRIFT)


def _proved(trail: Trail, now: datetime, worked: bool) -> Trail:
    enough = trail.seen >= SEEN_RUNNING and worked and not trail.refuted
    return Trail(now) if enough else trail


def doubt(trail: Trail | None, now: datetime) -> str:
    """Why this clock is not believed: "back", "refuted" or "unproved"; empty when it is, or nobody ever looked."""
    if trail is None:
        return ""
    if now < trail.believed_at - DRIFT:
        return "back"
    if trail.leapt_at is not None and now - trail.believed_at > STEADY:
        return "refuted" if trail.refuted else "unproved"
    return "" if now - trail.believed_at <= STEADY else "unproved"
