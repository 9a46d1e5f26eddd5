"""Whoever is not the customer gets no device: the row "device at pickup" of the threat model, attack by attack.

Source of the attacks: a number or a photo of the label, an old stub, passes used, expired, revoked or guessed, and an
insider who changes the contact. The thresholds (three within a day) are our own choice.
"""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.core.scan import read_scan
from notify.core.tickets import Phase
from notify.flows import desk_notes, handover, passes, pickup, reach, set_up
from notify.flows.check_in_form import DeviceForm
from notify.flows.desk_secret import WrongSecret, find_pass_visit, try_secret
from notify.flows.view_day_sheet import view as day_sheet
from notify.flows.view_handover import view_handover
from notify.store import bookings, events, notes, tickets
from notify.store import passes as rows
from tests.parts.house import House
from tests.parts.shelved import shelve, token_of

BASE = "https://bell.example.org"


@pytest.fixture
def visit(house: House) -> Any:
    """A radio and a camera on the shelf; the radio costs £30, £6 of it paid."""
    done = house.check_in(DeviceForm("Kestrel pocket radio", price_agreed="30", deposit="6"),
                          DeviceForm("Otter camera", paid=True, price_agreed="12"))  # fmt: skip
    for ticket_id in done.ticket_ids:
        shelve(house, ticket_id)
    return done


def here(house: House, visit: Any) -> set[Phase]:
    with house.read() as unit:
        return set(tickets.phases_of_visit(unit, visit.visit_id).values())


def story(house: House, visit: Any, kind: str) -> list[Any]:
    with house.read() as unit:
        return [event for event in events.story_of(unit, visit_id=visit.visit_id) if event.kind == kind]


def wrong(house: House, visit: Any, scanned: str = "b" * 16) -> None:
    with pytest.raises(WrongSecret):
        try_secret(house.ctx, house.actor("counter"), visit.visit_id, read_scan(scanned, base_url=BASE))


def back(house: House, visit: Any, **shown: Any) -> handover.HandedBack:
    return handover.hand_back(house.ctx, house.actor("counter"), ticket_ids=visit.ticket_ids, **shown)


def test_a_thief_with_the_number_or_a_photo_of_the_label_gets_nothing(house: House, visit: Any) -> None:
    for shown in (show_number(visit.numbers[0]), visit.numbers[0].lower(), f"shelfbell:p/{'b' * 12}", "Ines Farrow"):
        with pytest.raises(Invalid, match="neither a claim ticket nor a pass"):
            try_secret(house.ctx, house.actor("counter"), visit.visit_id, read_scan(shown, base_url=BASE))
    for said in ("", "ok", "1234"):
        with pytest.raises(NotAllowed, match="number alone"):
            back(house, visit, checked=said)
    assert here(house, visit) == {Phase.ON_SHELF}
    assert not story(house, visit, "handover_refused")  # a number is no secret, so a wrong one is no try


def test_an_old_stub_is_refused_written_down_and_said(house: House, visit: Any) -> None:
    old = token_of(house, visit.ticket_ids[0])
    desk_notes.replace_after_check(house.ctx, house.actor(), visit.visit_id, checked="knew the dent")
    wrong(house, visit, f"{BASE}/c/{old}")
    with pytest.raises(WrongSecret, match="replaced"):
        back(house, visit, token=old)
    assert [e.codes["why"] for e in story(house, visit, "handover_refused")] == ["unknown", "unknown"]
    assert here(house, visit) == {Phase.ON_SHELF}


def test_the_ticket_of_another_visit_does_not_fetch_this_one(house: House, visit: Any) -> None:
    other = house.check_in(name="Sam Ferris")
    shelve(house, other.ticket_ids[0])
    wrong(house, visit, f"{BASE}/c/{token_of(house, other.ticket_ids[0])}")
    with pytest.raises(WrongSecret, match="another visit"):
        back(house, visit, token=token_of(house, other.ticket_ids[0]))
    given = passes.give(house.ctx, house.actor(), other.visit_id, name="Mia Oland")
    with pytest.raises(WrongSecret, match="another visit"):
        back(house, visit, pass_code=given.code)
    assert {e.codes["why"] for e in story(house, visit, "handover_refused")} == {"foreign"}
    assert here(house, visit) == {Phase.ON_SHELF} and passes.is_open(
        _row(house, given.pass_id), house.clock()
    )  # fmt: skip


def _row(house: House, pass_id: str) -> Any:
    with house.read() as unit:
        return rows.get_pass(unit, pass_id)


