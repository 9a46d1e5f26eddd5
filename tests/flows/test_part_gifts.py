"""A piece is given as it was thought of, and not at all when somebody changed one of both meanwhile."""

from __future__ import annotations

import pytest

from notify.core.part_match import Why
from notify.flows import parts
from notify.flows.check_in_form import DeviceForm
from notify.flows.part_gifts import to_whom
from notify.flows.part_match import Gift
from notify.store import parts as rows
from tests.parts.house import House


@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
@pytest.mark.parametrize(("off", "given"), [((0, 0), True), ((1, 0), False), ((0, 1), False)])
def test_a_gift_that_was_thought_of_before_a_change_is_none(house: House, off: tuple[int, int], given: bool) -> None:
    tickets = house.check_in(DeviceForm("Radio"), DeviceForm("Camera")).ticket_ids
    taker, giver = (parts.need(house.ctx, house.actor(), one, name="cone") for one in tickets)
    with house.ctx.db.write(house.shop_id) as unit:
        one, other = rows.get_part(unit, taker), rows.get_part(unit, giver)
        gift = Gift(taker, giver, Why.EARLIER, None, None, (one.changes - off[0], other.changes - off[1]))
        ((part, why),) = to_whom(house.ctx, unit, house.actor(), [other], [gift])
    assert (part.id, why is gift) == ((taker, True) if given else (giver, False))
