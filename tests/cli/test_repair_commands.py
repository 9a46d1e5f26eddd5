"""A repair from check-in to handover by commands alone."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from notify.core.claim_number import parse_number
from notify.store import contact_codes, tickets
from notify.wiring import system_clock
from tests.cli.conftest import Shop

pytestmark = pytest.mark.long  # together some seconds of one core


def soon(days: int) -> str:
    """Noon by the shop's clock, so many days ahead."""
    at = system_clock() + timedelta(days=days)
    return f"{at:%Y-%m-%d}T12:00"


def _secret(shop: Shop, number: str) -> str:
    services = shop.installation.open()
    with services.context.db.read(services.shop_ids()[0]) as unit:
        token = tickets.find_by_number(unit, parse_number(number)).token
    shop.installation.close()
    return token


def _ticket(shop: Shop, number: str) -> Any:
    return shop.ok("ticket", "show", number, "--json").data


def test_a_device_is_checked_in_by_options_and_shown_with_masked_contacts(shop: Shop) -> None:
    number = shop.check_in("--fault", "hums", "--price-agreed", "25", "--phone", "07700 900111", "--safety", "hot")
    said = shop.ok("ticket", "show", number)
    for part in (number, "hums", "£25.00", "i••@example.org", "+44 •••• ••• 111", "hot", "checked_in"):
        assert part in said.out
    assert "ida@example.org" not in said.out and "900111" not in said.out


def test_a_visit_of_two_devices_with_other_people_is_checked_in_from_json(shop: Shop, tmp_path: Path) -> None:
    visit = {
        "bringer": {"name": "Ida Moss", "email": "ida@example.org", "email_purposes": ["pickup"]},
        "tell": {"name": "Bo Moss", "phone": "07700 900112"}, "collectors": ["Nell Ford"], "language": "de",
        "devices": [{"device": "Radio", "device_class": "radio"}, {"device": "Camera", "safety": ["swollen"]}],
        "waits_here": True, "once": "key-1",
    }  # fmt: skip
    file = tmp_path / "visit.json"
    file.write_text(json.dumps(visit), "utf-8")
    first = shop.ok("check-in", "--from-json", str(file), "--json").data
    again = shop.ok("check-in", "--from-json", str(file), "--json").data
    assert len(first["numbers"]) == 2 and again["numbers"] == first["numbers"]
    shown = _ticket(shop, first["numbers"][1])
    roles = {tuple(person["roles"]): person["name"] for person in shown["people"]}
    assert roles == {("bringer",): "Ida Moss", ("tell",): "Bo Moss", ("collector",): "Nell Ford"}
    assert shown["waits_here"] is True and shown["line"]["safety"] == ["swollen"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "no JSON"),
        ("[1]", "no JSON object"),
        ('{"devises": []}', "'devises'"),
        ('{"devices": {"device": "x"}}', "devices is no list"),
        ('{"devices": [{"device": 7}]}', "device of device 1"),
        ('{"devices": [{"device": "x"}], "waits_here": "yes"}', "waits_here"),
        ('{"devices": []}', "There is no device"),
        ('{"bringer": "Ida", "devices": [{"device": "x"}]}', "bringer is no JSON object"),
        ("[" * 100_000, "no JSON"),
    ],
)
def test_rubbish_in_a_visit_file_is_refused_in_words(shop: Shop, tmp_path: Path, text: str, words: str) -> None:
    file = tmp_path / "visit.json"
    file.write_text(text, "utf-8")
    said = shop("check-in", "--from-json", str(file))
    assert said.code == 2 and words in said.err and "Traceback" not in said.err
    assert shop.ok("ticket", "list", "--json").data == []


def test_every_wrong_field_of_a_check_in_is_told_at_once_and_nothing_is_kept(shop: Shop) -> None:
    said = shop("check-in", "--device", "x", "--phone", "12", "--email", "a@b, c@d", "--price-agreed", "much", "--json")
    assert said.code == 2
    assert {one["field"] for one in said.problem["problems"]} == {"phone", "email", "price_agreed-0"}
    assert shop.ok("ticket", "list", "--json").data == []


def test_a_ticket_moves_on_is_undone_and_a_refused_move_says_what_is_allowed(shop: Shop) -> None:
    number = shop.check_in()
    refused = shop("ticket", "move", number, "proving")
    assert refused.code == 3 and "it can go to: in_line, inspecting, on_shelf" in refused.err
    shop.ok("ticket", "move", number, "inspecting", "--note", "dusty inside")
    assert "dusty inside" in shop.ok("ticket", "show", number).out
    shop.ok("ticket", "undo", number.lower().replace("-", " "))
    assert _ticket(shop, number)["line"]["phase"] == "taken_in"
    assert shop("ticket", "undo", number).code == 3
    shop.ok("ticket", "move", number, "on_shelf", "--reason", "changed_mind")
    shop.ok("ticket", "correct", number, "--reason", "pressed by mistake")
    assert _ticket(shop, number)["line"]["phase"] == "taken_in"


