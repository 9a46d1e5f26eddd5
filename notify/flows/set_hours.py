"""Replace the whole week of opening hours together with how pickups are cut, or nothing at all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from typing import Any

from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.core.hours import Hours
from notify.flows.context import Context
from notify.flows.hits import changing_hours
from notify.flows.set_up import check_settings
from notify.store import shops


@dataclass(frozen=True, slots=True)
class HoursRow:
    """One row as typed. `i` names its fields (`hours-opens-<i>`); a row with neither time nor weekday is dropped."""

    i: int
    weekday: str = ""
    opens: str = ""
    closes: str = ""
    capacity: str = ""
    valid_from: str = ""
    valid_until: str = ""

    def is_empty(self) -> bool:
        """Whether the row is to be dropped."""
        return not (self.weekday.strip() or self.opens.strip() or self.closes.strip())


def set_hours(
    ctx: Context, actor: Actor, rows: Sequence[HoursRow], *, pickups: Mapping[str, Any], unless_hit: bool = False
) -> None:
    """Writes these rows instead of all before; `pickups` are shop settings. Raises Invalid with every wrong field.

    `unless_hit`: raises WouldHit and changes nothing if bookings would be hit.
    """
    actor.need("settings")
    with changing_hours(ctx, actor, unless_hit=unless_hit) as unit:
        shop = ctx.shop(unit)
        problems: list[Invalid] = []
        parsed = [_Row(row, problems).hours(today=ctx.today(shop)) for row in rows if not row.is_empty()]
        settings = check_settings(pickups, problems, unit.almanac)
        if problems:
            raise Invalid.many(problems)
        for hours_id, _ in shops.list_hours(unit):
            shops.drop_hours(unit, hours_id)
        for hours in parsed:
            if hours is not None:
                shops.add_hours(unit, hours)
        shops.put_settings(unit, settings, valid_from=ctx.today(shop))
        shops.get_counter(unit, ctx.shop(unit))  # refuses hours that overlap


class _Row:
    """Parses one row; what is wrong goes to the list of problems with the field's name."""

    def __init__(self, row: HoursRow, problems: list[Invalid]) -> None:
        self._row, self._problems, self._found = row, problems, len(problems)

    def hours(self, *, today: date) -> Hours | None:
        """The row, or None when a field is wrong."""
        row = self._row
        weekday = int(row.weekday) if row.weekday in tuple("0123456") else self._wrong("weekday", "Choose a day", -1)
        opens, closes = self._time("opens"), self._time("closes")
        capacity = self._capacity()
        first = self._day("valid_from") or today
        last = self._day("valid_until")
        if len(self._problems) > self._found or opens is None or closes is None:
            return None
        try:
            return Hours(
                weekday=weekday, opens=opens, closes=closes, capacity=capacity, valid_from=first, valid_until=last
            )
        except Invalid as problem:
            self._problems.append(Invalid(problem.what, problem.advice, field=f"{problem.field}-{row.i}"))
            return None

    def _wrong(self, name: str, what: str, instead: Any = None) -> Any:
        self._problems.append(Invalid(f"Row {self._row.i}: {what}", field=f"{name}-{self._row.i}"))
        return instead

    def _time(self, name: str) -> time | None:
        try:
            return time.fromisoformat(getattr(self._row, name).strip()).replace(tzinfo=None)
        except ValueError:
            return self._wrong(name, "write the time like 10:00")  # type: ignore[no-any-return]

    def _day(self, name: str) -> date | None:
        text = getattr(self._row, name).strip()
        try:
            return date.fromisoformat(text) if text else None
        except ValueError:
            return self._wrong(name, "write the day like 2026-11-25")  # type: ignore[no-any-return]

    def _capacity(self) -> int:
        text = self._row.capacity.strip() or "1"
        if not (text.isascii() and text.isdigit()) or len(text) > 4:
            return self._wrong("capacity", "write how many people can collect at once in digits", 0)  # type: ignore[no-any-return]
        return int(text)
