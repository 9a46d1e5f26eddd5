"""A better order for the bench: the one in which most promises are likely to be kept.

It starts from the best of a few exact rules and moves one ticket at a time (insertion), judged by the same chance
(common random numbers), so that two orders differ by the order only. Besides kept promises a little counts how late
the others are: nobody who cannot be kept any more is forgotten. What it finds is judged anew with other chance.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from notify.forecast import ready
from notify.forecast.durations import Draws
from notify.forecast.order_rules import edd, moore_hodgson, spt
from notify.forecast.replay import Replay

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
MOST = 30  # of the jobs in line so many are looked at, those that stand first
LOOKS = 800  # orders that are tried at most with up to 12 jobs in line; fewer with more, for each costs more
PATHS, CHECKED = 400, 2000
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


@dataclass(frozen=True, slots=True)
class Suggestion:
    """`Found` by the names of the jobs, all that wait in the new order: its figures are told to staff."""

    order: tuple[str, ...]
    moved: str
    why: str
    kept_before: float
    kept_after: float
    looks: int

    @property
    def gain(self) -> float:
        """How many promises more are kept on average."""
        return self.kept_after - self.kept_before


def suggest(
    bench: ready.Bench, jobs: Sequence[ready.Job], parcels: Sequence[ready.Parcel], kinds: Mapping[str, Draws],
    goals: Mapping[str, tuple[float, bool]], *, held: int = 0, seed: int = 0,
) -> Suggestion | None:  # fmt: skip
    """A better order for those of the jobs (in rank order) that nobody has begun; None when none is worth telling.

    `goals` says of each job by when it is wanted (an instant) and whether that is promised. The first `held` of those
    waiting keep their place. Of those waiting the first MOST are looked at, as if there were no more. The draws of
    `kinds` are shared out: some for the search, others for judging what was found, whose figures are then of no luck
    it was chosen by.
    """
    seen = _first(jobs, MOST)
    luck = _luck(min([PATHS + CHECKED, *(len(draws.mu) for draws in kinds.values())]))
    trial, check = (
        Replay(ready.play(bench, seen, parcels, _cut(kinds, *part), paths=part[1] - part[0], seed=seed + turn))
        for turn, part in enumerate(luck)
    )
    due = trial.latest([goals[job.id][0] for job in seen])
    wanted = Goals(due.tolist(), [goals[job.id][1] for job in seen])
    order = tuple(number for number, job in enumerate(seen) if job.by is None)
    found = search(trial, wanted, order, held=held, starts=starts(trial, wanted, order)) if order else None
    found = found and _anew(found, order, check, wanted)
    return _named(found, jobs, seen) if found else None


def _named(found: Found, jobs: Sequence[ready.Job], seen: Sequence[ready.Job]) -> Suggestion:
    first = [seen[number].id for number in found.order]
    rest = [job.id for job in jobs if job.by is None and job.id not in set(first)]
    moved = seen[found.moved].id
    return Suggestion((*first, *rest), moved, found.why, found.before.kept, found.after.kept, found.looks)


def _first(jobs: Sequence[ready.Job], most: int) -> Sequence[ready.Job]:
    """The jobs on the bench and so many of those waiting."""
    left_out = {job.id for job in [job for job in jobs if job.by is None][most:]}
    return [job for job in jobs if job.id not in left_out]


def _luck(paths: int) -> tuple[tuple[int, int], tuple[int, int]]:
    """From which to which path for the search, and for judging: a sixth and the rest, where there are too few."""
    trial = min(PATHS, paths // 6)
    return (0, trial), (trial, paths)


def _cut(kinds: Mapping[str, Draws], first: int, last: int) -> dict[str, Draws]:
    return {key: replace(draws, mu=draws.mu[first:last], sigma=draws.sigma[first:last]) for key, draws in kinds.items()}


def _anew(found: Found, order: Order, play: Play, goals: Goals) -> Found | None:
    """The same judged with luck it was not chosen by."""
    before, after = judge(play(order), goals), judge(play(found.order), goals)
    if after.kept - before.kept < ENOUGH:
        return None
    moved, why = _reason(order, found.order, before, after)
    return Found(found.order, before, after, moved, why, found.looks + 2)


def starts(trial: Replay, goals: Goals, order: Order) -> tuple[Order, ...]:
    """What the exact rules say of the jobs in line, as if each took its 65 % quantile and came at its median."""
    import numpy as np

    work = np.quantile(trial.busy, 0.65, axis=1)[list(order)] / len(trial.bench.axes)
    come = np.quantile(trial.released(), 0.5, axis=1, method="lower")[list(order)]
    due = [goals.due[job] for job in order]
    rules = (edd(due), spt(work.tolist()), moore_hodgson(work.tolist(), due, come.tolist()))
    return tuple(tuple(order[at] for at in rule) for rule in rules)


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
    moved, why = _reason(order, best, before, look(best))
    return Found(best, before, look(best), moved, why, len(look.known))


def _single_moves(order: Order, best: Order, held: int) -> Iterator[Order]:
    """Each job alone moved to where the best order has it, and to the very front or end."""
    for job in order[held:]:
        others = [one for one in order if one != job]
        for at in {held, best.index(job), len(others)}:
            yield (*others[:at], job, *others[at:])


def _reason(order: Order, best: Order, before: Judged, after: Judged) -> tuple[int, str]:
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
