"""Working days of a supplier, and when what is ordered from it arrives.

Counted as numpy's busday functions count (their documented examples are among the tests): a day of the week mask that
is neither a closed date nor a holiday. Counts are half-open, so that one after another adds up.
"""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from notify.core.errors import Invalid
from notify.core.hours import Counter, is_open
from notify.core.instants import instant, local, need_aware, zone

WEEKDAYS = "1111100"  # Monday first
USUAL_HOUR = time(10)  # when a box comes from a supplier of whom no hour is known; common practice, no source
MOST_DAYS = 365  # a delivery is never said to take longer
CLOSED_MOST = 400  # closed dates of one supplier
_LOOK_AHEAD = 400  # days; one without a working day in them never works
_TRIES = 40  # working days on which a box comes again; a shop that is shut for longer has it brought back
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class WorkingDays:
    """Which days are working days: `mask` has seven signs 0 or 1, Monday first. Closed dates and holidays are none."""

    mask: str = WEEKDAYS
    closed: frozenset[date] = frozenset()
    holidays: Container[date] = frozenset()

    def __post_init__(self) -> None:
        check_mask(self.mask)

    def __contains__(self, day: object) -> bool:
        return (
            isinstance(day, date)
            and self.mask[day.weekday()] == "1"
            and day not in self.closed
            and day not in self.holidays
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Supplier:
    """A supplier's habits. Its cut-off counts in its own zone, its delivery hour in the shop's.

    `days`: working days from the day it sends on to the day it is here. `redelivers`: a box that finds the shop shut
    comes again on the next working day; otherwise somebody else takes it in.
    """

    zone: str
    cutoff: time | None = None
    delivers_at: time | None = None
    days: int = 1
    working: WorkingDays = field(default_factory=WorkingDays)
    redelivers: bool = False

    def __post_init__(self) -> None:
        zone(self.zone)
        check_days(self.days)


def check_mask(mask: str) -> str:
    """The mask, if it names at least one working day; raises Invalid."""
    if len(mask) != 7 or set(mask) - {"0", "1"}:
        raise Invalid(f"{mask[:20]!r} are no working days", "Give 7 signs, Monday first.", field="working_days")
    if "1" not in mask:
        raise Invalid("A supplier without any working day never delivers", "Choose a day.", field="working_days")
    return mask


def check_days(days: int) -> int:
    """The working days that a delivery takes; raises Invalid."""
    if not 0 <= days <= MOST_DAYS:
        raise Invalid(f"A delivery takes 0 to {MOST_DAYS} working days", "Correct the days.", field="days")
    return days


def parse_closed(days: Iterable[date]) -> tuple[date, ...]:
    """Closed dates in order, each once; raises Invalid for more than anybody closes."""
    found = tuple(sorted(set(days)))
    if len(found) > CLOSED_MOST:
        raise Invalid(f"More than {CLOSED_MOST} closed days", "Take those that are past away.", field="closed_days")
    return found


def nearest(working: WorkingDays, day: date, *, back: bool = False) -> date:
    """That day if it is a working day, else the next one, or with `back` the one before. Raises Invalid without any."""
    step = -_DAY if back else _DAY
    for ahead in range(_LOOK_AHEAD):
        if (found := day + ahead * step) in working:
            return found
    raise Invalid(
        f"This supplier has no working day in {_LOOK_AHEAD} days",
        "Correct its working days, closed days or holidays under settings.",
        field="working_days",
    )


def shifted(working: WorkingDays, day: date, number: int) -> date:
    """So many working days after `day`, below 0 before it. The first after a Saturday is Monday. Raises Invalid."""
    step = _DAY if number > 0 else -_DAY
    for _ in range(abs(number)):
        day = nearest(working, day + step, back=number < 0)
    return day


def count(working: WorkingDays, first: date, until: date) -> int:
    """Working days from `first` until before `until`; none when that lies before."""
    return sum(first + ahead * _DAY in working for ahead in range((until - first).days))


def sent_on(supplier: Supplier, ordered_at: datetime) -> date:
    """The day on which the supplier sends what was ordered then: that day if it works and the cut-off is kept.

    An order at the very minute of the cut-off keeps it; the cut-off is read on the supplier's own clock.
    """
    there = local(ordered_at, supplier.zone)
    today = there.date()
    late = supplier.cutoff is not None and there.time() > supplier.cutoff
    return nearest(supplier.working, today + _DAY if late else today)


def arrival(supplier: Supplier, ordered_at: datetime, shop: Counter) -> datetime:
    """When a part that is ordered then usually arrives (UTC). Raises Invalid for a supplier that never works.

    What cannot be here any more on its day, since that hour is past, comes on the next working day.
    """
    day = shifted(supplier.working, sent_on(supplier, ordered_at), supplier.days)
    found = at_hour(supplier, day, shop)
    if found <= need_aware(ordered_at):
        found = at_hour(supplier, shifted(supplier.working, day, 1), shop)
    return handed_in(supplier, found, shop)


def at_hour(supplier: Supplier, day: date, shop: Counter) -> datetime:
    """The supplier's usual hour on that day, on the shop's clock (UTC)."""
    return instant(datetime.combine(day, supplier.delivers_at or USUAL_HOUR), zone(shop.zone))


def handed_in(supplier: Supplier, due: datetime, shop: Counter) -> datetime:
    """When a box that comes at `due` is really here: with `redelivers` on the first working day from then on that finds
    the shop open at that hour. Else, and where no day in _TRIES does, at `due` itself.
    """
    moment, wall = due, local(due, shop.zone)
    for _ in range(_TRIES if supplier.redelivers else 0):
        if is_open(shop, moment):
            return moment
        wall = datetime.combine(shifted(supplier.working, wall.date(), 1), wall.time())
        moment = instant(wall, zone(shop.zone))
    return due


def late_by(supplier: Supplier, due: datetime, arrived: datetime, shop: Counter) -> int:
    """How many of the supplier's working days after its due day something arrived; 0 for the day itself or earlier."""
    first, last = local(due, shop.zone).date(), local(arrived, shop.zone).date()
    return max(0, count(supplier.working, first + _DAY, last + _DAY))


def late(supplier: Supplier, due: datetime, days: int, shop: Counter) -> datetime:
    """When what was due then arrives if it comes so many working days later, at the same hour of the shop's clock."""
    wall = local(due, shop.zone)
    if days:
        day = shifted(supplier.working, wall.date(), days)
        due = instant(datetime.combine(day, wall.time().replace(tzinfo=None)), zone(shop.zone))
    return handed_in(supplier, due, shop)