@pytest.mark.parametrize("how", ["used", "revoked", "expired"])
def test_a_pass_that_is_over_fetches_nothing_and_is_seen_wherever_it_is_scanned(
    how: str, house: House, visit: Any
) -> None:
    given = passes.give(house.ctx, house.actor(), visit.visit_id, name="Mia Oland")
    if how == "used":
        handover.hand_back(house.ctx, house.actor(), ticket_ids=visit.ticket_ids[:1], pass_code=given.code)
    elif how == "revoked":
        passes.revoke(house.ctx, house.customer(), visit.visit_id, given.pass_id)
    else:
        house.clock.advance(15 * 86400)
    before = here(house, visit)
    with pytest.raises(WrongSecret):
        find_pass_visit(house.ctx, house.actor("counter"), given.code)
    with pytest.raises(WrongSecret):
        handover.hand_back(house.ctx, house.actor(), ticket_ids=visit.ticket_ids[1:], pass_code=given.code)
    assert [e.codes["why"] for e in story(house, visit, "handover_refused")] == [f"pass_{how}"] * 2
    assert here(house, visit) == before


def test_guessed_passes_fetch_nothing_and_the_third_asks_for_a_check(house: House, visit: Any) -> None:
    for n in range(3):
        wrong(house, visit, f"{'b' * 15}{'cdf'[n]}")
    assert view_handover(house.ctx, house.actor(), visit.visit_id).asks_check
    right = token_of(house, visit.ticket_ids[0])
    with pytest.raises(NotAllowed, match="Wrong codes were shown") as told:
        back(house, visit, token=right)
    assert told.value.field == "checked" and here(house, visit) == {Phase.ON_SHELF}
    back(house, visit, token=right, checked="passport of Ines Farrow")
    (done,) = story(house, visit, "handover_done")
    assert (done.codes["how"], done.codes["checked"]) == ("claim_ticket", 1)


def test_two_wrong_secrets_or_three_of_another_day_ask_for_nothing_more(house: House, visit: Any) -> None:
    wrong(house, visit)
    wrong(house, visit)
    house.clock.advance(86400)
    wrong(house, visit)
    wrong(house, visit)
    assert not view_handover(house.ctx, house.actor(), visit.visit_id).asks_check
    assert back(house, visit, token=token_of(house, visit.ticket_ids[0])).how == "claim_ticket"


def test_a_right_handover_begins_the_count_anew(house: House, visit: Any) -> None:
    for _ in range(3):
        wrong(house, visit)
    first, second = visit.ticket_ids
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[first], token=token_of(house, first), checked="passport")
    assert handover.hand_back(house.ctx, house.actor(), ticket_ids=[second], token=token_of(house, second))


def test_the_day_sheet_names_the_visit_from_the_third_wrong_secret_until_it_is_handed_back(
    house: House, visit: Any
) -> None:
    seen = []
    for _ in range(3):
        wrong(house, visit)
        seen.append(len(day_sheet(house.ctx, house.actor()).tried))
    (tried,) = day_sheet(house.ctx, house.actor()).tried
    assert seen == [0, 0, 1] and (tried.count, tried.ticket.visit_id) == (3, visit.visit_id)
    back(house, visit, checked="passport of Ines Farrow")
    assert day_sheet(house.ctx, house.actor()).tried == ()


def test_an_insider_who_changes_the_contact_still_meets_a_check(house: House, visit: Any) -> None:
    with house.read() as unit:
        ines = tickets.get_ticket(unit, visit.ticket_ids[0]).person_id
    house.deliver(after=91)
    reach.set_contact(house.ctx, house.actor("counter"), visit.visit_id, ines, channel="email",
                      address="thief@example.net")  # fmt: skip
    given = passes.give(house.ctx, house.actor("counter"), visit.visit_id, name="Mia Oland")
    for shown in ({"token": token_of(house, visit.ticket_ids[0])}, {"pass_code": given.code}):
        with pytest.raises(NotAllowed, match="changed a short time ago"):
            back(house, visit, **shown)
    assert here(house, visit) == {Phase.ON_SHELF}
    assert view_handover(house.ctx, house.actor(), visit.visit_id).hold is not None
    back(house, visit, pass_code=given.code, checked="Mia Oland on a bus pass")
    (done,) = story(house, visit, "handover_done")
    assert (done.codes["hold"], done.codes["checked"], done.codes["how"]) == (1, 1, "pass")
    assert len(story(house, visit, "hold_lifted")) == 1


def test_paid_now_and_handed_back_are_one_thing(house: House, visit: Any) -> None:
    token = token_of(house, visit.ticket_ids[0])
    with pytest.raises(Conflict):  # the camera went already: then no money is noted either
        handover.hand_back(house.ctx, house.actor(), ticket_ids=visit.ticket_ids[1:], token=token)
        back(house, visit, token=token, paid_now=True)
    with house.read() as unit:
        assert not tickets.get_ticket(unit, visit.ticket_ids[0]).paid
    handover.hand_back(house.ctx, house.actor("counter"), ticket_ids=visit.ticket_ids[:1], token=token, paid_now=True)
    with house.read() as unit:
        assert tickets.get_ticket(unit, visit.ticket_ids[0]).paid
    (money,) = story(house, visit, "money_recorded")
    assert money.ticket_id == visit.ticket_ids[0] and money.codes == {"paid": 1}


