"""Handing back: the scanned claim or a written check releases a device; the claim number alone never does."""

from __future__ import annotations

from typing import Any

import pytest

from notify.core.claim_number import show_number
from notify.core.tickets import Phase
from notify.flows import moves
from notify.flows.check_in_form import DeviceForm
from notify.store import events, notes, tickets
from tests.web.conftest import Browser, sign_in

pytestmark = pytest.mark.long

RADIO = DeviceForm("Kestrel pocket radio", device_class="radio", accessories="strap, charger", price_agreed="30",
                   deposit="6", shelf="B3", safety=("swollen",))  # fmt: skip
CAMERA = DeviceForm("Otter camera", device_class="camera", paid=True)


@pytest.fixture
def visit(house: Any) -> Any:
    """Two devices on the shelf, and somebody named who may collect."""
    done = house.check_in(RADIO, CAMERA, collectors=("Mia Oland",))
    for ticket_id in done.ticket_ids:
        for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
            moves.move(house.ctx, house.actor(), ticket_id, phase)
    return done


def _token(house: Any, ticket_id: str) -> str:
    with house.read() as unit:
        return str(tickets.get_ticket(unit, ticket_id).token)


def _phases(house: Any, visit: Any) -> set[Phase]:
    with house.read() as unit:
        return set(tickets.phases_of_visit(unit, visit.visit_id).values())


def _scan(browser: Browser, house: Any, ticket_id: str) -> str:
    answer = browser.post("/scan", {"scan": f"https://bell.example.org/c/{_token(house, ticket_id)}"})
    assert answer.status_code == 303
    return str(answer.headers["Location"])


def test_a_scanned_claim_opens_the_desk_and_hands_everything_back(house: Any, visit: Any, signed_in: Browser) -> None:
    desk = _scan(signed_in, house, visit.ticket_ids[1])
    assert desk == f"/visits/{visit.visit_id}/handover"
    page = signed_in.get(desk).get_data(as_text=True)
    for said in ("B3", "strap, charger", "£24.00 still to pay.", "Battery swollen", "Paid.", "was scanned at 09:00",
                 "Ines Farrow, who brought it", "Mia Oland, named as collector"):  # fmt: skip
        assert said in page, said
    assert 'name="checked"' not in page
    answer = signed_in.post(desk, {"ticket": "all"}, seen=desk)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/")
    assert _phases(house, visit) == {Phase.HANDED_BACK}


def test_one_device_goes_and_the_desk_stays_open_for_the_other(house: Any, visit: Any, signed_in: Browser) -> None:
    desk = _scan(signed_in, house, visit.ticket_ids[0])
    answer = signed_in.post(desk, {"ticket": visit.ticket_ids[0]}, seen=desk)
    assert answer.headers["Location"] == desk
    page = signed_in.get(desk).get_data(as_text=True)
    assert "Handed back: Kestrel pocket radio." in page
    assert "was scanned" in page
    assert _phases(house, visit) == {Phase.HANDED_BACK, Phase.ON_SHELF}


@pytest.mark.parametrize("checked", ["", "   ", "ok", "\n"])
def test_without_a_scan_and_without_a_written_check_nothing_is_given(
    checked: str, house: Any, visit: Any, signed_in: Browser
) -> None:
    desk = f"/visits/{visit.visit_id}/handover"
    assert "number alone does not release" in signed_in.get(desk).get_data(as_text=True)
    answer = signed_in.post(desk, {"ticket": "all", "checked": checked}, seen=desk)
    assert answer.status_code == 422
    assert "A claim number alone does not release a device" in answer.get_data(as_text=True)
    assert _phases(house, visit) == {Phase.ON_SHELF}


