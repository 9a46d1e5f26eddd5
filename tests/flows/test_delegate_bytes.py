"""The bytes of a forgotten delegate's name are gone from every file, while the customer who named them stays (E1)."""

from __future__ import annotations

import pytest

from notify.flows import forget, handover, passes
from notify.flows.check_in_form import DeviceForm
from notify.store import erasing, people, tickets
from tests.flows.test_forget_bytes import Kept, kept  # noqa: F401 - the fixture
from tests.parts.shelved import shelve
from tests.parts.traces import hits, patterns

pytestmark = pytest.mark.long

NAMES = ["Wilhelmina Oland-Marlowe", "Ludowika Quaymaster", "Theodora Netloft"]


def test_whom_a_pass_was_for_leaves_no_byte_and_the_customer_stays(kept: Kept) -> None:  # noqa: F811
    house = kept.house
    done = house.check_in(DeviceForm("Kestrel pocket radio"), name="Ines Farrow-Okonedo")
    shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    used, revoked = (passes.give(house.ctx, house.actor(), done.visit_id, name=name) for name in NAMES[:2])
    passes.revoke(house.ctx, house.actor(), done.visit_id, revoked.pass_id)
    passes.ask(house.ctx, house.customer(), done.visit_id, name=NAMES[2])
    house.deliver(after=1)
    handover.hand_back(house.ctx, house.actor(), ticket_ids=done.ticket_ids, pass_code=used.code)
    house.deliver(after=91)
    wanted = patterns([*NAMES, used.code, revoked.code])
    before = hits(kept.files(), wanted)
    house.clock.advance(8 * 86400)
    passes.expire_due(house.ctx, house.system())
    dropped = house.services.drop_copies
    assert forget.forget_delegates(house.ctx, house.system(), drop_copies=dropped) == 3
    assert forget.confirm(house.ctx, house.system())
    after = hits(kept.files(), wanted)
    print(f"FIGURE E1_delegates database={house.ctx.db.engine.dialect.name} patterns={len(wanted)} "
          f"before={len(before)} hits={len(after)}")  # fmt: skip
    assert before, "the mail that told the customer bears the name before it goes"
    assert after == []
    with house.read() as unit:
        bringer = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
        assert people.get_person(unit, bringer).name == "Ines Farrow-Okonedo"
        (record,) = [one for one in erasing.list_erasures(unit) if one.reason == "pass_over"]
    assert record.confirmed_at is not None and record.counts["delegates"] == 3 and record.counts["messages"] == 1