def test_not_paid_stays_not_paid(house: House, visit: Any) -> None:
    back(house, visit, token=token_of(house, visit.ticket_ids[0]))
    with house.read() as unit:
        assert [tickets.get_ticket(unit, one).paid for one in visit.ticket_ids] == [False, True]


@pytest.mark.parametrize(
    ("ago", "seconds"), [(0, 0), (41.9, 41), (3600, 3600), (90_000, 3600), (-5, None), (None, None)]
)
def test_how_long_it_took_is_kept_for_an_hour_at_most_and_not_when_unknown(
    ago: float | None, seconds: int | None, house: House, visit: Any
) -> None:
    since = None if ago is None else house.clock() - timedelta(seconds=ago)
    back(house, visit, token=token_of(house, visit.ticket_ids[0]), since=since)
    (done,) = story(house, visit, "handover_done")
    assert done.codes.get("seconds") == seconds


def test_who_took_it_is_kept_by_reference_and_goes_when_they_are_forgotten(house: House) -> None:
    from notify.flows import forget, view_ticket

    done = house.check_in(collectors=("Quentin Ashdown",))
    shelve(house, done.ticket_ids[0])
    quentin = view_handover(house.ctx, house.actor(), done.visit_id).collectors[1]
    handover.hand_back(house.ctx, house.actor(), ticket_ids=done.ticket_ids, checked="knew the fault",
                       collector=quentin.id)  # fmt: skip
    with house.read() as unit:
        assert notes.notes_of(unit, done.ticket_ids[0])[-1].text == "knew the fault"  # and no name beside it

    def taker() -> str:
        seen = view_ticket.view(house.ctx, house.actor(), done.ticket_ids[0])
        return next(line.taker for line in seen.story if line.kind == "handover_done")

    assert taker() == "Quentin Ashdown"
    forget.erase_person(house.ctx, house.actor(), quentin.id)
    assert taker() == ""


def test_six_desks_at_once_give_a_pass_its_devices_once(house: House, visit: Any) -> None:
    given = passes.give(house.ctx, house.actor(), visit.visit_id, name="Mia Oland")
    gate, results = threading.Barrier(6), []

    def press() -> None:
        gate.wait()
        try:
            results.append(back(house, visit, pass_code=given.code).how)
        except (WrongSecret, Conflict) as refused:
            results.append(type(refused).__name__)

    house.actor("counter")
    threads = [threading.Thread(target=press) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    print(f"FIGURE pass_race database={house.ctx.db.engine.dialect.name} desks=6 handed_back={results.count('pass')}")
    assert sorted(results) == ["WrongSecret"] * 5 + ["pass"]
    assert len(story(house, visit, "handover_done")) == 1 == len(story(house, visit, "pass_used"))


def test_another_shops_staff_can_neither_use_nor_see_a_pass(house: House, visit: Any) -> None:
    given = passes.give(house.ctx, house.actor(), visit.visit_id, name="Mia Oland")
    other = set_up.make_shop(house.ctx, settings={"name": "Pier Bench", "zone": "Europe/London"})
    theirs = replace(house, shop_id=other, actors={"owner": Actor(other, "staff", "pier", "owner")})
    with pytest.raises(Exception, match="not known here"):
        find_pass_visit(house.ctx, theirs.actor(), given.code)
    for call in (
        lambda: passes.give(house.ctx, theirs.actor(), visit.visit_id, name="Thief"),
        lambda: passes.revoke(house.ctx, theirs.actor(), visit.visit_id, given.pass_id),
        lambda: handover.hand_back(house.ctx, theirs.actor(), ticket_ids=visit.ticket_ids, pass_code=given.code),
        lambda: try_secret(house.ctx, theirs.actor(), visit.visit_id, read_scan(given.code, base_url=BASE)),
    ):
        with pytest.raises((NotAllowed, Conflict, Exception)) as refused:
            call()
        assert type(refused.value).__name__ == "NotFound", refused.value
    assert here(house, visit) == {Phase.ON_SHELF} and _row(house, given.pass_id).state == "open"
    assert not story(house, visit, "handover_refused")


def test_a_pickup_time_stands_until_the_last_ready_device_of_the_visit_is_handed_back(house: House, visit: Any) -> None:
    slot = next(one for one in pickup.offers(house.ctx, house.actor(), visit.visit_id) if one.free).slot
    booked = pickup.book(house.ctx, house.actor(), visit.visit_id, slot.local, fold=slot.fold)
    for ticket_id, state in zip(visit.ticket_ids, ("booked", "kept"), strict=True):
        handover.hand_back(house.ctx, house.actor("counter"), ticket_ids=[ticket_id], checked="knows the fault")
        with house.read() as unit:
            stands = bookings.get_booking(unit, booked.id)
        assert stands is not None and stands.state == state
