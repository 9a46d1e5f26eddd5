"""The search for a better order: one job moved after the other, judged by the same luck (common random numbers).

It begins with the best of the orders given and moves one job at a time (insertion), so that two orders differ by the
order only. Besides kept promises a little counts how late the others are: nobody who cannot be kept any more is
forgotten.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

    Matrix = np.ndarray[Any, np.dtype[np.float64]]

Order = tuple[int, ...]
# From an order of the jobs in line (by their numbers) to when each job of all ends: jobs x paths, in seconds.
Play = Callable[[Order], "Matrix"]

STEP = 0.02  # a move is made for so many promises more
ENOUGH = 0.25  # and the whole suggested for so many
LATE = 0.01 / 3600  # of a promise, for each second (of work, where all keep the same hours) that a job is late …
MOST_LATE = 100 * 3600.0  # … and no more than one promise for each job
LOOKS = 800  # orders that are tried at most with up to 12 jobs in line; fewer with more, for each costs more
# Why one ticket should move: sooner, because its promise is near and the others can wait; sooner, although another one
# loses by it; later, because it can wait itself; later, because it would be late in any case and holds others up;
# later, although it will be late for it.
WHYS = ("sooner", "sooner_costs", "can_wait", "late_anyway", "gives_way")
LOST = 0.1  # the chance below which a promise is as good as broken
COSTS = 0.1  # a chance that falls by so much costs somebody something


@dataclass(frozen=True, slots=True)
class Goals:
    """What the jobs are wanted by, in their own order: when (seconds, as in Play), and whether that was promised."""

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


def judge(ended: Matrix, goals: Goals) -> Judged:
    """How the jobs that end then (jobs x paths) do."""
    import numpy as np

    due = np.asarray(goals.due)[:, None]
    chances = np.mean(ended <= due, axis=1)
    with np.errstate(invalid="ignore"):  # never, for a job that was due before ever
        late = np.nan_to_num(ended - due, nan=MOST_LATE, posinf=MOST_LATE)
    late = np.clip(late, 0.0, MOST_LATE).mean(axis=1).sum()
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
    lines = max(len(order) - held, 1)
    look = _Search(play, goals, LOOKS if lines <= 12 else LOOKS * 12 // lines)
    firm, free = order[:held], set(order[held:])
    begun = [order, *((*firm, *(job for job in one if job in free)) for one in starts)]
    best = _climb(look, max(begun, key=lambda one: look(one).worth), held)
    return _told(look, order, best, held)


def _climb(look: _Search, order: Order, held: int) -> Order:
    """Moves one job after the other to where it does best, until none is worth it or enough was tried."""
    moved = True
    while moved and look.left > 0:
        moved = False
        for job in sorted(order[held:], key=lambda one: look(order).chances[one]):
            better = max(_moves(order, job, held, look), key=lambda one: look(one).worth, default=order)
            if look(better).worth > look(order).worth + STEP:
                order, moved = better, True
    return order


def _moves(order: Order, job: int, held: int, look: _Search) -> Iterator[Order]:
    others = [one for one in order if one != job]
    for at in range(held, len(order)):
        if look.left <= 0:
            return
        yield (*others[:at], job, *others[at:])


def _told(look: _Search, order: Order, best: Order, held: int) -> Found | None:
    """The result in its plainest form: one job moved, when that alone gains nearly as much."""
    before = look(order)
    if look(best).kept - before.kept < ENOUGH:
        return None
    single = max(_single_moves(order, best, held), key=lambda one: look(one).worth)
    if look(single).kept - before.kept >= 0.9 * (look(best).kept - before.kept):
        best = single
    moved, why = reason(order, best, before, look(best))
    return Found(best, before, look(best), moved, why, len(look.known))


def _single_moves(order: Order, best: Order, held: int) -> Iterator[Order]:
    """Each job alone moved to where the best order has it, and to the very front or end."""
    for job in order[held:]:
        others = [one for one in order if one != job]
        for at in {held, best.index(job), len(others)}:
            yield (*others[:at], job, *others[at:])


def reason(order: Order, best: Order, before: Judged, after: Judged) -> tuple[int, str]:
    """The job to name. If the best is a single move, that job; else the one whose chance rises most by going ahead."""
    alone = [job for job in order if _without(order, job) == _without(best, job)]
    for job in alone:
        if best.index(job) < order.index(job) and after.chances[job] > before.chances[job]:
            return job, _sooner(job, before, after)
    for job in alone:
        if best.index(job) > order.index(job):
            return job, _later(job, before, after)
    risen = [job for job in order if best.index(job) < order.index(job)]
    job = max(risen or order, key=lambda one: after.chances[one] - before.chances[one])
    return job, _sooner(job, before, after)


def _sooner(job: int, before: Judged, after: Judged) -> str:
    falls = (
        was - now for other, (was, now) in enumerate(zip(before.chances, after.chances, strict=True)) if other != job
    )
    return "sooner_costs" if max(falls, default=0.0) > COSTS else "sooner"


def _without(order: Order, job: int) -> Order:
    return tuple(one for one in order if one != job)


def _later(job: int, before: Judged, after: Judged) -> str:
    was, now = before.chances[job], after.chances[job]
    if was < LOST:
        return "late_anyway"
    return "gives_way" if was - now > COSTS else "can_wait"
