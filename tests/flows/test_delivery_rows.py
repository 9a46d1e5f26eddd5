"""What another system tells of deliveries, row by row: what is taken, what is a doubt, and that nothing is guessed."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from typing import Any

import pytest
from sqlalchemy import select

from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.core.sources import Batch, Doubt
from notify.flows import parts, set_up
from notify.flows.deliveries import Doubtful, take_row
from notify.store import schema

pytestmark = pytest.mark.long
NAME = "Breakwater Parts"
WORDS = {"shipped": "ordered", "delivered": "arrived", "no longer made": "needed", "broken": "dead"}
BATCH = Batch("parts-desk", "deliveries", "Europe/Berlin", {}, WORDS)


@pytest.fixture
def shop(house: Any) -> Any:
    """Two tickets that wait: a cone with an article and a label, and two dials of one order; a Wednesday at eleven."""
    set_up.put_supplier(house.ctx, house.actor(), name=NAME, cutoff=None, delivers_at=time(10), days=1)
    house.clock.set(datetime(2026, 11, 25, 11, tzinfo=UTC))
    cone = house.check_in().ticket_ids[0]
    house.cone = parts.need(house.ctx, house.actor(), cone, name="Speaker cone", terms=parts.Terms(article="SC-4"))
    dials = house.check_in().ticket_ids[0]
    terms = parts.Terms(article="D 1", order_ref="2026/17")
    parts.need(house.ctx, house.actor(), dials, name="dial", quantity=2, supplier=NAME, terms=terms)
    return house


def rows(shop: Any, article: str) -> list[Any]:
    t = schema.parts
    with shop.read() as unit:
        found = select(t).where(t.c.article == article).order_by(t.c.state, t.c.id)
        return list(unit.connection.execute(found).all())


def take(shop: Any, **cells: str) -> bool:
    actor = Actor(shop.shop_id, "source", "parts-desk")
    with shop.ctx.db.write(shop.shop_id) as unit:
        return take_row(shop.ctx, unit, actor, BATCH, cells, shop.clock())


def test_a_row_is_taken_by_article_order_slip_or_label_and_once(shop: Any) -> None:
    assert take(shop, article="sc-4", part_state="Shipped", supplier="breakwater parts", slip="PS 9", due="2026-11-27")
    [cone] = rows(shop, "SC-4")
    assert (cone.state, cone.slip, cone.due_at) == ("ordered", "PS 9", datetime(2026, 11, 27, 10, tzinfo=UTC))
    assert not take(shop, article="SC-4", part_state="shipped", slip="ps9", due="2026-11-27")
    assert take(shop, slip="PS 9", due="2026-11-27T12:00")  # a time without a zone is the source's own
    assert rows(shop, "SC-4")[0].due_at == datetime(2026, 11, 27, 11, tzinfo=UTC)
    assert take(shop, part=cone.label, part_state="delivered") and rows(shop, "SC-4")[0].state == "arrived"
    assert not take(shop, part=cone.label, part_state="delivered")
    assert not take(shop, slip="PS 9", part_state="delivered")
    assert take(shop, order="2026/17", article="D 1", quantity="1", part_state="delivered")
    assert sorted(one.state for one in rows(shop, "D 1")) == ["arrived", "ordered"]
    assert take(shop, order="2026/17", part_state="delivered")  # the rest of the order
    assert {one.state for one in rows(shop, "D 1")} == {"arrived"}


def test_an_order_that_came_to_nothing_has_to_be_ordered_again(shop: Any) -> None:
    assert take(shop, order="2026/17", part_state="no longer made")
    assert {(one.state, one.order_ref, one.due_at) for one in rows(shop, "D 1")} == {("needed", "", None)}


DOUBTS: tuple[tuple[dict[str, str], Doubt], ...] = (
    ({"article": "X-9", "part_state": "delivered"}, Doubt.UNKNOWN_PART),
    ({"part_state": "delivered"}, Doubt.UNKNOWN_PART),
    ({"supplier": NAME, "part_state": "delivered"}, Doubt.UNKNOWN_PART),
    ({"article": "D 1", "quantity": "3", "part_state": "delivered"}, Doubt.UNKNOWN_PART),
    ({"article": "D 1", "part_state": "lost at sea"}, Doubt.UNKNOWN_WORD),
    ({"article": "D 1", "supplier": "Nobody Ltd"}, Doubt.UNKNOWN_WORD),
    ({"article": "D 1", "part_state": "broken"}, Doubt.NEEDS_A_PERSON),
    ({"reference": "K7M-2X9T", "part_state": "delivered"}, Doubt.UNKNOWN_TICKET),
)
UNREADABLE: tuple[tuple[dict[str, str], str], ...] = (
    ({"article": "D 1", "quantity": "-1"}, "quantity"),
    ({"article": "D 1", "quantity": "٣"}, "quantity"),
    ({"article": "D 1", "due": "27.11.2026"}, "due"),
    ({"article": "SC-4"}, "supplier"),
)


def test_what_fits_nothing_is_a_doubt_and_changes_nothing(shop: Any) -> None:
    before = [tuple(one) for article in ("SC-4", "D 1") for one in rows(shop, article)]
    for cells, doubt in DOUBTS:
        with pytest.raises(Doubtful) as told:
            take(shop, **cells)
        assert told.value.doubt is doubt and told.value.advice, cells
    for cells, field in UNREADABLE:
        with pytest.raises(Invalid) as wrong:
            take(shop, **cells)
        assert wrong.value.field == field, cells
    assert [tuple(one) for article in ("SC-4", "D 1") for one in rows(shop, article)] == before


def test_a_part_without_an_article_is_found_by_ticket_and_name(shop: Any) -> None:
    done = shop.check_in()
    part = parts.need(shop.ctx, shop.actor(), done.ticket_ids[0], name="Knob")
    number = done.numbers[0]
    assert take(shop, reference=number, part="knob", supplier=NAME, due=str(date(2026, 11, 28)))
    assert take(shop, reference=number, part="KNOB", part_state="delivered", supplier=NAME)
    with shop.read() as unit:
        assert (
            unit.connection.execute(select(schema.parts.c.state).where(schema.parts.c.id == part)).scalar() == "arrived"
        )
