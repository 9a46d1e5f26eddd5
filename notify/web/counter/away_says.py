"""Who is at the bench and who is away, in sentences for the page and the command."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from notify.core.absences import whole_days
from notify.flows.at_bench import Empty
from notify.flows.view_settings import Person
from notify.flows.view_staff import Colleague
from notify.render.dates import say_day, say_time
from notify.store.absences import Absence
from notify.web.counter import desk_words as d

_SHOWN = 3


def away(one: Absence, zone: str) -> str:
    """ "Tuesday, 1 December", "Tuesday, 1 December to Friday, 4 December", or with times; the last day is included."""
    if days := whole_days(one.starts_at, one.ends_at, zone):
        return " to ".join(dict.fromkeys(_day(day, zone) for day in days))
    starts, ends = (f"{say_day(at, zone=zone, language='en')}, {say_time(at, zone=zone, language='en')}"
                    for at in (one.starts_at, one.ends_at))  # fmt: skip
    return f"{starts} to {ends}"


def at_bench(name: str, everybody: Sequence[Person | Colleague]) -> str:
    """What holds after a change of somebody's tick."""
    found = [one for one in everybody if one.at_bench and getattr(one, "active", True)]
    said = f"{name} {'repairs' if any(one.name == name for one in found) else 'does not repair'} devices."
    if not found:
        return f"{said} Nobody is at the bench now, so no ready time can be named."
    return f"{said} At the bench: {d.joined(one.name for one in found)}."


def left_empty(empty: Empty, zone: str) -> str:
    """Which days an absence leaves without anybody at the bench; "" when none."""
    if not empty.days:
        return ""
    named = [_day(day, zone) for day in empty.days[:_SHOWN]]
    more = len(empty.days) - len(named)
    listed = d.joined([*named, d.count(more, "more day", "more days")] if more else named)
    where = f"{'falls' if empty.promises == 1 else 'fall'} on {'that day' if len(empty.days) == 1 else 'those days'}"
    told = f"; {d.count(empty.promises, 'promise', 'promises')} {where}" if empty.promises else ""
    return f"Nobody is at the bench on {listed}{told}."


def _day(day: date, zone: str) -> str:
    noon = datetime.combine(day, time(12), ZoneInfo(zone))
    return say_day(noon, zone=zone, language="en")
