"""A shop played one event after the other, with SimPy: it shares no code with the product, and no way of thinking.

People come on duty and go off it, parcels arrive, jobs end; after all that happens in one instant whoever is on duty
and free takes the best-ranked workable job, the first named one first. Seconds since 1970 throughout, whole ones.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import simpy

Steps = Generator[simpy.Event, Any, Any]
AFTER_ALL: Any = 9  # the priority of a choice; SimPy's own events have 0 and 1


@dataclass(frozen=True)
class Task:
    """A job in rank order: seconds still to do, when it is released, the parcels it needs, who is on it now."""

    name: str
    seconds: float
    released: float
    parcels: tuple[str, ...] = ()
    by: int | None = None


@dataclass(frozen=True)
class Place:
    """The shop: its zone, wall hours by weekday (minutes since midnight), closed dates, who is away when, proving."""

    zone: str
    hours: dict[int, tuple[tuple[int, int], ...]]
    closed: frozenset[date]
    away: tuple[tuple[tuple[float, float], ...], ...]  # for each technician
    proving: float


class Duty:
    """Whether somebody works: the shop is open, and they are not away. `changed` fires with every change."""

    def __init__(self, env: simpy.Environment) -> None:
        self.env, self.open, self.away, self.changed = env, False, 0, env.event()

    @property
    def on(self) -> bool:
        return self.open and not self.away

    def set(self, *, opened: bool | None = None, gone: int = 0) -> None:
        self.open = self.open if opened is None else opened
        self.away += gone
        fired, self.changed = self.changed, self.env.event()
        fired.succeed()


class Run:
    """One run from `now`; `ready` holds when each task is repaired and proved."""

    def __init__(self, place: Place, tasks: Sequence[Task], arrivals: dict[str, float | None], now: float) -> None:
        self.env = simpy.Environment(initial_time=now)
        self.place, self.tasks, self.now = place, tasks, now
        self.ready: dict[str, float] = {}
        self.workable: set[int] = set()
        self.counter = Duty(self.env)
        self.duties = [Duty(self.env) for _ in place.away]
        self.busy = [False] * len(place.away)
        self.parcels = {name: self._delivery(at) for name, at in arrivals.items()}
        self.env.process(self._doors())
        for number, absences in enumerate(place.away):
            for gone, back in absences:
                self.env.process(self._absence(self.duties[number], gone, back))
        for number in range(len(place.away)):
            self._sits_on(number)
        for rank, task in enumerate(tasks):
            if task.by is None:
                self.env.process(self._waits(rank, task))

    def until_all(self, last: float) -> dict[str, float]:
        """Plays on until every task is ready, or until `last`; what is not ready then is not in the answer."""
        while len(self.ready) < len(self.tasks) and self.env.peek() <= last:
            self.env.step()
        return self.ready

    def _delivery(self, at: float | None) -> Any:
        arrived = self.env.event()
        if at is not None:
            self._when(at, lambda: arrived.succeed())
        return arrived

    def _when(self, at: float, then: Callable[[], Any]) -> None:
        def wait() -> Steps:
            yield self.env.timeout(max(0.0, at - self.env.now))
            then()

        self.env.process(wait())

    def _doors(self) -> Steps:
        zone = ZoneInfo(self.place.zone)
        day = datetime.fromtimestamp(self.now, zone).date() - timedelta(days=1)
        while True:
            for opens, closes in self._today(day, zone):
                if closes > self.env.now:
                    yield self.env.timeout(max(0.0, opens - self.env.now))
                    self._doors_are(True)
                    yield self.env.timeout(closes - self.env.now)
                    self._doors_are(False)
            day += timedelta(days=1)
            if (day - datetime.fromtimestamp(self.now, zone).date()).days > 120:
                return

    def _today(self, day: date, zone: ZoneInfo) -> Iterator[tuple[float, float]]:
        if day in self.place.closed:
            return
        for opens, closes in self.place.hours.get(day.weekday(), ()):
            yield _instant(day, opens, zone), _instant(day, closes, zone)

    def _doors_are(self, opened: bool) -> None:
        for duty in (self.counter, *self.duties):
            duty.set(opened=opened)
        self._choose_later()

    def _absence(self, duty: Duty, gone: float, back: float) -> Steps:
        if back <= self.env.now:
            return
        yield self.env.timeout(max(0.0, gone - self.env.now))
        duty.set(gone=1)
        yield self.env.timeout(back - self.env.now)
        duty.set(gone=-1)
        self._choose_later()

    def _waits(self, rank: int, task: Task) -> Steps:
        if math.isinf(task.released):
            return
        yield self.env.timeout(max(0.0, task.released - self.env.now))
        for name in task.parcels:
            if not self.parcels[name].processed:
                yield self.parcels[name]
        self.workable.add(rank)
        self._choose_later()

    def _sits_on(self, who: int) -> None:
        """What lies on somebody's bench already, one after the other."""
        mine = [rank for rank, task in enumerate(self.tasks) if task.by == who]
        if mine:
            self.busy[who] = True
            self.env.process(self._works(who, mine))

    def _works(self, who: int, ranks: list[int]) -> Steps:
        for rank in ranks:
            yield from self._spends(self.duties[who], self.tasks[rank].seconds)
            self.env.process(self._proves(self.tasks[rank]))
        self.busy[who] = False
        self._choose_later()

    def _proves(self, task: Task) -> Steps:
        yield from self._spends(self.counter, self.place.proving)
        self.ready[task.name] = self.env.now

    def _spends(self, duty: Duty, seconds: float) -> Steps:
        while seconds > 0:
            if not duty.on:
                yield duty.changed
                continue
            began = self.env.now
            yield self.env.any_of([self.env.timeout(seconds), duty.changed])
            seconds -= self.env.now - began

    def _choose_later(self) -> None:
        choice = self.env.event()
        choice.callbacks.append(lambda _: self._choose())
        choice._ok, choice._value = True, None  # as succeed() does, but after everything else of this instant
        self.env.schedule(choice, priority=AFTER_ALL)

    def _choose(self) -> None:
        for who, duty in enumerate(self.duties):
            if duty.on and not self.busy[who] and self.workable:
                rank = min(self.workable)
                self.workable.remove(rank)
                self.busy[who] = True
                self.env.process(self._works(who, [rank]))


def _instant(day: date, minutes: int, zone: ZoneInfo) -> float:
    wall = datetime(day.year, day.month, day.day, tzinfo=zone) + timedelta(minutes=minutes)
    return wall.timestamp()
