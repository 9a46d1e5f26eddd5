"""Take one signed call of another system: it acts once, and is said to be taken only when it is."""

from __future__ import annotations

import hashlib
import threading
from collections import deque
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from notify.config.settings import Watch
from notify.core.actors import Actor
from notify.core.sources import Change, Taken
from notify.flows import source_state, take_changes
from notify.flows.context import Context
from notify.store import letters
from notify.store.database import Unit

# Much longer than a signature counts (core/signed_call.TOLERANCE), and than senders try again: the text of Standard
# Webhooks shows a schedule of 75 hours.
KEPT = timedelta(days=14)
SOURCE, KIND = "watch", "call"


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that a call tells; `mark` names it beyond this call ("" where nothing does)."""

    change: Change
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Call:
    """One proved call: its id, and the things that it tells."""

    id: str
    told: Sequence[Told]


def take_call(ctx: Context, actor: Actor, watch: Watch, call: Call) -> Taken:
    """What came of one call; as take_calls."""
    return take_calls(ctx, actor, watch, [call])[0]


def take_calls(ctx: Context, actor: Actor, watch: Watch, calls: Sequence[Call]) -> tuple[Taken, ...]:
    """What came of each call, all in one transaction with the notes that they were taken.

    A call whose id was seen before changes nothing, whatever it holds; nor does a thing whose mark was. What cannot
    be taken waits for a person, so that the sender, who could not mend it, need not send it again. A word without a
    time of its own may have been said at any moment since the call before, since senders try again for days.
    """
    now = ctx.clock()
    with ctx.db.write(actor.shop_id) as unit:
        known = [not _is_new(unit, watch.name, f"call\0{call.id}", now) for call in calls]
        lines = _Lines()
        for at, call in enumerate(calls):
            for one in () if known[at] else call.told:
                lines.add(at, one.change, new=not one.mark or _is_new(unit, watch.name, f"thing\0{one.mark}", now))
        batch = source_state.batch_within(unit, watch)
        taken = take_changes.take_within(ctx, unit, actor, batch, lines.changes)
        if not all(known):
            source_state.looked_within(unit, watch.name, at=now)
    return tuple(Taken(known=True) if known[at] else lines.of(at, taken) for at in range(len(calls)))


class _Lines:
    """Numbers the things of several calls through, and finds again what belongs to which."""

    def __init__(self) -> None:
        self.changes: list[Change] = []
        self._mine: dict[int, tuple[int, int]] = {}  # line of the batch -> (call, line of the call)
        self._old: dict[int, tuple[int, ...]] = {}

    def add(self, call: int, change: Change, *, new: bool) -> None:
        if not new:
            self._old[call] = (*self._old.get(call, ()), change.line)
            return
        line = len(self._mine) + 1
        self._mine[line] = (call, change.line)
        self.changes.append(replace(change, line=line))

    def of(self, call: int, whole: Taken) -> Taken:
        """The part of one call, by its own lines."""
        mine = {line: own for line, (of, own) in self._mine.items() if of == call}
        return Taken(
            taken=tuple(mine[line] for line in whole.taken if line in mine),
            unchanged=self._old.get(call, ()) + tuple(mine[line] for line in whole.unchanged if line in mine),
            stale=tuple(mine[line] for line in whole.stale if line in mine),
            doubted=tuple((mine[line], kind, why) for line, kind, why in whole.doubted if line in mine),
            would=tuple((mine[line], would) for line, would in whole.would if line in mine),
        )


@dataclass(slots=True)
class Together:
    """Calls that come at the same time share a transaction: one of their threads takes them all, the others wait.

    Each is answered after the commit as if it had come alone. If the transaction of several fails, each has its own.
    """

    _turn: threading.Lock = field(default_factory=threading.Lock)
    _waiting: deque[tuple[tuple[str, str], Call, Future[Taken]]] = field(default_factory=deque)

    def take(self, ctx: Context, actor: Actor, watch: Watch, call: Call) -> Taken:
        """As take_call."""
        mine: Future[Taken] = Future()
        key = (actor.shop_id, watch.name)
        self._waiting.append((key, call, mine))
        while not mine.done():
            with self._turn:
                if not mine.done():
                    self._take_some(ctx, actor, watch, key)
        return mine.result()

    def _take_some(self, ctx: Context, actor: Actor, watch: Watch, key: tuple[str, str]) -> None:
        """The calls of this source that wait first, as many as one transaction may hold."""
        mine = [one for one in tuple(self._waiting) if one[0] == key]  # others are put in while we look
        some: list[tuple[tuple[str, str], Call, Future[Taken]]] = []
        things = 0
        for one in mine:
            things += len(one[1].told)
            if some and things > take_changes.MOST:
                break
            some.append(one)
        for one in some:
            self._waiting.remove(one)
        try:
            results = take_calls(ctx, actor, watch, [call for _, call, _ in some])
        except Exception as error:
            for _, call, answer in some:
                _alone(ctx, actor, watch, call, answer, error if len(some) == 1 else None)
            return
        for (_, _, answer), taken in zip(some, results, strict=True):
            answer.set_result(taken)


def _alone(
    ctx: Context, actor: Actor, watch: Watch, call: Call, answer: Future[Taken], error: Exception | None
) -> None:  # fmt: skip
    try:
        if error is not None:
            raise error
        answer.set_result(take_call(ctx, actor, watch, call))
    except Exception as fault:
        answer.set_exception(fault)


def tidy(ctx: Context, actor: Actor) -> int:
    """Drops the notes of calls that can no longer come again; how many."""
    with ctx.db.write(actor.shop_id) as unit:
        return letters.forget_taken(unit, before=ctx.clock() - KEPT, kinds=(KIND,))


def _is_new(unit: Unit, source: str, name: str, now: datetime) -> bool:
    """By a keyed hash: an id may be anything that the other system likes, a name too."""
    key = unit.vault.row_mark(hashlib.sha256(f"{source}\0{name}".encode()).hexdigest())
    return letters.take(unit, SOURCE, key, kind=KIND, at=now)
