"""What one ticket shows: the moves of this person, undo, people masked, messages with their reasons; then settings."""

from __future__ import annotations

from datetime import time, timedelta
from typing import Any

import pytest

from notify.core.errors import Conflict, Invalid, NotFound
from notify.core.tickets import MOVES, Phase
from notify.flows import moves, parts, set_up, view_message_list, view_messages, view_settings
from notify.flows.check_in_form import DeviceForm
from notify.flows.set_hours import HoursRow, set_hours
from notify.flows.view_ticket import view
from tests.parts import full_shop
from tests.parts.full_shop import FullShop

pytestmark = pytest.mark.long

PICKUPS = {"slot_minutes": "20", "lead_minutes": "30", "horizon_days": "7"}


@pytest.mark.long
def test_every_move_of_the_table_is_offered_or_refused_with_its_reason(full_day: FullShop) -> None:
    house, asked, roles = full_day.house, 0, ("counter", "technician", "owner")
    for name, ticket_id in full_day.tickets.items():
        for role in roles:
            seen = view(house.ctx, house.actor(role), ticket_id)
            rows = {move.event for move in MOVES if move.source is seen.line.phase}
            assert {one.event for one in seen.moves} | {one.event for one in seen.refused} == rows, (name, role)
            asked += len(rows)
    print(f"FIGURE moves_offered tickets={len(full_day.tickets)} roles={len(roles)} moves={asked} unexplained=0")


def test_only_who_may_start_anyway_is_offered_to_and_only_the_owner_closes_as_uncollected(full_day: FullShop) -> None:
    house, shop = full_day.house, full_day
    counter = view(house.ctx, house.actor("counter"), shop.tickets["due"])
    assert [(one.event, one.why) for one in counter.refused] == [("bench_began", "part")]
    technician = view(house.ctx, house.actor("technician"), shop.tickets["due"])
    assert [one.anyway for one in technician.moves if one.event == "bench_began"] == [True]
    ready = view(house.ctx, house.actor("technician"), shop.tickets["ready"])
    assert [(one.event, one.why) for one in ready.refused] == [("left_behind", "role")]
    assert next(one for one in ready.moves if one.event == "handed_back").desk


def test_undo_is_open_to_all_for_ninety_seconds_and_then_to_the_owner_with_a_reason(house: Any) -> None:
    ticket_id = house.check_in(DeviceForm("Kestrel")).ticket_ids[0]
    assert view(house.ctx, house.actor("counter"), ticket_id).undo is None
    moves.move(house.ctx, house.actor("counter"), ticket_id, "inspecting")
    fresh = view(house.ctx, house.actor("counter"), ticket_id).undo
    assert fresh is not None and not fresh.needs_reason and fresh.until == house.clock() + timedelta(seconds=90)
    house.clock.advance(91)
    assert view(house.ctx, house.actor("counter"), ticket_id).undo is None
    late = view(house.ctx, house.actor("owner"), ticket_id).undo
    assert late is not None and late.needs_reason


def test_pressing_undo_twice_takes_back_one_move_only(house: Any) -> None:
    ticket_id = house.check_in(DeviceForm("Kestrel")).ticket_ids[0]
    moves.move(house.ctx, house.actor(), ticket_id, "inspecting")
    second = moves.move(house.ctx, house.actor(), ticket_id, "in_line")
    moves.undo(house.ctx, house.actor(), ticket_id, event_id=second.event_id)
    with pytest.raises(Conflict):
        moves.undo(house.ctx, house.actor(), ticket_id, event_id=second.event_id)
    assert view(house.ctx, house.actor(), ticket_id).line.phase is Phase.INSPECTING


def test_people_are_masked_and_each_contact_says_what_it_may_be_used_for(full_day: FullShop) -> None:
    house = full_day.house
    seen = view(house.ctx, house.actor(), full_day.tickets["ready"])
    assert [one.roles for one in seen.people] == [("bringer", "tell"), ("collector",)]
    assert {one.masked for one in seen.people[0].contacts} == {"+44 •••• ••• 123", "i••@example.org"}
    assert {one.uses for one in seen.people[0].contacts} == {("repair", "pickup")}
    assert "ines@example.org" not in repr(seen) and "447700900123" not in repr(seen)
    assert [one.device for one in seen.others] == ["Otter bag radio"] and seen.slots


def test_after_forgetting_the_story_stays_and_nothing_about_the_person_does(full_day: FullShop) -> None:
    house, shop = full_day.house, full_day
    seen = view(house.ctx, house.actor(), shop.tickets["forgotten"])
    assert seen.line.forgotten and (seen.line.device, seen.line.person) == ("", "")
    assert [one.forgotten for one in seen.people] == [True] and not seen.people[0].contacts and not seen.notes
    assert "handed_back" in {one.kind for one in seen.story} and seen.messages
    assert all(one.forgotten or one.shop for one in seen.messages)
    shown = repr([view_messages.view_one(house.ctx, house.actor(), one.id) for one in seen.messages])
    for word in ("Wilma", "Halyard", "ines@example.org", "900123", "tea", "Dial cord"):
        assert word not in repr(seen) + shown


