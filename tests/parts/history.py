"""Whether what many clients were told about places can have happened one after the other (linearizability).

J. M. Wing and C. Gong, Testing and Verifying Concurrent Objects, J. Parallel Distrib. Comput. 17 (1993): an order is
searched that keeps "ended before the other began" and that a counter serving one at a time could have answered; with
a memo of what was tried (G. Lowe, Testing for linearizability, Concurrency Computat. Pract. Exper. 29, 2017).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

BOOKED, TAKEN, GIVEN_UP, NOTHING = "booked", "taken", "given up", "nothing"
State = frozenset[tuple[int, int]]  # (visit, slot) of every place that is held


@dataclass(frozen=True, slots=True)
class Call:
    """What one client asked and was told: `slot` is None for giving the place up; times in nanoseconds."""

    visit: int
    slot: int | None
    began: int
    ended: int
    said: str


def is_legal(calls: Sequence[Call], room: Mapping[int, int]) -> bool:
    """Whether some order explains every answer; `room` is slot -> places."""
    order = sorted(calls, key=lambda call: call.began)
    everything, tried = (1 << len(order)) - 1, set[tuple[int, State]]()
    todo: list[tuple[int, State]] = [(0, frozenset())]
    while todo:
        done, state = todo.pop()
        if done == everything:
            return True
        steps = [(number, _answered(state, order[number], room)) for number in _next(order, done)]
        # A right answer that never changes anything may as well come at once: whatever follows could follow it too.
        still = next((step for step in steps if step[1] is not None and order[step[0]].said in (TAKEN, NOTHING)), None)
        for number, after in [still] if still else steps:
            if after is not None and (found := (done | 1 << number, after)) not in tried:
                tried.add(found)
                todo.append(found)
    return False


def _next(order: Sequence[Call], done: int) -> list[int]:
    """The calls that may come next: begun before every other that is left has ended."""
    left = [number for number in range(len(order)) if not done >> number & 1]
    first_end = min(order[number].ended for number in left)
    return [number for number in left if order[number].began <= first_end]


def _answered(state: State, call: Call, room: Mapping[int, int]) -> State | None:
    """The state after this call, if a counter in `state` would have said the same; else None."""
    held = dict(state)
    mine = held.pop(call.visit, None)
    if call.slot is None:
        return frozenset(held.items()) if call.said == (NOTHING if mine is None else GIVEN_UP) else None
    others = sum(1 for slot in held.values() if slot == call.slot)
    if others >= room[call.slot]:  # a visit that has a place there already is never among the others
        return state if call.said == TAKEN else None
    return frozenset({**held, call.visit: call.slot}.items()) if call.said == BOOKED else None
