"""A better order for the bench: the one in which most promises are likely to be kept.

The search (`order_search`) starts from a few exact rules and is played by the forecast's own engine; what it finds is
judged anew with other luck, because the best of hundreds looks better than it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from notify.forecast import ready
from notify.forecast.durations import Draws
from notify.forecast.order_rules import edd, moore_hodgson, spt
from notify.forecast.order_search import ENOUGH, Found, Goals, Order, Play, judge, reason, search
from notify.forecast.replay import Replay

MOST = 30  # of the jobs in line so many are looked at, those that stand first
PATHS, CHECKED = 400, 2000


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
    moved, why = reason(order, found.order, before, after)
    return Found(found.order, before, after, moved, why, found.looks + 2)


def starts(trial: Replay, goals: Goals, order: Order) -> tuple[Order, ...]:
    """What the exact rules say of the jobs in line, as if each took its 65 % quantile and came at its median."""
    import numpy as np

    work = np.quantile(trial.busy, 0.65, axis=1)[list(order)] / len(trial.bench.axes)
    come = np.quantile(trial.released(), 0.5, axis=1, method="lower")[list(order)]
    due = [goals.due[job] for job in order]
    rules = (edd(due), spt(work.tolist()), moore_hodgson(work.tolist(), due, come.tolist()))
    return tuple(tuple(order[at] for at in rule) for rule in rules)