def test_a_written_check_releases_and_is_kept_with_the_name_of_who_took_it(
    house: Any, visit: Any, signed_in: Browser
) -> None:
    desk = f"/visits/{visit.visit_id}/handover"
    page = signed_in.get(desk).get_data(as_text=True)
    mia = page.split("Mia Oland")[0].rpartition('name="collector" value="')[2].partition('"')[0]
    data = {"ticket": "all", "checked": "Showed a passport", "collector": mia}
    assert signed_in.post(desk, data, seen=desk).status_code == 303
    with house.read() as unit:
        kept = [note.text for one in visit.ticket_ids for note in notes.notes_of(unit, one)]
        story = events.story_of(unit, visit_id=visit.visit_id)
    assert kept == ["Showed a passport"]  # who took them is a reference to a person, who can be forgotten
    (done,) = [event for event in story if event.kind == "handover_done"]
    assert (done.codes["how"], done.codes["checked"], done.codes["collector"]) == ("staff_check", 1, mia)
    ticket = signed_in.get(f"/tickets/{visit.ticket_ids[0]}").get_data(as_text=True)
    assert "The handover was noted: after a check by staff, taken by Mia Oland" in ticket


def test_typing_the_number_opens_the_ticket_and_never_counts_as_a_scan(
    house: Any, visit: Any, signed_in: Browser
) -> None:
    answer = signed_in.post("/scan", {"scan": show_number(visit.numbers[0])})
    assert answer.headers["Location"] == f"/tickets/{visit.ticket_ids[0]}"
    assert 'name="checked"' in signed_in.get(f"/visits/{visit.visit_id}/handover").get_data(as_text=True)


def test_a_claim_of_another_visit_does_not_open_this_desk(house: Any, visit: Any, signed_in: Browser) -> None:
    other = house.check_in(RADIO, name="Sam Ferris")
    _scan(signed_in, house, other.ticket_ids[0])
    desk = f"/visits/{visit.visit_id}/handover"
    assert 'name="checked"' in signed_in.get(desk).get_data(as_text=True)
    assert signed_in.post(desk, {"ticket": "all"}, seen=desk).status_code == 422
    assert _phases(house, visit) == {Phase.ON_SHELF}


def test_a_scan_is_forgotten_after_ten_minutes_and_in_another_session(
    house: Any, visit: Any, signed_in: Browser
) -> None:
    desk = _scan(signed_in, house, visit.ticket_ids[0])
    kept = signed_in.http.get_cookie("__Host-shelfbell-once", domain="bell.example.org")
    assert kept is not None
    assert _token(house, visit.ticket_ids[0]) not in kept.value
    stranger = sign_in(signed_in.app, house, role="counter", name="Cleo")
    stranger.http.set_cookie("__Host-shelfbell-once", kept.value, domain="bell.example.org", secure=True)
    assert 'name="checked"' in stranger.get(desk).get_data(as_text=True)
    assert 'name="checked"' not in signed_in.get(desk).get_data(as_text=True)
    house.clock.advance(601)
    assert 'name="checked"' in signed_in.get(desk).get_data(as_text=True)


def test_nothing_on_the_shelf_is_a_refusal_that_says_what_to_do(house: Any, signed_in: Browser) -> None:
    done = house.check_in(RADIO)
    page = signed_in.get(_scan(signed_in, house, done.ticket_ids[0])).get_data(as_text=True)
    assert "Not yet handed back" in page
    assert "Nothing of this visit is on the shelf" in page
    assert "<button" not in page.split("<main")[1]


@pytest.mark.long
@pytest.mark.parametrize(
    "scanned",
    ["", "x" * 500, "https://evil.example.net/c/" + "b" * 32, "shelfbell:c/" + "b" * 32, "K7M-2X9X", "shelfbell:p/nono",
     "'; --", "\u202eكود", "<script>"],
)  # fmt: skip
def test_what_cannot_be_opened_is_said_beside_the_scan_field(scanned: str, signed_in: Browser) -> None:
    answer = signed_in.post("/scan", {"scan": scanned})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/")
    page = signed_in.get("/").get_data(as_text=True)
    assert 'class="scan-said"' in page
    assert 'class="scan-said"' not in signed_in.get("/").get_data(as_text=True)  # said once
