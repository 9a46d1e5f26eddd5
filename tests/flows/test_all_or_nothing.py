"""Whatever statement of a flow fails, its state, events and messages are all there or none is."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import Engine, event, func, select, text

import notify.flows
from notify.core.actors import Actor
from notify.flows.record import record
from notify.store import schema as s
from notify.store import tickets, visits
from tests.flows.every_flow import SEVERAL, STEPS, Step, Story
from tests.parts.house import House


class Cut(Exception):
    """The fault that is injected."""


@contextmanager
def cut_at(engine: Engine, n: int) -> Iterator[list[int]]:
    """The n-th statement on the engine fails; the one after the last stands for the commit. The list counts."""
    seen = [0]

    def count(*_: Any) -> None:
        seen[0] += 1
        if seen[0] == n:
            raise Cut

    listening = (("before_cursor_execute", count), ("commit", count))
    for name, heard in listening:
        event.listen(engine, name, heard)
    try:
        yield seen
    finally:
        for name, heard in listening:
            event.remove(engine, name, heard)


class Watch:
    """Says whether anything was committed to the main database since it was last asked."""

    def __init__(self, engine: Engine) -> None:
        self._connection = engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        counts = [
            f"select count(*) as n, sum(hashtext(t::text)::bigint) as h from {name} t" for name in s.metadata.tables
        ]
        # data_version changes for one connection exactly when another one has committed a change.
        sqlite = engine.dialect.name == "sqlite"
        self._query = text("pragma data_version" if sqlite else " union all ".join(counts))
        self._last = self._look()

    def _look(self) -> list[tuple[Any, ...]]:
        return [tuple(row) for row in self._connection.execute(self._query)]

    def changed(self) -> bool:
        before, self._last = self._last, self._look()
        return before != self._last

    def close(self) -> None:
        self._connection.close()


def counts(house: House) -> tuple[int, int]:
    """How many events and messages there are."""
    with house.read() as unit:
        made = [
            unit.connection.execute(select(func.count()).select_from(t)).scalar_one() for t in (s.events, s.messages)
        ]
    return made[0], made[1]


def fail_everywhere(house: House, watch: Watch, do: Callable[[], Any], *, stride: int) -> tuple[int, int, Any]:
    """Carries a flow out with a fault at each statement in turn, then in peace: (failed, partial, result)."""
    n, failed, partial = 1, 0, 0
    while True:
        watch.changed()
        with cut_at(house.ctx.db.engine, n) as seen:
            try:
                result = do()
            except Cut:
                failed, partial, n = failed + 1, partial + watch.changed(), n + stride
                continue
        assert seen[0] < n
        return failed, partial, result


def play(house: House, step: Step, story: Story, watch: Watch, *, stride: int) -> tuple[int, int]:
    if not step.flow:
        result: Any = step.do(story)
        failed = partial = 0
    else:
        events, messages = counts(house)
        failed, partial, result = fail_everywhere(house, watch, lambda: step.do(story), stride=stride)
        now_events, now_messages = counts(house)
        assert watch.changed(), f"{step.flow} wrote nothing: the fault was tried on nothing"
        assert not step.telling or (now_events > events and now_messages > messages), step.flow
        assert now_messages == messages or now_events > events, f"{step.flow}: a message without its event"
    if step.keep:
        story.made[step.keep] = result
    if step.keep == "visit":
        with house.read() as unit:
            story.made["told"] = visits.visit_people(unit, result.visit_id)["tell"][0]
    return failed, partial


@pytest.mark.long
@pytest.mark.parametrize("server", [5, pytest.param(1, marks=pytest.mark.deep)], ids=["quick", "every one"])
def test_a_flow_cut_off_at_any_statement_leaves_nothing_behind(house: House, server: int) -> None:
    """At each one on SQLite; on the server, where it takes four times as long to see whether anything stayed, at
    every fifth."""
    watch, story = Watch(house.ctx.db.engine), Story(house)
    name = house.ctx.db.engine.dialect.name
    stride, failed, partial = 1 if name == "sqlite" else server, 0, 0
    for step in STEPS:
        one, bad = play(house, step, story, watch, stride=stride)
        failed, partial = failed + one, partial + bad
    flows = {step.flow for step in STEPS if step.flow}
    watch.close()
    print(f"FIGURE A1_outbox database={name} flows={len(flows)} each={stride} "
          f"statements_failed={failed} partial_commits={partial}")  # fmt: skip
    assert failed > 600 / stride and partial == 0


def writing_flows() -> set[str]:
    found = set()
    for module in pkgutil.iter_modules(notify.flows.__path__):
        room = importlib.import_module(f"notify.flows.{module.name}")
        for name, flow in inspect.getmembers(room, inspect.isfunction):
            public = flow.__module__ == room.__name__ and not name.startswith("_")
            source = inspect.getsource(flow)
            if public and ("db.write(" in source or "with changing_hours(" in source):
                found.add(f"{module.name}.{name}")
    return found


def test_every_writing_flow_has_its_step_or_a_reason_why_not() -> None:
    tried = {step.flow for step in STEPS if step.flow}
    missing = writing_flows() - tried - set(SEVERAL)
    assert not missing, f"add a step to tests/flows/every_flow.py for {sorted(missing)}"
    assert not tried & set(SEVERAL) and all(SEVERAL.values())


@pytest.mark.parametrize("parts", [1, 2])
def test_a_flow_that_commits_in_two_parts_would_be_seen(house: House, parts: int) -> None:
    """The proof of the proof: the same measurement on a flow with the flaw it looks for."""
    done = house.check_in()
    owner: Actor = house.actor()

    def place_then_tell() -> None:
        with house.ctx.db.write(house.shop_id) as unit:
            ticket = tickets.get_ticket(unit, done.ticket_ids[0])
            tickets.change_ticket(unit, ticket, shelf="B4")
            if parts == 1:
                record(house.ctx, unit, owner, "place_changed", visit_id=ticket.visit_id, ticket_id=ticket.id)
        if parts == 2:
            with house.ctx.db.write(house.shop_id) as unit:
                record(house.ctx, unit, owner, "place_changed", visit_id=ticket.visit_id, ticket_id=ticket.id)

    watch = Watch(house.ctx.db.engine)
    failed, partial, _ = fail_everywhere(house, watch, place_then_tell, stride=1)
    watch.close()
    assert failed >= 5 and (partial > 0) == (parts == 2)
