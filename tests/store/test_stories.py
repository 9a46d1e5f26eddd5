"""The stories of many devices are read at once: each in its order, without reading those of the whole shop."""

from __future__ import annotations

from typing import Any

from sqlalchemy import event

from notify.flows import moves
from notify.store import events
from tests.parts.house import House


def test_each_story_is_the_devices_own_events_in_their_order(house: House) -> None:
    ids = [house.check_in(name=f"Ines Farrow {at}").ticket_ids[0] for at in range(3)]
    for phase in ("in_line", "on_bench", "proving"):
        for ticket_id in reversed(ids):
            moves.move(house.ctx, house.actor(), ticket_id, phase)
    with house.read() as unit:
        stories = events.stories_of(unit, [*ids, "nobody"])
        for ticket_id in ids:
            visit = stories[ticket_id][0].visit_id
            whole = events.story_of(unit, visit_id=visit, ticket_id=ticket_id)
            own = [(one.id, one.kind, one.at, one.codes) for one in whole if one.ticket_id == ticket_id]
            assert [(one.id, one.kind, one.at, one.codes) for one in stories[ticket_id]] == own and len(own) >= 4
        assert stories.keys() == set(ids)


def test_no_device_costs_more_the_longer_the_shops_own_story_is(house: House) -> None:
    if not house.ctx.db.is_sqlite:
        return  # PostgreSQL decides by the size of a table, and this one is empty
    said: list[tuple[str, Any]] = []
    event.listen(house.ctx.db.engine, "before_cursor_execute", lambda *heard: said.append((heard[2], heard[3])))
    with house.read() as unit:
        events.stories_of(unit, ["a", "b"])
        sql, values = next(one for one in said if "FROM events" in one[0])
        plan = " ".join(row[3] for row in unit.connection.exec_driver_sql(f"explain query plan {sql}", values))
    assert "ix_events_ticket (shop_id=? AND ticket_id=?)" in plan and "SCAN events" not in plan
