"""Forms sent by a trickster or a slip of the pen: an answer in words, never a fault, and nothing half done."""

from __future__ import annotations

from typing import Any

import pytest

from notify.flows import set_up
from notify.store import tickets
from tests.parts.shelved import shelve, token_of
from tests.web.conftest import Browser
from tests.web.test_check_in_page import WHOLE, _visits

pytestmark = pytest.mark.long  # together some seconds of one core

FAR = ("9999-12-31T23:59", "9999-12-31T23:59-14:00", "9999-12-31T23:59:59.999999-23:59", "2999-01-01T10:00")
EDGES = (*FAR, "0001-01-01T00:00", "0001-01-01T00:00+14:00", "24:00", "-1", "²³", "\x00")


@pytest.mark.parametrize("at", EDGES)
def test_a_promise_at_the_edge_of_the_calendar_is_refused_at_check_in(at: str, house: Any, signed_in: Browser) -> None:
    answer = signed_in.post("/check-in", {**WHOLE, "promise-1": at})
    assert answer.status_code == 422 and _visits(house) == 0
    assert 'href="#promise-1"' in answer.get_data(as_text=True)


@pytest.mark.parametrize("field", ["promise", "until", "due"])
@pytest.mark.parametrize("at", EDGES)
def test_no_time_typed_on_a_ticket_is_a_fault(at: str, field: str, house: Any, signed_in: Browser) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern", cutoff=None, delivers_at=None, days=1)
    forms = {
        "promise": ("promise", {"promise": at}),
        "until": ("questions", {"kind": "give_back", "wording": "Stop?", "until": at}),
        "due": ("parts", {"part": "Dial cord", "supplier": "Lantern", "due": at.partition("T")[0]}),
    }
    page, data = forms[field]
    answer = signed_in.post(f"/tickets/{ticket_id}/{page}", data)
    assert answer.status_code == 422, answer.status_code
    with house.read() as unit:
        assert tickets.get_ticket(unit, ticket_id).promise_at is None


def test_a_device_named_by_invisible_control_signs_has_no_name(house: Any, signed_in: Browser) -> None:
    for name in ("\x00", "\u202e", " \x1b\x7f "):
        assert signed_in.post("/check-in", {**WHOLE, "device-1": name}).status_code == 422
    assert _visits(house) == 0


def test_digits_of_other_scripts_and_endless_numbers_are_no_fault(house: Any, signed_in: Browser) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    for version in ("9" * 5000, "²", "١", "-1", "1e9"):
        answer = signed_in.post(f"/tickets/{ticket_id}/move", {"to": "inspecting", "version": version})
        assert answer.status_code in (303, 409, 422), version[:5]
    for name in ("weekday-²", "weekday-" + "9" * 5000, "weekday--1", "weekday-"):
        assert signed_in.post("/settings/hours", {name: "1"}).status_code in (303, 422), name[:12]
    for slot in ("2026-11-26T09:00/" + "9" * 5000, "2026-11-26T09:00/7", "0001-01-01T00:00/1", "9999-12-31T23:59/0"):
        visit = house.check_in().visit_id
        assert signed_in.post(f"/visits/{visit}/book", {"slot": slot}).status_code == 303, slot[:20]


def test_ids_with_signs_that_no_database_keeps_open_nothing(house: Any, signed_in: Browser) -> None:
    for bad in ("%00", "x%00y", "%ff", "%ed%a0%80", "%F0%9F%94%94", "x" * 5000, "'%20or%201=1--", "%25"):
        for page in (
            "tickets",
            "visits",
            "messages",
            "tickets/{}/print/a6.pdf",
            "visits/{}/handover",
            "parts/{}/label.pdf",
        ):
            path = f"/{page.format(bad)}" if "{}" in page else f"/{page}/{bad}"
            assert signed_in.get(path).status_code == 404, path[:40]
        for page in ("tickets/{}/move", "tickets/{}/notes", "questions/{}/answer", "parts/{}/arrived", "calls/{}/log",
                     "bookings/{}/cancel", "visits/{}/book", "visits/{}/lost"):  # fmt: skip
            data = {"to": "inspecting", "note": "x", "answer": "yes", "said_by": "Ines", "result": "told"}
            status = signed_in.post(f"/{page.format(bad)}", data).status_code
            assert status in (303, 404, 422), (page, bad[:10], status)


def test_forms_with_signs_that_no_database_keeps_are_no_fault(house: Any, signed_in: Browser, client: Browser) -> None:
    visit = house.check_in()
    ticket = f"/tickets/{visit.ticket_ids[0]}"
    signed_in.post(f"{ticket}/move", {"to": "inspecting"})
    for bad in ("\x00", "a\x00b", "\ufffd", "\ufeff", "x" * 5000):
        forms = (
            ("/sign-in", {"name": bad, "password": bad, "shop": bad, "next": bad}), ("/scan", {"scan": bad}),
            ("/check-in", {**WHOLE, "once": bad}), ("/who", {"staff": bad, "pin": bad}),
            (f"{ticket}/undo", {"event": bad, "reason": bad}), (f"{ticket}/move", {"to": bad, "reason": bad}),
            (f"{ticket}/questions", {"kind": bad, "wording": bad}), (f"{ticket}/parts", {"part": bad, "supplier": bad}),
            (f"{ticket}/safety", {"safety": bad}), (f"{ticket}/promise", {"promise": bad, "why": bad}),
            ("/deliveries/arrived", {"part": bad}), ("/settings/shop", {"name": bad, "address": bad, "region": bad}),
            ("/settings/staff", {"name": bad, "role": bad, "password": bad, "leave": bad}),
            ("/settings/closed", {"day": bad, "reason": bad, "open_again": bad}),
            ("/settings/suppliers", {"name": bad, "drop": bad}),
            (f"/visits/{visit.visit_id}/handover", {"ticket": bad, "checked": bad, "collector": bad}),
        )  # fmt: skip
        for page, data in forms:
            who = client if page == "/sign-in" else signed_in
            status = who.post(page, data).status_code
            assert status < 500, (page, bad[:10])


def test_claim_forms_with_signs_that_no_database_keeps_are_no_fault(house: Any, client: Browser) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    shelve(house, ticket_id)
    home = f"/c/{token_of(house, ticket_id)}"
    for bad in ("\x00", "a\x00b", "x" * 5000, "2026-11-26T09:00/\x00"):
        for page, data in (
            ("answer", {"question": bad, "answer": "yes"}), ("answer", {"question": bad, "answer": "take_back"}),
            ("stop", {"contact": bad}), ("language", {"language": bad}), ("book", {"slot": bad, "once": bad}),
            ("move", {"slot": "2026-11-26T09:00/0", "once": bad}),
        ):  # fmt: skip
            assert client.post(f"{home}/{page}", data, seen=home).status_code < 500, (page, bad[:10])
    for bad in ("%00", "%00" * 32, "b" * 31 + "%00", "%ff", "x" * 5000):
        assert client.get(f"/c/{bad}").status_code in (404, 429), bad[:10]
    client.http.set_cookie("__Host-shelfbell", f"{house.shop_id}.\\000", domain="bell.example.org", secure=True)
    assert client.get("/").status_code == 303
