"""Pickup slots: bookable times that the counter can really serve, kept as wall time, zone and fold."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from notify.core.errors import Conflict, Invalid
from notify.core.hours import MIDNIGHT, Counter, Hours, Span, SpecialDay, spans_with_rows
from notify.core.instants import exists, instant, is_ambiguous, need_aware, steady_offset, zone


class Taken(Conflict):
    """The last place of a slot has gone to somebody else."""


@dataclass(frozen=True, slots=True)
class Slot:
    """One bookable time. What is kept is `local` (naive wall time), `zone` and `fold`; the rest follows.

    `fold` is 1 for the second occurrence of a wall time that comes twice. `start` and `end` are UTC.
    """

    local: datetime
    zone: str
    fold: int
    start: datetime
    end: datetime
    capacity: int


def slots(counter: Counter, *, now: datetime, not_before: datetime | None = None) -> tuple[Slot, ...]:
    """Every slot that may be booked at `now`, earliest first; places already taken are not known here.

    From `now` plus the lead time, not before `not_before`, up to and including the local date that is
    `horizon_days` ahead. Wall times that a clock change skips are never among them, those that come twice
    are there twice. Raises Invalid.
    """
    return tuple(each_slot(counter, now=now, not_before=not_before))


def each_slot(counter: Counter, *, now: datetime, not_before: datetime | None = None) -> Iterator[Slot]:
    """The same, one after the other, for whoever needs only the first few."""
    today = need_aware(now).astimezone(zone(counter.zone)).date()
    days = (today + timedelta(days=ahead) for ahead in range(counter.horizon_days + 1))
    earliest = _earliest(counter, now, not_before)
    return (slot for day in days for slot in slots_on(counter, day) if slot.start >= earliest)


def slots_on(counter: Counter, day: date) -> tuple[Slot, ...]:
    """Every slot of one local date, whatever the time is now; none with a capacity of 0."""
    tz = zone(counter.zone)
    found: list[Slot] = []
    for span, row in spans_with_rows(counter, day):
        for slot in sorted(_cut(counter, day, span=span, row=row, tz=tz), key=lambda slot: slot.start):
            # After a skipped hour the wall clock catches up with a slot still running: serve that one first.
            if not found or slot.start >= found[-1].end:
                found.append(slot)
    return tuple(slot for slot in found if slot.capacity > 0)


def slot_at(counter: Counter, local: datetime, fold: int) -> Slot:
    """The slot at that naive wall time, whatever the time is now. Raises Invalid if there is none."""
    if local.tzinfo is not None:
        raise Invalid("A slot is named by the shop's wall time, without a zone", field="slot")
    tz = zone(counter.zone)
    if not exists(local, tz):
        raise Invalid(f"The clock skips {local:%H:%M} on {local:%Y-%m-%d}", "Choose another time.", field="slot")
    for slot in _near(counter, local.replace(fold=0)):
        if slot.local == local.replace(fold=0) and slot.fold == fold:
            return slot
    raise Invalid(f"There is no pickup slot at {local:%Y-%m-%d %H:%M}", "Choose one of the list.", field="slot")


def _near(counter: Counter, local: datetime) -> Iterator[Slot]:
    """The slots of that day that may be at `local`: on a day without a clock change the grid says so by itself."""
    day, length = local.date(), timedelta(minutes=counter.slot_minutes)
    if (offset := steady_offset(day, zone(counter.zone))) is None:
        yield from slots_on(counter, day)
        return
    for span, _ in spans_with_rows(counter, day):
        start = local.replace(tzinfo=UTC) - offset
        on_grid = not (start - span.start_utc) % length and span.start_utc <= start and start + length <= span.end_utc
        if on_grid and span.capacity > 0:
            yield Slot(local, counter.zone, 0, start, start + length, span.capacity)


def check_bookable(counter: Counter, slot: Slot, *, now: datetime, not_before: datetime | None = None) -> None:
    """Raises Invalid, saying why, if that slot may not be booked at `now`: too soon or too far ahead."""
    if slot.start < _earliest(counter, now, not_before):
        raise Invalid(f"The slot at {slot.local:%Y-%m-%d %H:%M} is too soon", "Choose a later one.", field="slot")
    today = need_aware(now).astimezone(zone(counter.zone)).date()
    if (slot.local.date() - today).days > counter.horizon_days:
        raise Invalid(
            f"The slot at {slot.local:%Y-%m-%d %H:%M} is more than {counter.horizon_days} days ahead",
            "Choose an earlier one.",
            field="slot",
        )


def _earliest(counter: Counter, now: datetime, not_before: datetime | None) -> datetime:
    soonest = need_aware(now) + timedelta(minutes=counter.lead_minutes)
    return soonest if not_before is None else max(soonest, need_aware(not_before))


def _cut(counter: Counter, day: date, *, span: Span, row: Hours | SpecialDay, tz: ZoneInfo) -> list[Slot]:
    """The row's wall-clock grid, each time once per occurrence that lies whole within the span."""
    length = timedelta(minutes=counter.slot_minutes)
    local = datetime.combine(day, row.opens)
    closes = datetime.combine(day, row.closes) + timedelta(days=row.closes == MIDNIGHT)
    if (offset := steady_offset(day, tz)) is not None:  # on nearly all days every wall time comes once
        start, whole = local.replace(tzinfo=UTC) - offset, range((closes - local) // length)
        times = ((local + n * length, start + n * length) for n in whole)
        return [Slot(wall, counter.zone, 0, at, at + length, span.capacity) for wall, at in times]
    found = []
    while local < closes:
        folds = (0, 1) if is_ambiguous(local, tz) else (0,) if exists(local, tz) else ()
        for fold in folds:
            start = instant(local, tz, fold=fold)
            if span.start_utc <= start and start + length <= span.end_utc:
                found.append(Slot(local, counter.zone, fold, start, start + length, span.capacity))
        local += length
    return found
