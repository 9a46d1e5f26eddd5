"""Check in on the page: every field arrives, nothing typed is lost, rubbish gets a clear answer, twice is once."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest

from notify.core.claim_number import show_number
from notify.store import people, tickets, visits
from notify.store.shops import shop_ids
from tests.web.conftest import Browser
from tests.web.database_digest import changed_tables, digest

pytestmark = pytest.mark.long

WHOLE = {
    "name": "Ines Farrow", "phone": "07700 900123", "phone_purposes": ["repair", "pickup"], "email": "ines@example.org",
    "email_purposes": ["repair"], "language": "de", "waits_here": "yes", "number_is_device": "yes",
    "tell_name": "Noor Vale", "tell_phone": "07700 900456", "tell_email": "noor@example.net",
    "payer_name": "Sam Ferris", "collector_names": "Mia Oland, Jo Penn", "device_class-1": "radio",
    "device-1": "Kestrel pocket radio",
    "fault-1": "No sound\non long wave", "condition-1": "scratched", "accessories-1": "strap, charger",
    "price_agreed-1": "48", "price_limit-1": "60.00", "deposit-1": "£10", "paid-1": "yes", "shelf-1": "B3",
    "safety-1": ["swollen", "hot"], "promise-1": "2026-11-26T11:30", "check_in": "yes",
}  # fmt: skip


def _visit_of(answer: Any) -> str:
    assert answer.status_code == 303, answer.get_data(as_text=True)[:2000]
    return str(answer.headers["Location"]).removeprefix("/visits/")


def _tickets(house: Any, visit_id: str) -> Any:
    with house.read() as unit:
        return tickets.tickets_of_visit(unit, visit_id)


def _visits(house: Any) -> int:
    from sqlalchemy import func, select

    from notify.store import schema

    with house.read() as unit:
        return int(unit.connection.execute(select(func.count()).select_from(schema.visits)).scalar_one())


def test_every_field_of_the_page_arrives_in_the_visit(house: Any, signed_in: Browser) -> None:
    visit_id = _visit_of(signed_in.post("/check-in", WHOLE, seen="/check-in"))
    (ticket,) = _tickets(house, visit_id)
    assert (ticket.device, ticket.device_class, ticket.fault) == (
        "Kestrel pocket radio", "radio", "No sound\non long wave"
    )  # fmt: skip
    assert (ticket.condition, ticket.accessories, ticket.shelf) == ("scratched", "strap, charger", "B3")
    assert (ticket.price_agreed, ticket.price_limit, ticket.deposit, ticket.paid) == (4800, 6000, 1000, True)
    assert set(ticket.safety) == {"swollen", "hot"}
    assert ticket.promise_at is not None and ticket.promise_at.isoformat() == "2026-11-26T11:30:00+00:00"
    with house.read() as unit:
        roles = visits.visit_people(unit, visit_id)
        names = {role: {people.get_person(unit, one).name for one in ids} for role, ids in roles.items()}
        assert names == {
            "bringer": {"Ines Farrow"}, "tell": {"Noor Vale"}, "payer": {"Sam Ferris"},
            "collector": {"Mia Oland", "Jo Penn"},
        }  # fmt: skip
        bringer = roles["bringer"][0]
        assert people.get_person(unit, bringer).language == "de"
        ways = {one.channel: (one.address, one.in_repaired_device) for one in people.contacts_of(unit, bringer)}
        assert ways == {"sms": ("+447700900123", True), "email": ("ines@example.org", False)}
        uses = people.allowed_uses(unit, [bringer])[bringer]
        assert uses == {"sms": frozenset({"repair", "pickup"}), "email": frozenset({"repair"})}
        assert visits.get_visit(unit, visit_id).waits_here


def test_a_warranty_return_follows_the_earlier_ticket(house: Any, signed_in: Browser) -> None:
    first = house.check_in()
    data = {**WHOLE, "follows-1": show_number(first.numbers[0]).lower().replace("-", " ")}
    (ticket,) = _tickets(house, _visit_of(signed_in.post("/check-in", data, seen="/check-in")))
    assert ticket.follows_id == first.ticket_ids[0]


def test_the_same_form_sent_twice_checks_in_once(house: Any, signed_in: Browser) -> None:
    page = signed_in.get("/check-in").get_data(as_text=True)
    once = re.search(r'name="once" value="([^"]+)"', page)
    assert once is not None
    data = {**WHOLE, "once": once[1]}
    first, second = (signed_in.post("/check-in", data).headers["Location"] for _ in range(2))
    assert first == second
    assert _visits(house) == 1


def test_two_check_ins_of_the_same_words_are_two_visits(house: Any, signed_in: Browser) -> None:
    for _ in range(2):
        once = re.search(r'name="once" value="([^"]+)"', signed_in.get("/check-in").get_data(as_text=True))
        assert once is not None
        assert signed_in.post("/check-in", {**WHOLE, "once": once[1]}).status_code == 303
    assert _visits(house) == 2


def test_another_device_and_one_less_keep_everything_typed_without_checking_in(house: Any, signed_in: Browser) -> None:
    data = {key: value for key, value in WHOLE.items() if key != "check_in"}
    two = signed_in.post("/check-in", {**data, "add_device": "yes"}).get_data(as_text=True)
    assert 'id="device-2"' in two and 'value="Kestrel pocket radio"' in two and 'value="ines@example.org"' in two
    more = {**data, "device-2": "Otter camera", "device-7": "Fenlight e-reader", "drop_device": "1"}
    left = signed_in.post("/check-in", more).get_data(as_text=True)
    assert 'id="device-1" name="device-1" type="text" value="Otter camera"' in left
    assert 'id="device-2" name="device-2" type="text" value="Fenlight e-reader"' in left
    assert 'id="device-3"' not in left
    assert _visits(house) == 0


def test_a_wrong_form_names_every_field_and_keeps_all_that_was_typed(house: Any, signed_in: Browser) -> None:
    wrong = {
        **WHOLE, "phone": "0", "email": "ines@example", "tell_email": "two@example.org, three@example.org",
        "device_class-1": "", "device-2": "", "deposit-1": "ten", "price_agreed-1": "1,234", "follows-1": "XXX",
        "promise-1": "2020-01-01T10:00",
    }  # fmt: skip
    answer = signed_in.post("/check-in", wrong)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    for name in ("phone", "email", "tell_email", "device_class-1", "device-2", "deposit-1", "price_agreed-1",
                 "follows-1", "promise-1"):  # fmt: skip
        assert f'href="#{name}"' in page, name
        assert f'id="{name}"' in page, name
    for value in ("ines@example", "two@example.org, three@example.org", "ten", "1,234", "XXX", "Mia Oland, Jo Penn"):
        assert f'value="{value}"' in page, value
    assert "No sound\non long wave" in page
    assert page.count(" checked") >= 6
    assert _visits(house) == 0


NASTY = {
    "emoji": "📻🔧 «Késtrel»",
    "right to left": "\u202eoidar\u202c مذياع",
    "a quote and dashes": "Robert'; -- drop table tickets",
    "markup": "<script>alert(1)</script><img src=x onerror=alert(2)>",
    "a template": "{{ 7*7 }}{% raw %}",
    "a formula": "=HYPERLINK(\"http://evil.example.net\")",
    "lines": "Ines\r\nBcc: everybody@example.net\r\n\r\nHello",
    "nothing visible": "a\u200b\u0000\u0007b",
    "half a sign": "\ud83d".encode("utf-16", "surrogatepass").decode("utf-16", "replace"),
    "combining": "Z" + "\u0301" * 40,
}  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("kind", NASTY)
def test_rubbish_in_every_text_is_kept_as_text_or_refused_in_words(kind: str, house: Any, signed_in: Browser) -> None:
    """Either the visit is taken and shows what was typed, or the page says which field and keeps it."""
    text = NASTY[kind]
    texts = (
        "name",
        "tell_name",
        "payer_name",
        "collector_names",
        "device-1",
        "fault-1",
        "condition-1",
        "accessories-1",
    )
    data = {**WHOLE, **dict.fromkeys(texts, text)}
    answer = signed_in.post("/check-in", data)
    assert answer.status_code == 303, answer.get_data(as_text=True)[:3000]
    (ticket,) = _tickets(house, _visit_of(answer))
    assert ticket.device and "\r" not in ticket.device + ticket.fault and "\n" not in ticket.device
    assert not any(ord(sign) < 32 for sign in ticket.device)
    shown = signed_in.get(answer.headers["Location"]).get_data(as_text=True)
    assert html.escape(ticket.device, quote=False).replace('"', "&#34;").replace("'", "&#39;") in shown
    assert "<script>alert" not in shown and "<img src=x" not in shown and "49" not in shown.split("<h1>")[1][:60]
    assert signed_in.get(f"/tickets/{ticket.id}/print/roll80.pdf").data.startswith(b"%PDF")
    assert len(shop_ids(house.ctx.db)) == 1  # nothing was dropped
    house.deliver(after=91)


@pytest.mark.long
@pytest.mark.parametrize("field", ["name", "fault-1", "accessories-1", "shelf-1", "collector_names"])
def test_a_claim_code_scanned_into_a_field_is_refused_with_advice(field: str, house: Any, signed_in: Browser) -> None:
    done = house.check_in()
    with house.read() as unit:
        token = tickets.get_ticket(unit, done.ticket_ids[0]).token
    before = digest(house)
    answer = signed_in.post("/check-in", {**WHOLE, field: f"https://bell.example.org/c/{token}"})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert f'href="#{field}"' in page
    assert "claim link" in page or "too long" in page
    assert not changed_tables(before, digest(house)) - {"sessions"}


@pytest.mark.parametrize(("field", "length"), [("name", 500), ("device-1", 5000), ("fault-1", 300_000)])
def test_a_text_too_long_is_refused_and_given_back_whole(
    field: str, length: int, house: Any, signed_in: Browser
) -> None:
    answer = signed_in.post("/check-in", {**WHOLE, field: "q" * length})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "too long" in page
    assert "q" * length in page
    assert _visits(house) == 0


@pytest.mark.long
@pytest.mark.parametrize(
    "data",
    [
        {"safety-1": "exploding"}, {"language": "xx"}, {"device_class-1": "boat"}, {"phone_purposes": "advertising"},
        {"device-99999": "x"}, {"device-0": "x"}, {"once": "o" * 500}, {"drop_device": "x"}, {"drop_device": "99"},
        {"promise-1": "tomorrow"}, {"device--1": "x"}, {"device-1": ["a", "b"]},
    ],
)  # fmt: skip
def test_values_that_no_page_of_ours_sends_never_break_it(data: dict[str, Any], signed_in: Browser) -> None:
    answer = signed_in.post("/check-in", {**WHOLE, **data})
    assert answer.status_code in (200, 303, 422)
    assert "Something went wrong" not in answer.get_data(as_text=True)


def test_more_devices_than_a_visit_may_have_are_refused_and_kept(signed_in: Browser) -> None:
    many = {f"device-{i}": f"Radio {i}" for i in range(1, 30)} | {f"device_class-{i}": "radio" for i in range(1, 30)}
    page = signed_in.post("/check-in", {**WHOLE, **many})
    assert page.status_code == 422
    assert "Too many devices" in page.get_data(as_text=True)


def test_the_page_after_it_says_how_the_customer_hears_from_us(house: Any, signed_in: Browser) -> None:
    said = signed_in.get(signed_in.post("/check-in", WHOLE).headers["Location"]).get_data(as_text=True)
    assert "Noor Vale hears from us by text message to +44 •••• ••• 456 and by e-mail to n••@example.net" in said
    assert "Battery swollen, battery hot" in said
    nothing = {"name": "Jo Penn", "device_class-1": "radio", "device-1": "Pebble", "language": "en"}
    said = signed_in.get(signed_in.post("/check-in", nothing).headers["Location"]).get_data(as_text=True)
    assert "cannot be written to" in said
    assert "07700" not in said