def test_small_facts_are_noted_on_a_ticket(shop: Shop) -> None:
    number = shop.check_in()
    before = _secret(shop, number)
    shop.ok("ticket", "note", number, "screw missing")
    shop.ok("ticket", "place", number, "B3")
    shop.ok("ticket", "safety", number, "wet", "leaking")
    shop.ok("ticket", "paid", number, "--price", "30", "--deposit", "10")
    shown = _ticket(shop, number)
    assert (shown["line"]["shelf"], shown["line"]["safety"]) == ("B3", ["wet", "leaking"])
    assert (shown["price_agreed"], shown["deposit"], shown["paid"]) == (3000, 1000, False)
    assert shown["notes"][0]["text"] == "screw missing"
    shop.ok("ticket", "paid", number)
    assert _ticket(shop, number)["paid"] is True
    shop.ok("ticket", "paid", number, "--not-paid")
    shop.ok("ticket", "safety", number)
    assert (_ticket(shop, number)["paid"], _ticket(shop, number)["line"]["safety"]) == (False, [])
    shop.ok("ticket", "reissue", number)
    assert _secret(shop, number) != before


def test_tickets_are_listed_by_phase_and_by_whom_they_wait_on(shop: Shop) -> None:
    one, two = shop.check_in(), shop.check_in()
    shop.ok("ticket", "move", two, "in_line")
    shop.ok("part", "need", two, "dial")
    listed = shop.ok("ticket", "list", "--json").data
    assert {t["number"] for t in listed} == {one, two}
    assert [t["number"] for t in shop.ok("ticket", "list", "--phase", "taken_in", "--json").data] == [one]
    assert [t["number"] for t in shop.ok("ticket", "list", "--waits-on", "part", "--json").data] == [two]
    assert two in shop.ok("ticket", "list").out


def test_a_question_is_asked_answered_taken_back_and_withdrawn(shop: Shop) -> None:
    number = shop.check_in()
    shop.ok("question", "ask", number, "price", "New speaker?", "--price", "48.50", "--until", soon(6))
    assert shop("question", "answer", number, "accept").code == 2  # who said so?
    shop.ok("question", "answer", number, "accept", "--said-by", "Ida, on the phone")
    (question,) = _ticket(shop, number)["questions"]
    assert (question["answer"], question["price"], question["said_by"]) == ("accept", 4850, "Ida, on the phone")
    shop.ok("question", "take-back", number)
    shop.ok("question", "withdraw", number)
    assert _ticket(shop, number)["questions"][0]["state"] == "withdrawn"
    assert shop("question", "withdraw", number).code == 4


def test_a_part_is_needed_ordered_put_off_arrives_dead_and_is_no_longer_needed(shop: Shop) -> None:
    number = shop.check_in()
    shop.ok("shop", "supplier", "Harbour Parts", "--cutoff", "16:00", "--delivers-at", "09:30", "--days", "1")
    shop.ok("part", "need", number, "potentiometer")
    shop.ok("part", "order", number, "Harbour Parts")
    shop.ok("part", "due", number, soon(2))
    assert "potentiometer" in shop.ok("part", "list").out
    done = shop.ok("part", "arrive", number, "--json").data
    assert done["frees"] is True
    shop.ok("part", "dead", number)
    label = shop.ok("part", "list", "--json").data["unordered"][0]["label"]
    shop.ok("part", "not-needed", label)
    assert shop("part", "order", number, "Harbour Parts").code == 4
    assert shop("part", "arrive", "no such thing").code == 4
    assert shop("part", "order", shop.check_in(), "Harbour Parts").code == 4


def test_a_promise_is_suggested_and_set(shop: Shop) -> None:
    number = shop.check_in()
    assert shop.ok("promise", "suggest", number, "--json").data["suggested"]
    shop.ok("promise", "set", number, soon(3), "--why", "part_late")
    assert _ticket(shop, number)["line"]["promise_at"].startswith(soon(3)[:10])
    assert shop("promise", "set", number, "2001-03-01T11:30").code == 2
    assert shop("promise", "set", number, "tomorrow").code == 2


