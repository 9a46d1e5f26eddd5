"""Pads on pages: printed, scanned, typed in, and entered step by step; codes are read by zxing-cpp, not by us."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pypdfium2
import pytest
import zxingcpp

from notify.flows import moves, pads, parts, set_up
from notify.flows.handover import find_claim
from notify.store import events, pad_tickets, people, tickets
from tests.web.conftest import Browser
from tests.web.script_hand import script
from tests.web.staff_pages import Reader, codes_in

pytestmark = pytest.mark.long


def _read(pdf: bytes) -> tuple[list[str], list[str]]:
    """The words of each page of a PDF, and what an independent reader finds in its codes."""
    with pypdfium2.PdfDocument(pdf) as document:
        pages = [document[i] for i in range(len(document))]
        words = [" ".join(page.get_textpage().get_text_range().split()) for page in pages]
        codes = [found.text for page in pages for found in zxingcpp.read_barcodes(page.render(scale=203 / 72).to_pil())]
        for page in pages:
            page.close()
    return words, codes


def _made(house: Any, n: int = 2) -> tuple[str, list[str], list[str]]:
    """A pad: its identifier, numbers and secrets."""
    pad_id = pads.make_pad(house.ctx, house.actor(), tickets=n)
    with house.read() as unit:
        found = pad_tickets.of_pad(unit, pad_id)
        tokens = [pad_tickets.token_of(unit, one) for one in found]
    return pad_id, [one.number for one in found], tokens


def test_a_pad_is_made_printed_and_made_void_on_its_page(house: Any, signed_in: Browser) -> None:
    assert signed_in.post("/pads/make", {"tickets": "0"}).status_code == 422
    assert signed_in.post("/pads/make", {"tickets": "2"}).status_code == 303
    page = signed_in.get("/pads").get_data(as_text=True)
    (pad,) = pads.list_pads(house.ctx, house.actor())
    assert all(number in page for number in pad.left) and not codes_in(Reader(page).text)
    answer = signed_in.get(f"/pads/{pad.pad_id}/a4.pdf")
    assert answer.mimetype == "application/pdf" and len(_read(answer.data)[1]) == 4
    assert signed_in.post("/pads/void", {"number": pad.left[0]}).status_code == 303
    assert signed_in.post("/pads/void", {"number": pad.left[0]}).status_code == 422
    assert signed_in.post("/pads/void", {"pad": pad.pad_id}).status_code == 303
    assert signed_in.get(f"/pads/{pad.pad_id}/a4.pdf").status_code == 409
    assert signed_in.get("/pads/none/enter").status_code == 404


def test_a_customer_who_scans_a_pads_ticket_is_told_kindly_that_it_is_on_paper(house: Any, app: Any) -> None:
    _, _, tokens = _made(house)
    answer = Browser(app).get(f"/c/{tokens[0]}")
    said = answer.get_data(as_text=True)
    assert answer.status_code == 200 and "We have your device on paper" in said
    assert "as soon as we have entered it" in said and "Retry-After" not in answer.headers
    assert Browser(app).get(f"/c/{tokens[0][:-1]}x").status_code == 404


def test_scanning_a_pads_ticket_or_its_label_opens_check_in_with_its_number(house: Any, signed_in: Browser) -> None:
    _, numbers, tokens = _made(house)
    for scanned, number in ((f"https://bell.example.org/c/{tokens[0]}", numbers[0]), (numbers[1], numbers[1])):
        answer = signed_in.post("/scan", {"scan": scanned})
        assert answer.headers["Location"].endswith(f"/check-in?pad={number}")
        page = signed_in.get(f"/check-in?pad={number}").get_data(as_text=True)
        assert f'value="{number}"' in page and "<details open>" in page


def test_a_pad_typed_in_one_go_keeps_what_is_right_and_shows_what_is_wrong(house: Any, signed_in: Browser) -> None:
    pad_id, numbers, _ = _made(house, 3)
    shown = list(pads.list_pads(house.ctx, house.actor())[0].left)
    house.clock.advance(3 * 3600)
    page = f"/pads/{pad_id}/enter"
    then = f"{house.clock() - timedelta(hours=2):%Y-%m-%dT%H:%M}"
    row = {"taken_in": then, "language": "en", "device-1": "Otter camera", "device_class-1": "camera"}
    typed = {"once": "k1", **{f"r{i}-number": number for i, number in enumerate(shown, 1)}}
    typed |= {f"r1-{k}": v for k, v in row.items()} | {"r1-name": "Noor Vale", "r1-safety-1": "wet"}
    typed |= {f"r2-{k}": v for k, v in row.items()} | {"r2-phone": "nonsense", "r2-name": "Pat Marlow"}
    answer = signed_in.post(page, typed)
    said = answer.get_data(as_text=True)
    assert answer.status_code == 422 and "1 ticket entered" in said.replace("One", "1")
    assert "Pat Marlow" in said and "Noor Vale" not in said and "nonsense" in said
    assert signed_in.post(page, typed).status_code == 422  # sent twice: entered once
    with house.read() as unit:
        ticket = tickets.find_by_number(unit, numbers[0])
        assert ticket.safety == ("wet",) and ticket.created_at == house.clock() - timedelta(hours=2)
    again = {k: v for k, v in typed.items() if not k.startswith("r1-")} | {"r2-phone": ""}
    assert signed_in.post(page, again).status_code == 303
    assert pads.list_pads(house.ctx, house.actor())[0].left == (shown[2],)


def test_a_childs_row_of_a_pad_takes_nothing_optional_and_is_kept_as_a_childs(house: Any, signed_in: Browser) -> None:
    """GDPR art. 8 and recital 38: children merit specific protection; for us, nothing that is not the repair."""
    set_up.change_settings(house.ctx, house.actor(), {"all_well_days": "5"})
    pad_id, numbers, _ = _made(house, 1)
    page, (label,) = f"/pads/{pad_id}/enter", pads.list_pads(house.ctx, house.actor())[0].left
    assert 'name="r1-child"' in signed_in.get(page).get_data(as_text=True)
    typed = {
        "once": "k1", "r1-number": label, "r1-language": "en", "r1-name": "Noor Vale", "r1-email": "noor@example.org",
        "r1-device-1": "Otter camera", "r1-device_class-1": "camera", "r1-child": "yes",
        "r1-email_purposes": ["repair", "afterwards"],
    }  # fmt: skip
    refused = signed_in.post(page, typed)
    said = refused.get_data(as_text=True)
    assert refused.status_code == 422 and "child&#39;s contact: only what belongs to the repair" in said
    assert "One question some days later" not in said and 'value="yes" checked' in said
    assert signed_in.post(page, typed | {"r1-email_purposes": ["repair"]}).status_code == 303
    with house.read() as unit:
        person = people.get_person(unit, tickets.find_by_number(unit, numbers[0]).person_id)
        uses = people.allowed_uses(unit, [person.id])[person.id]
    assert person.child and uses == {"email": {"repair"}}


def test_what_happened_earlier_is_entered_step_by_step_and_a_wrong_order_is_refused(
    house: Any, signed_in: Browser
) -> None:
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern Spares", cutoff=None, delivers_at=None, days=1)
    ticket_id = house.check_in().ticket_ids[0]
    part = parts.need(house.ctx, house.actor(), ticket_id, name="Dial", supplier="Lantern Spares")
    moves.move(house.ctx, house.actor(), ticket_id, "in_line")
    start = house.clock()
    house.clock.advance(5 * 3600)

    def step(what: str, hours: float, **more: str) -> int:
        at = f"{start + timedelta(hours=hours):%Y-%m-%dT%H:%M}"
        return int(signed_in.post(f"/tickets/{ticket_id}/earlier", {"what": what, "at": at, **more}).status_code)

    assert step(f"part:{part}", -1) == 422 and step("", 1) == 422
    assert step(f"part:{part}", 1) == 303
    assert step("on_bench:", 0.5) == 422  # before the part came
    assert step("on_bench:", 2) == 303 and step("on_shelf:repaired", 3) == 303
    assert step("handed_back", 4) == 422  # nobody says who made sure
    assert step("handed_back", 4, note="Ada saw the claim ticket") == 303
    with house.read() as unit:
        story = events.story_of(unit, visit_id=tickets.get_ticket(unit, ticket_id).visit_id)
    when = {event.kind: (event.at - start) / timedelta(hours=1) for event in story}
    assert [when[k] for k in ("part_arrived", "parts_complete", "bench_began", "shelved", "handed_back",
                              "handover_done")] == [1, 1, 2, 3, 4, 4]  # fmt: skip
    assert find_claim(house.ctx, house.actor(), _token(house, ticket_id)).id == ticket_id
    page = Reader(signed_in.get(f"/tickets/{ticket_id}/earlier").get_data(as_text=True)).text
    assert "Nothing is left to do with it." in page or "What happened" in page


def _token(house: Any, ticket_id: str) -> str:
    with house.read() as unit:
        return tickets.get_ticket(unit, ticket_id).token


def test_a_script_enters_a_pads_ticket_with_its_time(house: Any, app: Any) -> None:
    _, numbers, _ = _made(house)
    till = script(app, house, ("tickets:write",))
    house.clock.advance(3 * 3600)
    then = house.clock() - timedelta(hours=1)
    body = {"bringer": {"name": "Noor Vale"}, "devices": [{"device": "Otter camera", "pad": numbers[0]}]}
    answer = till.ask("POST", "/visits", {**body, "taken_in": then.isoformat()})
    assert answer.status_code in (200, 201), answer.get_data(as_text=True)
    with house.read() as unit:
        assert tickets.find_by_number(unit, numbers[0]).created_at == then
