"""Looking somebody up by phone asks one index for the blind index of the number, however many contacts there are."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy import insert, select, text

from notify.store import people
from notify.store import schema as s
from notify.store.database import Unit
from tests.store.test_booking_indexes import plan

NUMBER = "+447700900123"
LOOKS: dict[str, Callable[[Unit], Any]] = {
    "find_people": lambda unit: people.find_people(unit, "sms", NUMBER),
    "current_owners": lambda unit: people.current_owners(unit, "sms", NUMBER),
}


def fill(house: Any) -> None:
    """One whom we look for and many others: of a table of one row PostgreSQL reads the whole."""
    house.check_in()
    with house.ctx.db.write(house.shop_id) as unit:
        row = dict(unit.connection.execute(select(s.contacts).where(s.contacts.c.channel == "sms")).one()._mapping)
        others = [row | {"id": str(uuid4()), "lookup": uuid4().hex} for _ in range(1000)]
        unit.connection.execute(insert(s.contacts), others)
    with house.ctx.db.alone() as connection:
        connection.execute(text("analyze" if house.ctx.db.is_sqlite else "analyze contacts"))


@pytest.mark.parametrize("name", LOOKS)
def test_a_number_is_found_by_a_probe_of_its_index(house: Any, name: str) -> None:
    """In the databases' own words: sqlite.org/eqp.html, and PostgreSQL's EXPLAIN."""
    fill(house)
    is_sqlite = house.ctx.db.is_sqlite
    with house.read() as unit:
        assert LOOKS[name](unit)
        found = plan(unit, lambda: LOOKS[name](unit), is_sqlite=is_sqlite)
    probe = "SEARCH contacts USING INDEX ix_contacts_lookup (" if is_sqlite else "ix_contacts_lookup"
    assert probe in found and "Seq Scan" not in found and "SCAN contacts" not in found, found
    assert is_sqlite or "lookup" in found.partition("Index Cond:")[2].partition("\n")[0], found
