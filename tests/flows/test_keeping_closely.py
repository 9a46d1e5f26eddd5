"""The edges of keeping, each of which somebody broke on purpose without another test noticing.

Days are counted by hand from the rules as they are told (core/retention): 90 days for a person, 7 for a delegate.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import insert

from notify.core.errors import Conflict
from notify.flows import data_holds, forget, handover, keep_proofs, keep_rules, passes
from notify.flows.check_in_form import DeviceForm
from notify.store import erasing, schema
from notify.store import passes as rows
from tests.flows.test_keeping import DAY, LONDON, _reason, _set, home, person_of, state
from tests.parts.house import House
from tests.parts.shelved import shelve, token_of

pytestmark = pytest.mark.long


def test_a_person_goes_by_the_last_of_their_devices_not_by_the_first(house: House) -> None:
    visit = house.check_in(DeviceForm("Kestrel pocket radio"), DeviceForm("Otter camera"))
    for wait, ticket_id in zip((30, 90), visit.ticket_ids, strict=True):
        shelve(house, ticket_id)
        handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket_id], token=token_of(house, ticket_id))
        house.clock.advance(wait * DAY)
        if wait == 30:
            assert state(house, visit)[0] == "open"
    assert state(house, visit)[0] == "due"
    house.clock.advance(-DAY)
    assert state(house, visit)[0] == "running", "the first one alone would have been over a month ago"


def test_nobody_owes_for_what_was_not_repaired_and_a_closed_follow_up_keeps_nobody(house: House) -> None:
    owing, followed = home(house), home(house, email="tam@example.org", phone="")
    t = schema.tickets
    _set(house, t, t.c.id == owing.ticket_ids[0], price_agreed=3000, paid=False, outcome="unrepaired")
    _reason(house, followed, "follow_up")
    house.clock.advance(90 * DAY)
    assert state(house, owing) == ("due", ()) and state(house, followed) == ("kept", ("follow_up",))
    _set(house, t, t.c.follows_id == followed.ticket_ids[0], phase="handed_back")
    assert state(house, followed) == ("due", ())


def test_a_hold_keeps_whoever_a_pass_was_for_too_until_it_ends(house: House) -> None:
    visit = house.check_in()
    passes.ask(house.ctx, house.customer(), visit.visit_id, name="Mia Oland")
    house.clock.advance(8 * DAY)
    passes.expire_due(house.ctx, house.system())
    hold = data_holds.set_hold(house.ctx, house.actor(), visit.visit_id, "dispute", note="who came for it")
    house.clock.advance(8 * DAY)
    assert forget.forget_delegates(house.ctx, house.system()) == 0
    data_holds.end_hold(house.ctx, house.actor(), hold)
    assert forget.forget_delegates(house.ctx, house.system()) == 1
    with house.read() as unit:
        assert [one.ended_at is not None for one in rows.passes_of(unit, visit.visit_id)] == [True]


def test_a_hold_rings_on_its_very_day_in_the_morning_and_an_ended_one_is_over(house: House) -> None:
    visit = home(house)
    with house.read() as unit:
        today = house.ctx.today(house.ctx.shop(unit))
    hold = data_holds.set_hold(house.ctx, house.actor(), visit.visit_id, "dispute", note="the dial",
                               review_on=today + timedelta(days=1))  # fmt: skip
    (seen,) = data_holds.list_holds(house.ctx, house.actor("counter"))
    assert (seen.reason, seen.note) == ("dispute", ""), "who may not set holds is not told what they are about"
    while house.clock().astimezone(LONDON).date() == today:
        house.clock.advance(600)
    assert data_holds.ring_due(house.ctx, house.system()) == 0, "at midnight nobody is rung"
    house.clock.advance(9 * 3600)
    assert data_holds.ring_due(house.ctx, house.system()) == 1
    data_holds.end_hold(house.ctx, house.actor(), hold)
    for again in (data_holds.end_hold, data_holds.review_hold):
        with pytest.raises(Conflict):
            again(house.ctx, house.actor(), hold)


def test_a_reason_that_is_dropped_counts_from_tomorrow_as_a_shorter_period_does(house: House) -> None:
    with house.read() as unit:
        today = house.ctx.today(house.ctx.shop(unit))
    told = keep_rules.change_rule(house.ctx, house.actor(), "contact_card", exceptions=("uncollected",))
    assert told.rule.valid_from == today + timedelta(days=1)
    assert told.rule.exceptions == ("uncollected", "dispute", "legal", "request", "set_aside")


def test_a_slip_is_taken_back_by_writing_what_was_there_and_a_change_keeps_what_is_to_come(house: House) -> None:
    def change(**more: Any) -> Any:
        return keep_rules.change_rule(house.ctx, house.actor(), "contact_card", **more).rule

    def to_come() -> Any:
        return next(one for one in keep_rules.list_rules(house.ctx, house.actor())).to_come

    change(period="P3D")
    dropped = change(exceptions=("unpaid",))
    assert (dropped.period, dropped.exceptions) == ("P3D", ("unpaid", "dispute", "legal", "request", "set_aside"))
    assert to_come() == dropped
    back = change(period="P90D", exceptions=("uncollected", "unpaid", "follow_up"))
    assert to_come() is None and (back.period, len(back.exceptions)) == ("P90D", 7)


def test_who_gets_a_reason_while_the_night_runs_stays(house: House) -> None:
    first, second = home(house), home(house, email="tam@example.org", phone="")
    by_person = {person_of(house, one): one for one in (first, second)}
    house.clock.advance(91 * DAY)
    kept: list[Any] = []

    def meanwhile() -> None:
        if not kept:  # once the key of the first one is gone, before their rows are
            kept.extend(one for one in by_person if one in house.ctx.db.vault.data_keys(by_person))
            data_holds.set_hold(house.ctx, house.actor(), by_person[kept[0]].visit_id, "legal", note="a letter came")

    done = forget.forget(house.ctx, house.system(), batch=1, rest=meanwhile, prove=False)
    assert len(done.due) == 1 and len(kept) == 1 and kept[0] not in done.due
    assert state(house, by_person[kept[0]]) == ("kept", ("legal",))


def test_the_record_of_an_erasure_that_is_not_proved_stays_however_old(house: House) -> None:
    with house.ctx.db.write(house.shop_id) as unit:
        old = house.clock() - timedelta(days=9 * 366)
        unit.connection.execute(insert(schema.erasures).values(
            shop_id=house.shop_id, id="e" * 36, at=old, reason="period_over", counts={"people": 1}))  # fmt: skip
    assert keep_proofs.forget_proofs(house.ctx, house.system())["erasure_record"] == 0
    assert forget.confirm(house.ctx, house.system())
    assert keep_proofs.forget_proofs(house.ctx, house.system())["erasure_record"] == 1


def test_a_record_that_was_proved_is_counted_no_further_but_followed_by_another(house: House) -> None:
    add: dict[str, Any] = {"at": house.clock(), "reason": "period_over"}
    with house.ctx.db.write(house.shop_id) as unit:
        first = erasing.add_erasure(unit, counts={"people": 1}, **add)
        assert erasing.add_erasure(unit, counts={"people": 2}, to=first, **add) == first
        erasing.confirm_erasures(unit, [first], at=house.clock())
        second = erasing.add_erasure(unit, counts={"people": 4}, to=first, **add)
        told = {one.id: (one.counts, one.confirmed_at is not None) for one in erasing.list_erasures(unit)}
    assert told == {first: ({"people": 3}, True), second: ({"people": 4}, False)}
