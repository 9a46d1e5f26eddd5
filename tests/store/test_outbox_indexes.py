"""Finding work in the outbox goes through the indexes that hold only what waits, however large the archive is."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import event, text

from notify.store import messages, outbox
from notify.store.database import Unit


def first_select(unit: Unit, work: Callable[[], Any]) -> tuple[str, Any]:
    """The first SELECT that `work` runs, with its values."""
    seen: list[tuple[str, Any]] = []

    def note(connection: Any, cursor: Any, statement: str, values: Any, *rest: Any) -> None:
        if statement.startswith("SELECT"):
            seen.append((statement, values))

    event.listen(unit.connection, "before_cursor_execute", note)
    work()
    event.remove(unit.connection, "before_cursor_execute", note)
    return seen[0]


def plan(unit: Unit, work: Callable[[], Any]) -> list[str]:
    """How SQLite would run it, in its own words (sqlite.org/eqp.html)."""
    statement, values = first_select(unit, work)
    return [row[3] for row in unit.connection.exec_driver_sql(f"explain query plan {statement}", values)]


@pytest.mark.parametrize(
    ("name", "index"),
    [("claim", "ix_messages_due"), ("next_due", "ix_messages_due"), ("calls_to_make", "ix_messages_to_call")],
)
def test_what_waits_is_found_through_its_own_index(house: Any, name: str, index: str) -> None:
    if not house.ctx.db.is_sqlite:
        pytest.skip("PostgreSQL decides by the size of a table, and this one is empty")
    now = house.clock()
    work: dict[str, Callable[[Unit], Any]] = {
        "claim": lambda unit: outbox.claim(unit, now=now, until=now + timedelta(minutes=1), by="worker"),
        "next_due": messages.next_due,
        "calls_to_make": messages.calls_to_make,
    }
    with house.read() as unit:
        lines = plan(unit, lambda: work[name](unit))
    assert any(f"messages USING INDEX {index}" in line or f"COVERING INDEX {index}" in line for line in lines), lines
    assert not any("TEMP B-TREE" in line for line in lines), lines


def test_the_index_of_what_waits_holds_nothing_that_was_sent(house: Any) -> None:
    for number in range(3):
        house.check_in(email=f"ines{number}@example.org")
    house.deliver(after=91)
    with house.read() as unit:
        sent = text("select count(*) from messages where state = 'sent'")
        assert unit.connection.execute(sent).scalar() == 3
        assert messages.next_due(unit) is None
