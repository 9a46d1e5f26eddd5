"""Several shops of one installation in several zones: each sees its own day, slots, reminders and pages."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from notify.core.actors import Actor
from notify.core.sources import Batch, Change
from notify.core.tickets import Phase
from notify.flows import (
    check_in,
    doubts,
    paper_day,
    pickup,
    reminders,
    set_up,
    take_changes,
    view_pickups,
    view_sources,
)
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.flows.claim_shown import Speech
from notify.flows.moves import move
from notify.flows.view_hits import view
from notify.flows.view_list import list_tickets
from notify.flows.view_slots import view_slots
from notify.store import bookings, tickets
from tests.parts.house import SHOP

# 14:30 UTC on 25 November 2026: 14:30 in London, 09:30 in New York, and already 01:30 of the 26th on Lord Howe
# (UTC+11 in its summer; IANA, zdump).
NOW = datetime(2026, 11, 25, 14, 30, tzinfo=UTC)
SHOPS = {
    "Europe/London": ("2026-11-25T15:00/0", date(2026, 11, 25)),
    "America/New_York": ("2026-11-25T10:00/0", date(2026, 11, 25)),
    "Australia/Lord_Howe": ("2026-11-26T09:00/0", date(2026, 11, 26)),
}


@pytest.fixture
def harbour(house: Any) -> dict[str, tuple[Actor, str, str]]:
    """Zone -> (owner, visit with a device on the shelf, its claim secret), a shop each."""
    house.clock.advance((NOW - house.clock()).total_seconds())
    return {zone: _shop(house, zone) for zone in SHOPS}


def _shop(house: Any, zone: str) -> tuple[Actor, str, str]:
    shop_id = set_up.make_shop(house.ctx, settings={**SHOP, "zone": zone})
    owner = Actor(shop_id, "staff", f"owner-{zone}", "owner")
    for weekday in range(7):
        set_up.add_hours(house.ctx, owner, weekday=weekday, opens=time(9), closes=time(18), capacity=1,
                         valid_from=date(2026, 1, 1))  # fmt: skip
    form = VisitForm(PersonForm("Ines Farrow", email="ines@example.org"), (DeviceForm("Kestrel"),))
    done = check_in.check_in(house.ctx, owner, form)
    for phase in ("in_line", "on_bench", "on_shelf"):
        move(house.ctx, owner, done.ticket_ids[0], phase)
    with house.ctx.db.read(shop_id) as unit:
        return owner, done.visit_id, tickets.get_ticket(unit, done.ticket_ids[0]).token


def test_each_shop_offers_its_own_morning_and_calls_its_own_day_today(house: Any, harbour: Any) -> None:
    speech = Speech(house.services.words.get, house.services.page_words.get)
    for zone, (owner, visit_id, token) in harbour.items():
        value, today = SHOPS[zone]
        first = pickup.offers(house.ctx, owner, visit_id)[0].slot
        assert f"{first.local:%Y-%m-%dT%H:%M}/{first.fold}" == value
        assert first.start == first.local.replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)
        view = view_slots(house.ctx, token, speech)
        assert view.days[0].label.startswith("Today, ") and view.days[0].parts[0].times[0].value == value
        assert view_pickups.view(house.ctx, owner).today == today


def test_a_booking_stands_on_the_day_of_its_own_shop_only(house: Any, harbour: Any) -> None:
    for owner, visit_id, _ in harbour.values():
        pickup.book(house.ctx, owner, visit_id, datetime(2026, 11, 26, 17, 30))
    for zone, (owner, visit_id, _) in harbour.items():
        for day, count in ((25, 0), (26, 1), (27, 0)):
            listed = view_pickups.view(house.ctx, owner, day=date(2026, 11, day)).pickups
            assert [one.visit_id for one in listed] == [visit_id] * count, (zone, day)
        with house.ctx.db.read(owner.shop_id) as unit:
            live = bookings.live_booking(unit, visit_id)
        assert live is not None and live.zone == zone
        assert live.start_at.astimezone(ZoneInfo(zone)).replace(tzinfo=None) == datetime(2026, 11, 26, 17, 30)


def test_a_reminder_leaves_three_hours_before_by_the_clock_of_each_shop(house: Any, harbour: Any) -> None:
    """17:30 on the 26th is 06:30 UTC on Lord Howe, 17:30 UTC in London, 22:30 UTC in New York."""
    due = {"Australia/Lord_Howe": (26, 3, 30), "Europe/London": (26, 14, 30), "America/New_York": (26, 19, 30)}
    for owner, visit_id, _ in harbour.values():
        pickup.book(house.ctx, owner, visit_id, datetime(2026, 11, 26, 17, 30))
    for zone, (day, hour, minute) in due.items():
        at = datetime(2026, 11, day, hour, minute, tzinfo=UTC)
        house.clock.advance((at - house.clock()).total_seconds() - 60)
        assert _reminded(house, harbour) == set(), zone
        house.clock.advance(120)
        assert _reminded(house, harbour) == {zone}


def _reminded(house: Any, harbour: Any) -> set[str]:
    """In which shops a reminder is planned now."""
    return {zone for zone, (owner, *_) in harbour.items()
            if reminders.remind_due(house.ctx, Actor(owner.shop_id, "system", "clock"))}  # fmt: skip


def test_a_word_of_a_source_is_said_to_one_shop_only(house: Any, harbour: Any) -> None:
    """The same source name and reference in three shops are three tickets; a word that one explains is its own."""
    told = [Change(1, {"reference": "J-1", "phase": "in", "device": "Gull radio", "name": "Tove Lind"}),
            Change(2, {"reference": "J-1", "phase": "what"})]  # fmt: skip
    batch = Batch("list", "tickets", "UTC", {"in": "taken_in"}, {})
    for owner, *_ in harbour.values():
        taken = take_changes.take(house.ctx, Actor(owner.shop_id, "source", "list"), batch, told)
        assert (len(taken.taken), len(taken.doubted)) == (1, 1)
    first = next(iter(harbour.values()))[0]
    doubts.mean(house.ctx, first, batch, "what", "in_line")
    waiting = [len(view_sources.view(house.ctx, owner, ()).doubts) for owner, *_ in harbour.values()]
    assert waiting == [0, 1, 1]
    phases = [tuple(_phases(house, owner)) for owner, *_ in harbour.values()]
    assert phases == [("in_line", "on_shelf"), ("on_shelf", "taken_in"), ("on_shelf", "taken_in")]


def _phases(house: Any, owner: Actor) -> list[str]:
    return sorted(line.phase.value for line in list_tickets(house.ctx, owner, phases=[one.value for one in Phase]))


def test_the_evenings_sheet_is_written_by_each_shops_own_clock(house: Any, harbour: Any, tmp_path: Path) -> None:
    """19:00 is 08:00 UTC on Lord Howe, 19:00 UTC in London, midnight UTC in New York (zdump); one file a shop."""
    at = {"Australia/Lord_Howe": (26, 8), "Europe/London": (25, 19), "America/New_York": (26, 0)}
    written: dict[str, list[date]] = {zone: [] for zone in at}
    for day, hour in sorted(at.values()):
        house.clock.advance((datetime(2026, 11, day, hour, 1, tzinfo=UTC) - house.clock()).total_seconds())
        for zone, (owner, *_) in harbour.items():

            def make(on: date, zone: str = zone) -> bytes:
                written[zone].append(on)
                return b"%PDF"

            paper_day.write_due(house.ctx, Actor(owner.shop_id, "system", "clock"), folder=tmp_path / zone, at=time(19),
                                keep_days=2, make=make)  # fmt: skip
        evenings = {zone for zone, moment in at.items() if moment == (day, hour)}
        assert evenings <= {zone for zone, days in written.items() if days}
    first = {zone: days[0] for zone, days in written.items()}
    assert first == {"Europe/London": date(2026, 11, 26), "America/New_York": date(2026, 11, 26),
                     "Australia/Lord_Howe": date(2026, 11, 27)}  # fmt: skip
    assert all(len(list((tmp_path / zone).iterdir())) == 1 for zone in at)


def test_a_day_closed_in_one_shop_hits_nobody_of_another(house: Any, harbour: Any) -> None:
    for owner, visit_id, _ in harbour.values():
        pickup.book(house.ctx, owner, visit_id, datetime(2026, 11, 26, 9, 0))
    assert [len(view(house.ctx, owner)) for owner, *_ in harbour.values()] == [0, 0, 0]
    lord_howe = harbour["Australia/Lord_Howe"][0]
    set_up.add_special_day(house.ctx, lord_howe, date(2026, 11, 26))
    assert [len(view(house.ctx, owner)) for owner, *_ in harbour.values()] == [0, 0, 1]
