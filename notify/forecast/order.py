"""A better order for the bench: the one in which most promises are likely to be kept.

It starts from the best of a few exact rules and moves one ticket at a time (insertion), judged by the same chance
(common random numbers), so that two orders differ by the order only. Besides kept promises a little counts how late
the others are: nobody who cannot be kept any more is forgotten. What it finds is judged anew with other chance.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

    Matrix = np.ndarray[Any, np.dtype[np.float64]]

Order = tuple[int, ...]
# From an order of all jobs (by their numbers) to when each job is ready: jobs x paths, seconds since 1970.
Play = Callable[[Order], "Matrix"]

STEP = 0.02  # a move is made for so many promises more
ENOUGH = 0.25  # and the whole suggested for so many
LATE = 0.01 / 3600  # of a promise, for each second that a job is late …
MOST_LATE = 100 * 3600.0  # … and no more than one promise for each job
MOST = 30  # of the jobs in line so many are looked at, those that stand first
LOOKS = 800  # orders that are tried at most with up to 12 jobs in line; fewer with more, for each costs more
PATHS, CHECKED = 400, 2000
# Why one ticket should move: sooner, because its promise is near and the others can wait; later, because it can wait
# itself; later, because it would come late in any case and holds the others up.
WHYS = ("sooner", "can_wait", "late_anyway")
LOST = 0.1  # the chance below which a promise is as good as broken


@dataclass(frozen=True, slots=True)
class Goals:
    """What the jobs are wanted by, in their own order: when (seconds since 1970), and whether that was promised."""

    due: Sequence[float]
    promised: Sequence[bool]


@dataclass(frozen=True, slots=True)
class Judged:
    """How an order does: promises kept on average, the same less a little for being late, each job's chance."""

    kept: float
    worth: float
    chances: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """A better order; `moved` is the job that changes most for it and `why` one of WHYS. `looks` is what it took."""

    order: Order
    before: Judged
    after: Judged
    moved: int
    why: str
    looks: int

    @property
    def gain(self) -> float:
        """How many promises more are kept on average."""
        return self.after.kept - self.before.kept


def judge(ready: Matrix, goals: Goals) -> Judged:
    """How the jobs that are `ready` then (jobs x paths) do."""
    import numpy as np

    due = np.asarray(goals.due)[:, None]
    chances = np.mean(ready <= due, axis=1)
    late = np.minimum(np.maximum(ready - due, 0.0), MOST_LATE).mean(axis=1).sum()
    kept = float(chances[np.asarray(goals.promised, dtype=bool)].sum())
    return Judged(kept, kept - LATE * float(late), tuple(chances.tolist()))


@dataclass(slots=True)
class _Search:
    """The orders tried so far; none is played twice."""

    play: Play
    goals: Goals
    left: int
    known: dict[Order, Judged] = field(default_factory=dict)

    def __call__(self, order: Order) -> Judged:
        if order not in self.known:
            self.left -= 1
            self.known[order] = judge(self.play(order), self.goals)
        return self.known[order]


def search(play: Play, goals: Goals, order: Order, *, held: int = 0, starts: Iterable[Order] = ()) -> Found | None:
    """The best order found from `order`, whose first `held` stay where they are; None when none is worth telling.

    `starts` are other orders of the same jobs to begin from; what they do to those held does not count.
    """
    looked_at = order[: held + MOST]
    last = order[held + MOST :]
    lines = max(len(looked_at) - held, 1)
    look = _Search(play, goals, LOOKS if lines <= 12 else LOOKS * 12 // lines)
    firm = order[:held]
    begun = [order, *((*firm, *(j for j in one if j in set(looked_at[held:])), *last) for one in starts)]
    best = _climb(look, max(begun, key=lambda one: look(one).worth), held, len(looked_at))
    return _told(look, order, best, held, len(looked_at))


def _climb(look: _Search, order: Order, held: int, end: int) -> Order:
    """Moves one job after the other to where it does best, until none is worth it or enough was tried."""
    moved = True
    while moved and look.left > 0:
        moved = False
        for job in sorted(order[held:end], key=lambda one: look(order).chances[one]):
            better = max(_moves(order, job, held, end, look), key=lambda one: look(one).worth, default=order)
            if look(better).worth > look(order).worth + STEP:
                order, moved = better, True
    return order


def _moves(order: Order, job: int, held: int, end: int, look: _Search) -> Iterator[Order]:
    others = [one for one in order if one != job]
    for at in range(held, end):
        if look.left <= 0:
            return
        yield (*others[:at], job, *others[at:])


def _told(look: _Search, order: Order, best: Order, held: int, end: int) -> Found | None:
    """The result in its plainest form: one job moved, when that alone gains nearly as much."""
    before = look(order)
    if look(best).kept - before.kept < ENOUGH:
        return None
    single = max(_single_moves(order, best, held, end), key=lambda one: look(one).worth)
    if look(single).kept - before.kept >= 0.9 * (look(best).kept - before.kept):
        best = single
    moved, why = _reason(order, best, before, look(best))
    return Found(best, before, look(best), moved, why, len(look.known))


def _single_moves(order: Order, best: Order, held: int, end: int) -> Iterator[Order]:
    """Each job alone moved to where the best order has it, and to the very front or end of those looked at."""
    for job in order[held:end]:
        others = [one for one in order if one != job]
        for at in {held, best.index(job), end - 1}:
            yield (*others[:at], job, *others[at:])


def _reason(order: Order, best: Order, before: Judged, after: Judged) -> tuple[int, str]:
    """The job to name. If the best is a single move, that job; else the one whose chance rises most by going ahead."""
    alone = [job for job in order if _without(order, job) == _without(best, job)]
    for job in alone:
        if best.index(job) < order.index(job) and after.chances[job] > before.chances[job]:
            return job, "sooner"
    for job in alone:
        if best.index(job) > order.index(job):
            return job, _later(job, before, after)
    risen = [job for job in order if best.index(job) < order.index(job)]
    job = max(risen or order, key=lambda one: after.chances[one] - before.chances[one])
    return job, "sooner"


def _without(order: Order, job: int) -> Order:
    return tuple(one for one in order if one != job)


def _later(job: int, before: Judged, after: Judged) -> str:
    return "late_anyway" if max(before.chances[job], after.chances[job]) < LOST else "can_wait"
