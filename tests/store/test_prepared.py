"""A statement that goes to the driver as text gives and writes what SQLAlchemy itself gives and writes."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from sqlalchemy import Connection, Select, bindparam, insert, select, update
from sqlalchemy.exc import DBAPIError, IntegrityError

from notify.core.errors import NotifyError
from notify.store import repair_kinds
from notify.store import schema as s
from notify.store.prepared import Prepared
from notify.store.statements import among, given, where
from tests.parts.house import House

TABLES = [s.tickets, s.events, s.visits, s.visit_people, s.people, s.contacts, s.consents, s.messages, s.shops, s.hours,
          s.repair_kinds, s.past_jobs, s.promises, s.suppliers, s.shop_settings, s.staff]  # fmt: skip


@pytest.fixture
def told(house: House) -> House:
    """A shop with something in most of its tables."""
    house.check_in(email="ines@example.org")
    return house


def both(connection: Connection, query: Select[Any], values: dict[str, Any]) -> tuple[list[Any], list[Any]]:
    plain = [tuple(row) for row in connection.execute(query, values)]
    return plain, [tuple(row) for row in Prepared(query).rows(connection, values)]


def test_every_column_of_every_kind_comes_as_it_otherwise_does(told: House) -> None:
    seen: set[type] = set()
    with told.read() as unit:
        for table in TABLES:
            plain, ours = both(unit.connection, select(table), {})
            assert sorted(map(repr, plain)) == sorted(map(repr, ours)), table.name
            seen |= {type(value) for row in ours for value in row}
    assert {str, int, bool, datetime, dict, bytes, type(None)} <= seen


def test_columns_are_read_by_name_place_and_mapping(told: House) -> None:
    with told.read() as unit:
        query = select(s.tickets.c.id, s.tickets.c.phase.label("stand")).where(*where(s.tickets))
        plain, (ours,) = unit.connection.execute(query, given(unit)).one(), Prepared(query).rows(
            unit.connection, given(unit)
        )  # fmt: skip
        assert (ours.id, ours[1], ours.stand, ours._mapping) == (plain.id, plain[1], plain.stand, dict(plain._mapping))
        assert Prepared(query).rows(unit.connection, {"the_shop_id": "nobody"}) == []


def test_what_is_written_is_what_would_have_been(told: House) -> None:
    at = datetime(2026, 11, 27, 9, 30, 1, 5, tzinfo=UTC)
    row = {"kind_id": "", "ticket_id": None, "minutes": 12.5, "ended_at": at, "source": "import", "counts": False}
    with told.ctx.db.write(told.shop_id) as unit:
        row |= {"shop_id": unit.shop_id, "kind_id": repair_kinds.catch_all(unit).id}
        unit.connection.execute(insert(s.past_jobs), {**row, "id": "p1", "digest": "1"})
        assert Prepared(insert(s.past_jobs).inline()).write(unit.connection, {**row, "id": "p2", "digest": "2"}) == 1
        one, other = unit.connection.execute(select(s.past_jobs).order_by(s.past_jobs.c.id)).all()
        alike = [{**row._mapping, "id": "", "digest": ""} for row in (one, other)]
        assert alike[0] == alike[1] and other.ended_at == at
        change = Prepared(update(s.tickets).where(*where(s.tickets)))
        for safety in (["hot"], []):  # the columns that are named may be others each time
            assert change.write(unit.connection, {**given(unit), "safety": safety, "shelf": "A1"}) == 1
            assert change.write(unit.connection, {**given(unit), "safety": safety}) == 1
            assert unit.connection.execute(select(s.tickets.c.safety, s.tickets.c.shelf)).one() == (safety, "A1")
        assert change.write(unit.connection, {"the_shop_id": "nobody", "shelf": "A2"}) == 0


@pytest.mark.parametrize(
    "others", [[], ["it's", 'a "b"', "", "\u00e4\U0001f4fb", "null"], list(map(str, range(70_000)))]
)
def test_a_list_of_any_length_gives_what_its_values_give(told: House, others: list[str]) -> None:
    listing = select(s.tickets).where(*where(s.tickets), among(s.tickets, "id")).order_by(s.tickets.c.id)
    with told.read() as unit:
        all_of_them = unit.connection.execute(select(s.tickets).order_by(s.tickets.c.id)).all()
        ids = [row.id for row in all_of_them]
        plain, ours = both(unit.connection, listing, {**given(unit), "any_id": [*others, *ids, *ids]})
        assert ids and plain == ours == [tuple(row) for row in all_of_them]
        assert both(unit.connection, listing, {**given(unit), "any_id": others}) == ([], [])


def test_a_statement_that_is_another_each_time_is_refused(told: House) -> None:
    lists = Prepared(select(s.tickets).where(s.tickets.c.id.in_(bindparam("any_id", expanding=True))))
    with told.read() as unit:
        with pytest.raises(TypeError, match="not the same each time"):
            lists.rows(unit.connection, {"any_id": ["a"]})
        with pytest.raises(KeyError):
            Prepared(select(s.tickets).where(s.tickets.c.id == bindparam("forgotten"))).rows(unit.connection, {})
    with told.ctx.db.write(told.shop_id) as unit, pytest.raises(TypeError, match="not the same each time"):
        Prepared(insert(s.suppliers).inline()).write(unit.connection, {"shop_id": unit.shop_id, "id": "x", "name": "y"})


def test_a_refusal_of_the_database_holds_no_value_and_comes_as_any_other(told: House) -> None:
    add = Prepared(insert(s.visit_people).inline())
    values = {"shop_id": told.shop_id, "visit_id": "v-none", "person_id": "p-secret", "role": "tell"}
    with (
        pytest.raises((DBAPIError, NotifyError)) as plain,
        told.ctx.db.write(told.shop_id) as unit,
    ):
        unit.connection.execute(insert(s.visit_people), values)
    with pytest.raises((DBAPIError, NotifyError)) as ours, told.ctx.db.write(told.shop_id) as unit:
        add.write(unit.connection, values)
    assert type(ours.value) is type(plain.value) is IntegrityError
    assert "[SQL parameters hidden" in str(ours.value) and "[parameters:" not in str(ours.value)
