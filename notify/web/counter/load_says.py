"""How full the bench will be, in sentences, in a table and in words for its picture."""

from __future__ import annotations

from notify.core.ready import Without
from notify.flows.view_load import BenchLoad, Day
from notify.render.bench_charts import ChartWords, DayBar
from notify.web.counter import desk_words as d

FULL = 0.95  # of its hours: nothing more fits in
WORDS = ChartWords("hours at the bench, and taken of them",
                   "outline: hours there are; stroke: 8 times in 10", "open days, with the hours taken")  # fmt: skip
_FOR = {
    Without.QUESTION: "for the customer's answer", Without.NOT_ORDERED: "for a part that is not ordered",
    Without.NO_DUE: "for a part that nobody knows the day of", Without.TOO_MANY: "behind more than can be reckoned",
    Without.NOBODY: "for somebody at the bench", Without.SHUT: "for the shop to open",
}  # fmt: skip


def finding(seen: BenchLoad) -> str:
    """The answer, in one sentence."""
    if not seen.people:
        return "Nobody is at the bench, so nothing can be foreseen."
    if not seen.days:
        return "The shop does not open in the next three weeks."
    if not seen.jobs:
        return "Nothing waits for the bench."
    free = next((at for at, day in enumerate(seen.days) if day.taken.room and day.share < FULL), None)
    if free is None:
        return f"The bench is full on all of the next {_days(len(seen.days))}{_after(seen)}."
    day = seen.days[free]
    taken = f"{hours(day.taken.mean)} of {hours(day.taken.room)} hours are taken"
    if not free:
        return f"The bench has room {_on(seen, day)}: {taken}."
    return f"The bench is full until {name(seen, seen.days[free - 1])}; {_on(seen, day)} {taken}."


def about(seen: BenchLoad) -> str:
    """What the figures rest on and leave out."""
    work = f"{d.capital(d.count(seen.jobs, 'device is', 'devices are'))} reckoned with, as orders, parts and hours are"
    out = [f"{d.count(number, 'waits', 'wait')} {_FOR.get(why, 'for something')}" for why, number in _known(seen)]
    more = f" Not in it: {d.joined(out)}." if out else ""
    return f"{work} now. What is still to be brought in is not foreseen.{more}"


def rows(seen: BenchLoad) -> list[tuple[str, str, str]]:
    """(day, hours taken of those there are, from and to 8 times in 10) for the table."""
    return [
        (
            d.capital(name(seen, day)), f"{hours(day.taken.mean)} of {hours(day.taken.room)}",
            f"{hours(day.taken.low)} to {hours(day.taken.high)}",
        )
        for day in seen.days
    ]  # fmt: skip


def bars(seen: BenchLoad) -> list[DayBar]:
    """The same for the picture, in hours."""
    return [
        DayBar(_short(seen, day), *(seconds / 3600 for seconds in
               (day.taken.room, day.taken.mean, day.taken.low, day.taken.high)))
        for day in seen.days
    ]  # fmt: skip


def in_words(seen: BenchLoad) -> str:
    """The picture for whoever does not see it."""
    told = (f"{name(seen, day)} {hours(day.taken.mean)} of {hours(day.taken.room)}" for day in seen.days)
    return f"Hours taken at the bench: {d.joined(told) or 'none'}."


def hours(seconds: float) -> str:
    """ "7.5"; whole hours from ten on."""
    found = seconds / 3600
    return f"{found:.1f}".removesuffix(".0") if found < 9.95 else f"{found:.0f}"


def name(seen: BenchLoad, day: Day) -> str:
    """ "today", or "Thursday, 26 November"."""
    return "today" if day.day == seen.today else f"{day.day:%A}, {day.day.day} {day.day:%B}"


def _on(seen: BenchLoad, day: Day) -> str:
    return name(seen, day) if day.day == seen.today else f"on {name(seen, day)}"


def _short(seen: BenchLoad, day: Day) -> str:
    return "today" if day.day == seen.today else f"{day.day:%a}"


def _days(number: int) -> str:
    return d.count(number, "open day", "open days")


def _after(seen: BenchLoad) -> str:
    return f", and {hours(seen.after)} hours of work come after them" if seen.after >= 1800 else ""


def _known(seen: BenchLoad) -> list[tuple[Without, int]]:
    return sorted(seen.without.items(), key=lambda one: (-one[1], one[0]))
