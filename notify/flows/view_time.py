"""Where the time of devices goes: how long they waited for what, in all and for each kind of repair."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.hours import Counter
from notify.core.open_time import open_times
from notify.core.where_time_goes import TELLING, Cause, Spell, Spent, add_up, spells
from notify.flows.context import Context
from notify.store import repair_kinds, shops, stories
from notify.store.database import Unit

# So many days back; fewer where more than MOST devices were here in them, so that one look stays bounded.
DAYS, MOST = (90, 30, 7), 4000
Sums = Mapping[Cause, Spent]
Whole = Sequence[tuple[str | None, tuple[Spell, ...]]]


@dataclass(frozen=True, slots=True)
class OfKind:
    """The devices of one kind of repair; `name` is empty for those that name none."""

    name: str
    devices: int
    sums: Sums


@dataclass(frozen=True, slots=True)
class TimeReport:
    """What the time between `first` and `now` went into, of every device that was here then, or of the newest `MOST`
    (`cut`). Only that time counts: what a device waited before does not.
    """

    first: datetime
    now: datetime
    days: int
    devices: int
    cut: bool
    sums: Sums
    kinds: tuple[OfKind, ...]

    def on_average(self, cause: Cause) -> float:
        """How many devices were under that cause at any instant of the time, on average."""
        return self.sums.get(cause, Spent()).wall / (self.now - self.first).total_seconds()


def view(ctx: Context, actor: Actor) -> TimeReport:
    """The report. Nothing is stored or changed."""
    actor.need("report")
    now = ctx.clock()
    with ctx.db.read(actor.shop_id) as unit:
        days, count = _look_back(unit, now)
        first = now - timedelta(days=days)
        told = stories.here_since(unit, first, TELLING, limit=MOST)
        whole = [(one.kind_id, spells(one.events, first=first, until=now)) for one in told]
        names = {kind.id: kind.name for kind in repair_kinds.list_kinds(unit)}
        counter = shops.get_counter(unit, ctx.shop(unit))
    known = [(kind, found) for kind, found in whole if found]
    of_kind = _sums(known, counter)
    kinds = [OfKind(names.get(kind or "", ""), number, sums) for kind, (number, sums) in of_kind.items()]
    return TimeReport(
        first=first, now=now, days=days, devices=len(known), cut=count > MOST,
        sums=_together(one.sums for one in kinds), kinds=tuple(sorted(kinds, key=lambda one: (-one.devices, one.name))),
    )  # fmt: skip


def _look_back(unit: Unit, now: datetime) -> tuple[int, int]:
    """How many days back, and how many devices were here since."""
    for days in DAYS:
        count = stories.count_here(unit, now - timedelta(days=days))
        if count <= MOST:
            break
    return days, count


def _sums(whole: Whole, counter: Counter) -> dict[str | None, tuple[int, Sums]]:
    """kind -> how many devices, and their sums."""
    at = open_times((edge for _, found in whole for one in found for edge in (one.start, one.end)), counter)
    sums: dict[str | None, tuple[int, Sums]] = defaultdict(lambda: (0, {}))
    for kind, found in whole:
        number, before = sums[kind]
        sums[kind] = (number + 1, _together((before, add_up(found, at))))
    return sums


def _together(several: Iterable[Sums]) -> Sums:
    found: dict[Cause, Spent] = {}
    for one in several:
        for cause, spent in one.items():
            found[cause] = found.get(cause, Spent()) + spent
    return found
