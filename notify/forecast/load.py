"""How full the bench will be: of each stretch of time ahead, the seconds at the bench that there are and those taken.

What is taken comes from the played paths of forecast/ready: work that somebody began before an instant and has not
finished is done by then as far as their own hours went.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from notify.forecast.axis import Axis
from notify.forecast.promise import quantile
from notify.forecast.scene import Bench, Job, Played

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[Any, np.dtype[np.float64]]

LOW, HIGH = 0.1, 0.9


@dataclass(frozen=True, slots=True)
class Taken:
    """Seconds at the bench in one stretch: all that there are, and how many are taken, 8 times in 10 from `low` to
    `high`."""

    room: float
    mean: float
    low: float
    high: float


def load(bench: Bench, played: Played | None, edges: Sequence[float]) -> tuple[Taken, ...]:
    """What is taken between each two neighbours of `edges` (rising instants, none before now); nothing without jobs."""
    import numpy as np

    room = np.diff(sum((axis.work(np.array(edges)) for axis in bench.axes), np.zeros(len(edges))))
    if played is None:
        return tuple(Taken(float(one), 0.0, 0.0, 0.0) for one in room)
    taken = np.diff(done_by(played, edges), axis=0)
    return tuple(
        Taken(float(one), float(paths.mean()), quantile(np.sort(paths), LOW), quantile(np.sort(paths), HIGH))
        for one, paths in zip(room, taken, strict=True)
    )


def done_by(played: Played, edges: Sequence[float]) -> Array:
    """Seconds of work that all jobs together have had by each instant, from now on (edges x paths)."""
    import numpy as np

    done = np.zeros((len(edges), played.busy.shape[1]))
    for number, job in enumerate(played.jobs):
        for who, share in _by_whom(played, number, job):
            axis, busy = played.bench.axes[who], np.where(share, played.busy[number], 0.0)
            begun = axis.work(played.started[number])
            for at, edge in enumerate(edges):
                done[at] += np.clip(axis.work(edge) - begun, 0.0, busy)
    return done


def _by_whom(played: Played, number: int, job: Job) -> list[tuple[int, Any]]:
    """(technician, the paths on which they do it): whose hours between begin and end are as long as the work."""
    import numpy as np

    axes = played.bench.axes
    if len(set(axes)) == 1 or job.by is not None:
        return [(job.by or 0, True)] if axes else []
    off = np.array([_off(axis, played, number) for axis in axes])
    whom = off.argmin(axis=0) if len(axes) else np.zeros(0)
    return [(who, whom == who) for who in range(len(axes))]


def _off(axis: Axis, played: Played, number: int) -> Array:
    """How far the work is from what that axis holds between begin and end."""
    import numpy as np

    held = axis.work(played.ended[number]) - axis.work(played.started[number])
    return np.asarray(np.abs(held - played.busy[number]))
