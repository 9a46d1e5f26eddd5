"""The same jobs on the same luck in another order: what was drawn once (`ready.play`) is played again and again.

Where all technicians keep the same hours everything stays in seconds of their work, so that no instant is looked up:
a job is in time if it ends not after `latest`, which is its due time less proving, told on the same scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from notify.forecast.axis import Axes, Axis
from notify.forecast.bench import Line, play_apart, play_together
from notify.forecast.ready import Played

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[Any, np.dtype[np.float64]]


class Replay:
    """The jobs of `played`, to be played in other orders. Those on the bench go on; they are in no order."""

    def __init__(self, played: Played) -> None:
        import numpy as np

        self.bench, self.busy = played.bench, played.busy
        self.axis: Axis | None = self.bench.axes[0] if len(set(self.bench.axes)) == 1 else None
        self.axes = Axes.of(self.bench.axes) if self.axis is None else None
        self.running = tuple((n, job.by) for n, job in enumerate(played.jobs) if job.by is not None)
        rows, of_job = np.unique(played.parts_in, axis=0, return_inverse=True)
        self.rows, self.row = self._told(rows), of_job.ravel().tolist()
        self.ended = np.full(self.busy.shape, np.inf)
        self.free = self._after_running()

    def __call__(self, order: Sequence[int]) -> Array:
        """When each job ends at the bench (jobs in their own numbers x paths), if those waiting go in this order."""
        ended, waiting = self.ended.copy(), list(order)
        line = Line([self.row[job] for job in waiting], self.rows)
        if self.axes is None:
            _, ended[waiting] = play_together(self.free, line, self.busy[waiting])
        else:
            _, ended[waiting] = play_apart(self.free.copy(), line, self.busy[waiting], self.axes)
        return ended

    def latest(self, due: Sequence[float]) -> Array:
        """Until when each job may end at the bench to be proved and ready by `due` (instants); infinite: no hurry."""
        import numpy as np

        counter = self.bench.counter
        left = counter.work(np.asarray(due, dtype=float)) - self.bench.proving
        instants = np.where(left < 0, -np.inf, counter.start(left))
        if not self.bench.proving:
            instants = np.asarray(due, dtype=float)
        return instants if self.axis is None else np.where(np.isneginf(instants), -np.inf, self.axis.work(instants))

    def released(self) -> Array:
        """When each job is workable (jobs x paths), on the same scale."""
        return self.rows[self.row]

    def _told(self, instants: Array) -> Array:
        import numpy as np

        return instants if self.axis is None else np.where(instants < self.axis.end, self.axis.work(instants), np.inf)

    def _after_running(self) -> Array:
        """When each technician is free (x paths) once what is on the bench is done; notes when that is."""
        import numpy as np

        now = np.full((len(self.bench.axes), self.busy.shape[1]), float(math.ceil(self.bench.now)))
        free = now if self.axis is None else self.axis.work(now)
        for job, by in self.running:
            if self.axes is None:
                free[by] = free[by] + self.busy[job]
            else:
                free[by] = self.axes.end(by, self.axes.begin(by, free[by]), self.busy[job])
            self.ended[job] = free[by]
        return free
