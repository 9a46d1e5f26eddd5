"""The bench: technicians who take jobs one after the other, played on many paths at once.

Nobody idles while something is workable, and what is begun is finished: whoever is free first takes, at the first
instant in which there is something to take, the best-ranked job that is workable then. One step a job, over all paths;
no step looks at jobs one by one. All times are whole seconds in floats, so sums are exact and comparing is safe.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from notify.forecast.axis import Axes

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[Any, np.dtype[np.float64]]
    Ints = np.ndarray[Any, np.dtype[np.signedinteger]]

_NUMBER = "int16"  # of jobs: the less memory a step goes through, the sooner it is done
_TIDY = 24  # steps after which whatever is empty on all paths is looked at no more


class Line:
    """The jobs that nobody has taken yet. Those with the same release on all paths are one row, taken in rank order.

    `rows` holds the row of each job (in rank order), `released` (rows x paths) when it is workable.
    """

    def __init__(self, rows: Sequence[int], released: Array) -> None:
        import numpy as np

        self.jobs, self.paths = len(rows), released.shape[1]
        earliest = released.min(axis=1)
        order = np.argsort(earliest, kind="stable")
        self.released, self.earliest = released[order], earliest[order]
        self.row = np.argsort(order)[np.asarray(rows, dtype=np.intp)]
        first, self.after = _chains(self.row, len(order))
        self.head = np.repeat(first[:, None], self.paths, axis=1)
        self.each = np.arange(self.paths)
        self.steps = 0

    def pick(self, at: Array) -> Ints:
        """The best-ranked job that is workable at each path's instant; `jobs` where none is."""
        import numpy as np

        reached = int(np.searchsorted(self.earliest, at.max(), side="right"))
        if not reached:
            return np.full(self.paths, self.jobs, dtype=self.head.dtype)
        return _best(self.head[:reached], self.released[:reached], at, self.jobs)

    def next_release(self, where: Ints) -> Array:
        """When the next job becomes workable, on those paths."""
        import numpy as np

        there = self.head[:, where] < self.jobs
        return np.asarray(np.where(there, self.released[:, where], np.inf).min(axis=0))

    def pick_on(self, where: Ints, at: Array) -> Ints:
        """`pick`, on those paths only."""
        return _best(self.head[:, where], self.released[:, where], at, self.jobs)

    def take(self, jobs: Ints) -> None:
        """Those jobs, one on each path, are taken."""
        self.head.reshape(-1)[self.row[jobs] * self.paths + self.each] = self.after[jobs]
        self.steps += 1
        if self.steps % _TIDY == 0:
            self._tidy()

    def _tidy(self) -> None:
        import numpy as np

        kept = (self.head < self.jobs).any(axis=1)
        if not kept.all():
            self.row = (np.cumsum(kept) - 1)[self.row]
            self.released, self.head, self.earliest = self.released[kept], self.head[kept], self.earliest[kept]


def play_together(free: Array, line: Line, work: Array) -> tuple[Array, Array]:
    """When each job begins and ends (jobs x paths), for technicians who keep the same hours.

    All times are seconds of work on their axis, on which a shut time has no length: so whatever happens in one has
    happened before the next choice. `free` (technicians x paths) is when each of them has finished what is on the
    bench; `work` (jobs x paths) what each job takes.
    """
    import numpy as np

    free = np.sort(free, axis=0)
    if len(line.released) == 1:
        return _in_order(free, line.released[0], work)
    begun, ended = np.empty_like(work), np.empty_like(work)
    flat_begun, flat_ended, flat_work = begun.reshape(-1), ended.reshape(-1), work.reshape(-1)
    for _ in range(line.jobs):
        at = free[0].copy()
        job = line.pick(at)
        where = np.flatnonzero(job == line.jobs)
        if where.size:
            at[where] = line.next_release(where)
            job[where] = line.pick_on(where, at[where])
        line.take(job)
        place = np.multiply(job, line.paths, dtype=np.intp) + line.each
        flat_begun[place] = at
        flat_ended[place] = free[0] = at + flat_work[place]
        _sink(free)
    return begun, ended


def _in_order(free: Array, released: Array, work: Array) -> tuple[Array, Array]:
    """`play_together` for jobs that are all released at once: they are taken as they are ranked."""
    import numpy as np

    begun, ended = np.empty_like(work), np.empty_like(work)
    for job in range(len(work)):
        begun[job] = np.maximum(free[0], released)
        ended[job] = free[0] = begun[job] + work[job]
        _sink(free)
    return begun, ended


def play_apart(free: Array, line: Line, work: Array, axes: Axes) -> tuple[Array, Array]:
    """The same for technicians with hours of their own; all times are instants here.

    Of two who could begin in the same instant the first named one takes the better-ranked job.
    """
    import numpy as np

    people = np.arange(len(free))[:, None]
    ready = axes.begin(people, free)
    begun, ended = np.empty_like(work), np.empty_like(work)
    flat_begun, flat_ended, flat_work = begun.reshape(-1), ended.reshape(-1), work.reshape(-1)
    for _ in range(line.jobs):
        who = ready.argmin(axis=0)
        at = ready[who, line.each]
        job = line.pick(at)
        where = np.flatnonzero(job == line.jobs)
        if where.size:
            able = axes.begin(people, np.maximum(ready[:, where], line.next_release(where)))
            who[where] = able.argmin(axis=0)
            at[where] = able[who[where], np.arange(where.size)]
            job[where] = line.pick_on(where, at[where])
        line.take(job)
        place = np.multiply(job, line.paths, dtype=np.intp) + line.each
        end = axes.end(who, at, flat_work[place])
        flat_begun[place], flat_ended[place] = at, end
        ready[who, line.each] = axes.begin(who, end)
    return begun, ended


def _best(head: Ints, released: Array, at: Array, none: int) -> Ints:
    """The smallest of `head` in each column of those that are released by then; by arithmetic, which has no branches
    (a tenth of the time of a choice by mask, measured)."""
    import numpy as np

    late = np.greater(released, at)
    barred = np.multiply(late.view(np.int8), none, dtype=head.dtype, casting="unsafe")
    return np.asarray(np.maximum(barred, head, out=barred).min(axis=0))


def _sink(free: Array) -> None:
    """Puts the first row of otherwise sorted columns in its place."""
    import numpy as np

    for row in range(len(free) - 1):
        early, late = np.minimum(free[row], free[row + 1]), np.maximum(free[row], free[row + 1])
        free[row], free[row + 1] = early, late


def _chains(row: Ints, rows: int) -> tuple[Ints, Ints]:
    """The first job of each row, and the one after each job in its row; the number of jobs for none."""
    import numpy as np

    first, after = (np.full(size, len(row), dtype=_NUMBER) for size in (rows, len(row) + 1))
    for job in range(len(row) - 1, -1, -1):
        after[job], first[row[job]] = first[row[job]], job
    return first, after
