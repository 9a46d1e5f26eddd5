"""Claim tickets and labels as the desk prints them: what stands on them, and what must not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pypdfium2
import pytest
import zxingcpp

from notify.core.claim_number import show_number
from notify.core.languages import LANGUAGES
from notify.flows import parts
from notify.flows.check_in_form import DeviceForm
from notify.store import tickets
from tests.parts.clock import FakeClock
from tests.parts.house import make_house
from tests.web.conftest import BASE, Browser, make_app, sign_in

pytestmark = pytest.mark.long  # together some seconds of one core

RADIO = DeviceForm("Kestrel pocket radio", device_class="radio", fault="No sound", accessories="strap", deposit="6",
                   price_agreed="30", safety=("swollen",), promise="2026-11-26T11:30")  # fmt: skip


def _read(pdf: bytes) -> tuple[str, list[str]]:
    """The words of a PDF, and what an independent reader finds in its codes."""
    with pypdfium2.PdfDocument(pdf) as document:
        pages = [document[i] for i in range(len(document))]
        words = " ".join(page.get_textpage().get_text_range() for page in pages)
        codes = [found.text for page in pages for found in zxingcpp.read_barcodes(page.render(scale=3).to_pil())]
        for page in pages:
            page.close()
    return " ".join(words.split()), codes


@pytest.mark.parametrize("paper", ["roll80", "roll58", "a6"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_a_claim_ticket_says_it_all_in_the_customers_language(
    paper: str, language: str, house: Any, signed_in: Browser
) -> None:
    done = house.check_in(RADIO, language=language)
    with house.read() as unit:
        token = tickets.get_ticket(unit, done.ticket_ids[0]).token
    answer = signed_in.get(f"/tickets/{done.ticket_ids[0]}/print/{paper}.pdf")
    assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
    words, codes = _read(answer.data)
    assert codes == [f"https://bell.example.org/c/{token}"]
    said = {
        "en": ("Kestrel pocket radio", "No sound", "strap", "Agreed: £30.00", "Deposit paid: £6.00", "by 11:30",
               "battery is swollen", "90 days", f"privacy?language={language}"),
        "de": ("Kestrel pocket radio", "Vereinbart: 30,00", "Anzahlung: 6,00", "bis 11:30", "90 Tage",
               f"privacy?language={language}"),
        "it": ("Kestrel pocket radio", "Concordato: 30,00", "Acconto versato: 6,00", "entro le 11:30", "90 giorni",
               "La batteria è gonfia", "questo tagliando", f"privacy?language={language}"),
    }  # fmt: skip
    assert show_number(done.numbers[0]) in words
    squeezed = words.replace(" ", "")
    for text in said[language]:
        assert text.replace(" ", "") in squeezed, text


def test_the_label_on_the_device_carries_the_number_and_never_the_claim(house: Any, signed_in: Browser) -> None:
    done = house.check_in(RADIO)
    words, codes = _read(signed_in.get(f"/tickets/{done.ticket_ids[0]}/print/label.pdf").data)
    assert codes == [done.numbers[0]]
    assert "battery swollen" in words and "/c/" not in words
    assert "Farrow" not in words


def test_a_parts_label_says_whose_it_is_and_opens_its_delivery(house: Any, signed_in: Browser) -> None:
    done = house.check_in(RADIO)
    part = parts.need(house.ctx, house.actor(), done.ticket_ids[0], name="Dial glass")
    words, codes = _read(signed_in.get(f"/parts/{part}/label.pdf").data)
    assert "Dial glass" in words and show_number(done.numbers[0]) in words
    assert len(codes) == 1 and codes[0].startswith("shelfbell:p/")
    assert signed_in.post("/scan", {"scan": codes[0]}).headers["Location"] == f"/deliveries#part-{part}"


def test_with_no_public_address_no_link_is_printed_and_the_shops_scanner_reads_the_code(
    tmp_path: Path, clock: FakeClock
) -> None:
    house = make_house(tmp_path, f"sqlite:///{tmp_path / 'plain.db'}", clock=clock, public_url="")
    done = house.check_in(RADIO)
    browser = sign_in(make_app(house), house, role="owner")
    browser.http.set_cookie("shelfbell", f"{house.shop_id}.{browser.secret}", domain="localhost")
    with house.read() as unit:
        token = tickets.get_ticket(unit, done.ticket_ids[0]).token
    answer = browser.http.get(f"/tickets/{done.ticket_ids[0]}/print/roll80.pdf", base_url="http://localhost:8600")
    words, codes = _read(answer.data)
    assert codes == [f"shelfbell:c/{token}"]
    assert "http" not in words and token not in words
    shown = browser.http.get(f"/visits/{done.visit_id}", base_url="http://localhost:8600").get_data(as_text=True)
    assert "opens no page" in shown
    house.services.close()


@pytest.mark.parametrize("paper", ["a4", "..", "roll80.pdf", "x" * 300])
def test_a_paper_that_is_none_is_refused_in_words(paper: str, house: Any, signed_in: Browser) -> None:
    done = house.check_in(RADIO)
    answer = signed_in.get(f"/tickets/{done.ticket_ids[0]}/print/{paper}.pdf")
    assert answer.status_code in (404, 422)
    assert b"%PDF" not in answer.data


def test_the_code_of_a_visit_is_the_claim_of_its_first_ticket(house: Any, signed_in: Browser) -> None:
    done = house.check_in(RADIO)
    answer = signed_in.get(f"/visits/{done.visit_id}/qr.svg")
    assert answer.mimetype == "image/svg+xml"
    with house.read() as unit:
        token = tickets.get_ticket(unit, done.ticket_ids[0]).token
    assert token not in answer.get_data(as_text=True)
    assert BASE.startswith("https")
