"""Facts read ahead for a group of messages are the facts that each one would have read by itself."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from sqlalchemy import event

from notify.core.errors import NotFound
from notify.flows.check_in_form import DeviceForm
from notify.store import people, shops, tickets, visits
from notify.store.database import Unit
from notify.store.read_ahead import read_ahead


def facts(house: Any, unit: Unit, visit_id: str, person_id: str) -> list[Any]:
    """Everything the second look and the texts read about one visit and one person."""
    shop = shops.get_shop(unit, today=house.clock().date())
    return [
        shop, shops.get_counter(unit, shop), visits.company(unit, visit_id),
        tickets.tickets_of_visit(unit, visit_id), tickets.phases_of_visit(unit, visit_id),
        [tickets.get_ticket(unit, one.id) for one in tickets.tickets_of_visit(unit, visit_id)],
        people.get_person(unit, person_id), people.contacts_of(unit, person_id),
        people.recipients(unit, [person_id]),
    ]  # fmt: skip


def statements(engine: Any, work: Callable[[], Any]) -> int:
    """How many statements `work` runs."""
    seen: list[str] = []

    def note(connection: Any, cursor: Any, statement: str, *rest: Any) -> None:
        seen.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    work()
    event.remove(engine, "before_cursor_execute", note)
    return len(seen)


def test_facts_read_ahead_are_the_facts_read_one_by_one(house: Any) -> None:
    radio, camera = DeviceForm("Kestrel pocket radio", fault="no sound"), DeviceForm("Halden 35 camera")
    ids = [house.check_in(radio, camera).visit_id, house.check_in(email="", name="").visit_id]
    with house.read() as unit:
        told = [visits.visit_people(unit, visit)["tell"][0] for visit in ids]
        alone = [facts(house, unit, visit, person) for visit, person in zip(ids, told, strict=True)]
    with house.read() as unit:
        read_ahead(unit, visit_ids=ids, person_ids=told)
        ahead = [facts(house, unit, visit, person) for visit, person in zip(ids, told, strict=True)]
    assert ahead == alone
    assert len(alone[0][3]) == 2 and alone[0][7] and alone[0][6].name


def test_the_number_of_statements_does_not_grow_with_the_group(house: Any) -> None:
    ids = [house.check_in(email=f"ines{n}@example.org").visit_id for n in range(6)]

    def look(count: int) -> None:
        with house.read() as unit:
            read_ahead(unit, visit_ids=ids[:count], person_ids=[])
            for visit in ids[:count]:
                (person,) = visits.visit_people(unit, visit)["tell"]
                facts(house, unit, visit, person)

    look(1)  # the shop is read once in a process
    one, six = (statements(house.ctx.db.engine, partial(look, n)) for n in (1, 6))
    print(f"FIGURE read_ahead group=6 statements={six} statements_for_one={one}")
    assert six == one


def test_a_forgotten_persons_key_is_missing_without_stopping_the_others(house: Any) -> None:
    gone, here = (house.check_in(email=f"ines{n}@example.org") for n in range(2))
    with house.read() as unit:
        (lost,) = visits.visit_people(unit, gone.visit_id)["tell"]
    house.ctx.db.vault.destroy_keys([lost])
    with house.read() as unit:
        read_ahead(unit, visit_ids=[gone.visit_id, here.visit_id], person_ids=[])
        assert tickets.tickets_of_visit(unit, here.visit_id)[0].device == "Kestrel pocket radio"
        assert "recipient" in {kind for kind, _ in unit.known or {}}
        with pytest.raises(NotFound):
            tickets.tickets_of_visit(unit, gone.visit_id)