def test_a_pickup_is_offered_booked_moved_listed_and_cancelled(shop: Shop) -> None:
    number = shop.check_in()
    assert "Nothing is ready" in shop.ok("pickup", "slots", number).out
    shop.shelve(number)
    slots = [one["slot"] for one in shop.ok("pickup", "slots", number, "--json").data]
    shop.ok("pickup", "book", number, slots[0])
    shop.ok("pickup", "book", number, slots[-1])
    day = slots[-1][:10]
    assert number in shop.ok("pickup", "list", "--day", day).out
    shop.ok("pickup", "cancel", number)
    assert "given up" in shop.ok("pickup", "list", "--day", day).out
    assert shop("pickup", "cancel", number).code == 4
    assert shop("pickup", "book", number, "half past five").code == 2


def test_a_number_alone_releases_nothing_but_the_claim_code_does(shop: Shop, monkeypatch: Any) -> None:
    number, other = shop.check_in(), shop.check_in()
    shop.shelve(number)
    assert shop("handover", "give", number).code == 3
    assert shop("handover", "give", number, "--scan", f"shelfbell:c/{_secret(shop, other)}").code == 3
    assert shop("handover", "give", number, "--scan", "https://example.org/c/x").code == 2
    secret = f"shelfbell:c/{_secret(shop, number)}"
    assert shop("handover", "give", number, "--scan", secret, "--to", "Nobody Named").code == 2
    assert shop.ok("handover", "give", number, "--scan", secret, "--json").data["how"] == "claim_ticket"
    assert _ticket(shop, number)["line"]["phase"] == "handed_back"
    shop.ok("handover", "undo", number, "--reason", "wrong_person")
    shop.ok("handover", "give", number, "--checked", "knows the fault and the day")
    assert _ticket(shop, number)["line"]["phase"] == "handed_back"


def test_a_pass_is_given_taken_back_and_counts_once(shop: Shop) -> None:
    number = shop.check_in()
    shop.shelve(number)
    first = shop.ok("handover", "pass", number, "Nell Ford", "--json").data["letters"]
    assert shop("handover", "revoke", number, "Somebody Else").code == 4
    shop.ok("handover", "revoke", number, "nell ford")
    assert shop("handover", "give", number, "--scan", first).code == 3
    letters = shop.ok("handover", "pass", number, "Nell Ford", "--json").data["letters"]
    done = shop.ok("handover", "give", number, "--scan", f"shelfbell:d/{letters.replace('-', '')}", "--paid", "--json")
    assert done.data["how"] == "pass"
    shop.ok("handover", "undo", number, "--reason", "wrong_person")
    assert shop("handover", "give", number, "--scan", letters).code == 3


def test_claim_ticket_and_label_are_printed_for_their_owner_only(shop: Shop, tmp_path: Path) -> None:
    number = shop.check_in()
    for paper in ("roll80", "roll58", "a6", "label57x32"):
        file = tmp_path / f"{paper}.pdf"
        shop.ok("print", number, str(file), "--paper", paper)
        assert file.read_bytes().startswith(b"%PDF-") and file.stat().st_mode & 0o077 == 0
    assert shop("print", number, str(file)).code == 5
    shop.ok("print", number, str(file), "--overwrite")
    assert shop("print", number, str(tmp_path / "no" / "such.pdf")).code == 2


def test_a_lost_ticket_is_proved_by_a_code_and_a_visit_that_nothing_holds_says_so(shop: Shop) -> None:
    number = shop.check_in("--phone", "07700 900111")
    old = _secret(shop, number)
    sent = shop.ok("ticket", "lost", number, "--json").data
    assert (sent["to"], sent["channel"]) == ("i••@example.org", "email")  # text messages are not set up here
    services = shop.installation.open()
    with services.context.db.read(services.shop_ids()[0]) as unit:
        visit_id = tickets.find_by_number(unit, parse_number(number)).visit_id
        code = contact_codes.text_of(unit, contact_codes.newest_open(unit, visit_id, "lost_ticket", now=system_clock()))
    shop.installation.close()
    wrong = shop("ticket", "lost", number, "--code", f"{(int(code) + 1) % 10**8:08d}")
    assert wrong.code != 0 and "4 times more" in wrong.err and _secret(shop, number) == old
    assert shop.ok("ticket", "lost", number, "--code", code, "--json").data == {"replaced": 1}
    assert _secret(shop, number) != old
    held = shop("ticket", "lift-hold", number, "--checked", "called her")
    assert held.code != 0 and "Nothing holds" in held.err


def test_the_report_of_promises_is_told_in_words_and_in_json_and_says_so_when_there_is_none_yet(shop: Shop) -> None:
    shop.ok("promise", "set", shop.check_in(), soon(3))
    said = shop.ok("promise", "report").out
    assert "No promise has come due yet" in said and "90 of 100 are meant to be kept" in said
    data = shop.ok("promise", "report", "--json").data
    assert (data["due"], data["wanted"], data["level"], data["low"], data["high"]) == (0, 0.9, 0.9, 0.0, 1.0)
