"""A part that came earlier than it is entered: after its order, and after what was done to its device before."""

from __future__ import annotations

from datetime import time, timedelta

import pytest

from notify.core.errors import Invalid
from notify.flows import earlier, moves, parts, set_up
from tests.parts.house import House


@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
def test_a_part_came_neither_before_its_order_nor_before_what_was_written_down_last(house: House) -> None:
    ctx, owner, hour = house.ctx, house.actor(), timedelta(hours=1)
    set_up.put_supplier(ctx, owner, name="Lantern Parts", cutoff=time(16), delivers_at=time(10), days=1)
    ticket = house.check_in().ticket_ids[0]
    cone, case = (parts.need(ctx, owner, ticket, name=name) for name in ("cone", "case"))
    house.clock.advance(3600)
    parts.order(ctx, owner, cone, supplier="Lantern Parts")
    ordered = house.clock()
    with pytest.raises(Invalid, match="ordered later"):
        earlier.part_came(ctx, owner, cone, at=ordered - hour / 2)
    house.clock.advance(3600)
    moves.move(ctx, owner, ticket, "inspecting")
    house.clock.advance(3600)
    for part in (cone, case):
        with pytest.raises(Invalid, match="later time"):
            earlier.part_came(ctx, owner, part, at=ordered + hour / 2)
    assert earlier.part_came(ctx, owner, cone, at=house.clock() - hour / 2).ticket_id == ticket
