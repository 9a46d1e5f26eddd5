"""What is played: the shop's bench, its jobs and the parcels they wait for; and what came of it.

All instants are seconds since 1970 UTC; infinite means never, or beyond the hours that were given.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from notify.forecast.axis import Axis
from notify.forecast.work import Duration

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[Any, np.dtype[np.float64]]

MOST_PEOPLE = 5


@dataclass(frozen=True, slots=True)
class Job:
    """One device's work. `duration` is the whole of it, of which `spent` seconds are done and were not enough.

    It is workable from `released` on, once each of its `parcels` is there. `by` is the technician (a position in
    `Bench.axes`) who is on it now; such a job is finished whatever comes.
    """

    id: str
    duration: Duration
    released: float
    parcels: tuple[str, ...] = ()
    spent: float = 0.0
    by: int | None = None

    def __post_init__(self) -> None:
        if math.isnan(self.released) or not 0 <= self.spent < math.inf:
            raise ValueError(f"job {self.id}: released {self.released}, spent {self.spent} seconds cannot be meant")


@dataclass(frozen=True, slots=True)
class Parcel:
    """What comes in one delivery: it arrives at each of `arrivals` (None: never) with the share beside it."""

    key: str
    arrivals: tuple[float | None, ...]
    shares: tuple[float, ...]

    def __post_init__(self) -> None:
        right = len(self.arrivals) == len(self.shares) and all(share >= 0 for share in self.shares)
        if not right or not math.isclose(sum(self.shares), 1, abs_tol=1e-6):
            raise ValueError(f"parcel {self.key}: give one share for each arrival, together 1")


@dataclass(frozen=True, slots=True)
class Bench:
    """Who works when: an axis for each technician, the counter's own, and the seconds of open time proving takes."""

    now: float
    axes: tuple[Axis, ...]
    counter: Axis
    proving: float = 0.0

    def __post_init__(self) -> None:
        if not math.isfinite(self.now) or not 0 <= self.proving < math.inf:
            raise ValueError(f"now {self.now}, proving {self.proving} seconds cannot be meant")
        if len(self.axes) > MOST_PEOPLE:
            raise ValueError(f"{len(self.axes)} technicians: up to {MOST_PEOPLE} are reckoned with")


@dataclass(frozen=True, kw_only=True)
class Played:
    """What came of it, jobs (in the order given) x paths: `busy` seconds at the bench, the others instants."""

    jobs: tuple[Job, ...]
    bench: Bench
    busy: Array
    ended: Array
    _begun: Array
    _axis: Axis | None  # what `_begun` is seconds of; None: it holds instants
    _rows: Array
    _row: tuple[int, ...]

    @cached_property
    def ready(self) -> Array:
        """When it is repaired and proved."""
        import numpy as np

        proving, counter = self.bench.proving, self.bench.counter
        if not proving:
            return self.ended
        done = counter.finish(counter.work(self.ended) + proving)
        return np.where(np.isfinite(self.ended), done, np.inf)

    @cached_property
    def started(self) -> Array:
        """When work on it begins, or goes on: of a job on the bench, now."""
        import numpy as np

        return np.maximum(self._begun if self._axis is None else self._axis.start(self._begun), self.bench.now)

    @cached_property
    def parts_in(self) -> Array:
        """When it is workable: released, and its parts there; now where they are already."""
        return self._rows[list(self._row)]

    def only(self, job_id: str) -> Played:
        """What came of one job alone, of the bench played with all. Raises StopIteration for one that was not there."""
        at = next(number for number, job in enumerate(self.jobs) if job.id == job_id)
        each = slice(at, at + 1)
        return replace(
            self, jobs=self.jobs[each], busy=self.busy[each], ended=self.ended[each], _begun=self._begun[each],
            _row=self._row[each],
        )  # fmt: skip
