"""Where the time of devices goes, in sentences, in tables and in words for its picture."""

from __future__ import annotations

from notify.core.where_time_goes import WAITING, Cause, Spent
from notify.flows.view_time import OfKind, Sums, TimeReport
from notify.render.bench_charts import CauseBar, ChartWords
from notify.web.counter import desk_words as d
from notify.web.counter.load_says import hours

WORDS = ChartWords("open hours of a device, on average", "hatched: it waits", "")
_CAUSES = {
    Cause.PART: "for a part", Cause.CUSTOMER: "for the customer", Cause.LINE: "for the bench",
    Cause.INSPECTING: "being looked at", Cause.BENCH: "on the bench", Cause.PROVING: "being proved",
    Cause.SHELF: "on the shelf", Cause.UNCLEAR: "moved by mistake",
}  # fmt: skip
_RARE = (Cause.INSPECTING, Cause.PROVING, Cause.UNCLEAR)  # said only where there is any


def finding(seen: TimeReport) -> str:
    """The answer, in one sentence."""
    whole = _work(seen.sums)
    if not seen.devices:
        return f"No device was here in the last {seen.days} days, so there is nothing to say."
    if not whole:
        return f"In the opening hours of the last {seen.days} days no device was in work."
    longest = max(WAITING, key=lambda cause: _open(seen.sums, cause))
    hands = f"{_hundred(_open(seen.sums, Cause.BENCH) / whole)} of 100"
    if not _open(seen.sums, longest):
        return f"No device has waited: of its open hours until it is ready, hands are on it in {hands}."
    share = _hundred(_open(seen.sums, longest) / whole)
    return (
        f"Until a device is ready, {share} of 100 of its open hours go into waiting {_CAUSES[longest]}; hands are on "
        f"it in {hands}."
    )


def about(seen: TimeReport) -> str:
    """What the figures rest on."""
    which = "the newest" if seen.cut else "the"
    devices = d.count(seen.devices, "device", "devices")
    line = seen.on_average(Cause.LINE)
    return (
        f"From {which} {devices} that {'was' if seen.devices == 1 else 'were'} here in the last {seen.days} days, "
        f"each counted for these days only. On average {_number(line)} waited for the bench at any time, "
        f"{_number(seen.on_average(Cause.SHELF))} stood on the shelf."
    )


def rows(seen: TimeReport) -> list[tuple[str, str, str, str]]:
    """(cause, open hours a device, of 100 until it is ready, days by the calendar a device)."""
    whole, devices = _work(seen.sums), max(1, seen.devices)
    return [
        (
            words(cause), hours(spent.open / devices),
            "–" if cause is Cause.SHELF or not whole else str(_hundred(spent.open / whole)),
            f"{spent.wall / devices / 86400:.1f}",
        )
        for cause in shown(seen)
        for spent in [seen.sums.get(cause, Spent())]
    ]  # fmt: skip


def kinds(seen: TimeReport) -> list[tuple[str, str, str]]:
    """(kind and how many devices, open hours on the bench of each, what one waits for longest); nothing of only one."""
    if len(seen.kinds) < 2:
        return []
    return [
        (f"{one.name or 'No kind named'}, {d.count(one.devices, 'device', 'devices')}", *_of_kind(one))
        for one in seen.kinds
    ]


def bars(seen: TimeReport) -> list[CauseBar]:
    """The picture, in open hours a device until it is ready."""
    devices = max(1, seen.devices)
    return [
        CauseBar(_CAUSES[cause], _open(seen.sums, cause) / devices / 3600, cause in WAITING)
        for cause in shown(seen) if cause is not Cause.SHELF
    ]  # fmt: skip


def in_words(seen: TimeReport) -> str:
    """The picture for whoever does not see it."""
    told = (f"{one.label} {hours(one.hours * 3600)}" for one in bars(seen))
    return f"Open hours of a device until it is ready, on average: {d.joined(told)}."


def words(cause: Cause) -> str:
    """ "Waits for a part", "On the bench"."""
    return f"Waits {_CAUSES[cause]}" if cause in WAITING else d.capital(_CAUSES[cause])


def shown(seen: TimeReport) -> list[Cause]:
    """The causes that are told, in their order."""
    return [cause for cause in Cause if cause not in _RARE or seen.sums.get(cause, Spent()).wall]


def _of_kind(one: OfKind) -> tuple[str, str]:
    longest = max(WAITING, key=lambda cause: _open(one.sums, cause))
    waits = _open(one.sums, longest) / one.devices
    told = f"{_CAUSES[longest]}, {hours(waits)} hours" if waits >= 180 else "hardly at all"
    return hours(_open(one.sums, Cause.BENCH) / one.devices), told


def _open(sums: Sums, cause: Cause) -> float:
    return sums.get(cause, Spent()).open


def _work(sums: Sums) -> float:
    """Open seconds until it is ready."""
    return sum(spent.open for cause, spent in sums.items() if cause is not Cause.SHELF)


def _number(average: float) -> str:
    return f"{average:.1f}" if average < 9.95 else f"{average:.0f}"


def _hundred(share: float) -> int:
    return round(share * 100)