def test_a_message_shows_its_own_bytes_and_why_others_were_not_sent(full_day: FullShop) -> None:
    house, shop = full_day.house, full_day
    found = {(one.notice, one.state): one for one in view(house.ctx, house.actor(), shop.tickets["ready"]).messages}
    ready = view_messages.view_one(house.ctx, house.actor(), found["ready", "sent"].id)
    assert "Otter 110 camera" in ready.sms and ready.count is not None and not ready.html
    # The dots that hide the link are of the other alphabet (3GPP TS 23.038 6.2.1): what is counted is what left.
    assert "/c/••••" in ready.sms and ready.count.encoding == "GSM-7" and ready.count.first_offending is None
    assert ready.count.parts == ready.line.parts == 1 and ready.count.units > len(ready.sms)
    told = view_messages.view_one(house.ctx, house.actor(), found["pickup_confirmed", "sent"].id)
    assert told.subject and "<html" in told.html.lower() and told.text and told.has_invite
    assert [one.verdict for one in told.tries] == ["accepted"]
    silent = {one.notice: one for one in view(house.ctx, house.actor(), shop.tickets["call"]).messages}
    assert (silent["checked_in"].state, silent["checked_in"].reason) == ("skipped", "no_contact")
    with pytest.raises(NotFound):
        view_messages.view_one(house.ctx, house.actor(), "nothing")


def test_the_list_of_messages_goes_page_by_page_without_gap_or_double(full_day: FullShop) -> None:
    house = full_day.house
    whole = view_message_list.view(house.ctx, house.actor(), size=500).lines
    paged: list[view_messages.MessageLine] = []
    page = 1
    while (seen := view_message_list.view(house.ctx, house.actor(), page=page, size=7)).lines:
        paged += seen.lines
        assert seen.has_older == (len(paged) < len(whole))
        page += 1
    assert [one.id for one in paged] == [one.id for one in whole] and len(whole) > 20


def test_a_part_ordered_for_a_day_comes_at_the_suppliers_hour(house: Any) -> None:
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern", cutoff=None, delivers_at=time(9, 30), days=1)
    ticket_id = house.check_in(DeviceForm("Kestrel")).ticket_ids[0]
    day = (house.clock() + timedelta(days=2)).date()
    parts.need(house.ctx, house.actor(), ticket_id, name="Coil", supplier="Lantern", due=day)
    (part,) = view(house.ctx, house.actor(), ticket_id).parts
    assert part.due_at is not None and f"{part.due_at:%Y-%m-%d %H:%M}" == f"{day} 09:30"  # winter: London is UTC
    with pytest.raises(Invalid):
        parts.need(house.ctx, house.actor(), ticket_id, name="Cord", supplier="Lantern", due=day - timedelta(days=3))
    assert len(view(house.ctx, house.actor(), ticket_id).parts) == 1  # noted and ordered, or neither


def test_settings_show_closed_days_suppliers_and_whom_tonight_would_forget(house: Any) -> None:
    full_shop.fill(house)
    seen = view_settings.view(house.ctx, house.actor())
    assert [(one.opens, one.reason) for one in seen.days] == [(None, "Harbour fair")]
    assert {one.name: one.in_use for one in seen.suppliers} == {"Lantern Spares": True, "Mole End Parts": False}
    assert (seen.due, seen.kept) == (0, 0) and "GDPR" in seen.rules[0].now.source
    with pytest.raises(Conflict):
        set_up.drop_supplier(house.ctx, house.actor(), "Lantern Spares")
    set_up.drop_supplier(house.ctx, house.actor(), "Mole End Parts")
    assert len(view_settings.view(house.ctx, house.actor()).suppliers) == 1


@pytest.mark.long
def test_a_closed_day_offers_no_pickup(house: Any) -> None:
    shop = full_shop.fill(house)
    tomorrow = house.clock().date() + timedelta(days=1)
    set_up.add_special_day(house.ctx, house.actor(), tomorrow)
    days = {one.local.date() for one in view(house.ctx, house.actor(), shop.tickets["ready"]).slots}
    assert tomorrow not in days and tomorrow + timedelta(days=1) in days


def test_the_week_is_replaced_as_a_whole_or_not_at_all(house: Any) -> None:
    good = HoursRow(1, weekday="0", opens="10:00", closes="18:30", capacity="2")
    bad = HoursRow(2, weekday="1", opens="25:00", closes="", capacity="many")
    before = view_settings.view(house.ctx, house.actor()).hours
    with pytest.raises(Invalid) as refused:
        set_hours(house.ctx, house.actor(), [good, bad], pickups={**PICKUPS, "slot_minutes": "1"})
    fields = {one.field for one in refused.value.problems}
    assert fields == {"opens-2", "closes-2", "capacity-2", "slot_minutes"}
    assert view_settings.view(house.ctx, house.actor()).hours == before
    overlapping = HoursRow(2, weekday="0", opens="18:00", closes="19:00", capacity="1")
    with pytest.raises(Invalid):
        set_hours(house.ctx, house.actor(), [good, overlapping], pickups=PICKUPS)
    assert view_settings.view(house.ctx, house.actor()).hours == before
    set_hours(house.ctx, house.actor(), [good, HoursRow(2)], pickups=PICKUPS)
    after = view_settings.view(house.ctx, house.actor())
    assert [(row.weekday, row.opens) for _, row in after.hours] == [(0, time(10))] and after.shop.slot_minutes == 20
