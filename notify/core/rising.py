"""How far a table with a rising change column was read: where the next look begins, and when all of it is compared.

Whoever writes there takes a value of the change column (its clock, a number) some time before the row can be seen. So
a look begins not at the newest value known, but at the one that was the newest `look_back` before the last look. What
was written by a transaction that lasted no longer than that is found by the next look; what took longer, by the whole
comparison of the next night. The value alone is never reckoned with, so that times, numbers and texts are alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

AHEAD = timedelta(days=1)  # more than any zone, and than clocks differ (from memory: the largest offset is 14 hours)
NIGHT = timedelta(hours=3)  # a night's comparison is due from three o'clock on (common practice, no source)
STEPS = 16  # so many marks in one `look_back`: few to keep, and a look reads a sixteenth more than it must

Value = int | float | Decimal | datetime | date | str | bytes | UUID
_READ: dict[str, Any] = {
    "int": int, "float": float, "Decimal": Decimal, "datetime": datetime.fromisoformat, "date": date.fromisoformat,
    "str": str, "bytes": bytes.fromhex, "UUID": UUID,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Bound:
    """From where on: everything above `value`, or with it where the same value may still come again (`same_too`)."""

    value: Value
    same_too: bool


@dataclass(frozen=True, slots=True)
class Position:
    """`of`: a hash of what was asked; `looked`: when the last look began; `newest`: the highest value it saw.

    `marks`: the highest values known at earlier looks, oldest first. `whole`: the night of the last whole comparison.
    """

    of: str
    looked: datetime | None = None
    newest: Value | None = None
    marks: tuple[tuple[datetime, Value], ...] = ()
    whole: date | None = None


def start(position: Position, look_back: timedelta) -> Bound | None:
    """Where the next look begins; None for the first one, which reads everything."""
    if position.looked is None or not position.marks:
        return None
    old = [value for at, value in position.marks if at <= position.looked - look_back]
    return Bound(old[-1], _is_coarse(old[-1])) if old else Bound(position.marks[0][1], same_too=True)


def night_of(now: datetime, zone: str) -> date:
    """The night that `now` belongs to, by the source's own clock: a day that begins at three o'clock."""
    return (now.astimezone(ZoneInfo(zone)) - NIGHT).date()


def is_whole_due(position: Position, now: datetime, zone: str, look_back: timedelta) -> bool:
    """Whether everything is to be compared: first thing, again when `look_back` is over for once, then each night."""
    if position.looked is None or not position.marks:
        return True
    if position.whole is None:
        return now >= position.marks[0][0] + look_back
    return night_of(now, zone) > position.whole


def moved(
    position: Position, *, began: datetime, newest: Value | None, look_back: timedelta, whole: date | None = None
) -> Position:
    """The position after a look that began at `began` and saw `newest` last (None: nothing new)."""
    newest = position.newest if newest is None else newest
    marks = tuple(mark for mark in position.marks if mark[0] <= began)  # our own clock may have been put back
    is_first = not marks
    if newest is not None and (is_first or (marks[-1][1] != newest and began >= marks[-1][0] + look_back / STEPS)):
        marks = (*marks, (began, newest))
    old = [at for at, _ in marks if at <= began - look_back]
    kept = tuple(mark for mark in marks if not old or mark[0] >= old[-1])
    return Position(position.of, began, newest, kept, position.whole if whole is None or is_first else whole)


def written(position: Position) -> dict[str, Any]:
    """The position as JSON."""
    return {
        "of": position.of,
        "looked": position.looked.isoformat() if position.looked else None,
        "newest": None if position.newest is None else _write(position.newest),
        "marks": [[at.isoformat(), _write(value)] for at, value in position.marks],
        "whole": position.whole.isoformat() if position.whole else None,
    }


def read(kept: Mapping[str, Any], of: str) -> Position:
    """The position that was kept; a new one where something else was asked then, so that all is read again."""
    if kept.get("of") != of:
        return Position(of)
    marks = tuple((datetime.fromisoformat(at), _read(value)) for at, value in kept["marks"])
    return Position(
        of,
        datetime.fromisoformat(kept["looked"]) if kept["looked"] else None,
        None if kept["newest"] is None else _read(kept["newest"]),
        marks,
        date.fromisoformat(kept["whole"]) if kept["whole"] else None,
    )


def _write(value: Value) -> list[str]:
    kind = type(value).__name__
    if isinstance(value, datetime | date):
        return [kind, value.isoformat()]
    return [kind, value.hex() if isinstance(value, bytes) else repr(value) if kind == "float" else str(value)]


def _read(kept: list[str]) -> Value:
    return _READ[kept[0]](kept[1])  # type: ignore[no-any-return]


def _is_coarse(value: Value) -> bool:
    """Whether the same value may be given again after long: a day without its time, or a text that is no time."""
    if isinstance(value, str):
        try:
            datetime.fromisoformat(value)
        except ValueError:
            return True
        return len(value) <= len("2026-11-28")
    return isinstance(value, date) and not isinstance(value, datetime)


def is_usable(value: Value | None, now: datetime) -> bool:
    """Whether a look may begin at this value. One far ahead, such as a year mistyped, would hide all that follow."""
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            return "infinity" not in str(value)
    if isinstance(value, datetime):
        value = value if value.tzinfo else value.replace(tzinfo=UTC)
        return value <= now + AHEAD
    return not isinstance(value, date) or value <= (now + AHEAD).date() if value is not None else False


def same_kind(value: object) -> Value | None:
    """The value of a change column, as it may be kept and asked for again; None for what cannot rise."""
    if value is None or isinstance(value, bool):
        return None
    if isinstance(value, datetime) and value.tzinfo:
        return value.astimezone(UTC)
    return value if type(value).__name__ in _READ else None  # type: ignore[return-value]
