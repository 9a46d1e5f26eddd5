"""Tickets and labels of an invented shop, one way to print each, for the tests of paper."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from notify.render.claim_ticket import ClaimTicket, ticket_pdf
from notify.render.labels import DeviceLabel, PartLabel, label_pdf, part_label_pdf
from notify.render.paper_words import load_words

TEMPLATES = Path(__file__).resolve().parents[2] / "templates"
MADE_AT = datetime(2026, 11, 25, 17, 40, tzinfo=UTC)
TOKEN = "bcdefghjkrtuv3456789bcdefgh"
LINK = f"https://bench.example.org/c/{TOKEN}"

ENGLISH = ClaimTicket(
    shop_name="Tramstop Bench",
    shop_lines=("4 Harbour Row", "Quillhaven"),
    shop_phone="+44 7700 900123",
    number="K7M-2X9T",
    qr_text=LINK,
    link=LINK,
    received="Wednesday, 25 November 2026, 17:40",
    device="Portable radio Harbour 3, dark green",
    accessories=("charger", "strap"),
    fault="No sound on the left.",
    money_lines=("Agreed: £48.00 at most", "Deposit paid: £10.00"),
    promise_line="We expect it to be ready on Thursday, 26 November, by 11:30.",
    cautions=(),
    privacy_lines=("We keep your name and number until 90 days after you collect.",),
    language="en",
)
GERMAN = replace(
    ENGLISH,
    received="Mittwoch, 25. November 2026, 17:40",
    device="Spielkonsole »Wellenreiter«, nachtblau",
    accessories=("Ladegerät",),
    fault="Geht nach einer halben Stunde aus.",
    money_lines=("Vereinbart: höchstens 48,00\u00a0€",),
    promise_line="Voraussichtlich fertig am Donnerstag, 26. November, bis 11:30 Uhr.",
    cautions=load_words(TEMPLATES, "de").caution_lines(("swollen", "hot")),
    privacy_lines=("Name und Nummer löschen wir 90 Tage nach der Abholung.",),
    language="de",
)
ITALIAN = replace(
    ENGLISH,
    received="mercoledì 25 novembre 2026, ore 17:40",
    device="Console portatile «Onda lunga», blu notte",
    accessories=("caricatore", "custodia"),
    fault="Dopo mezz'ora si spegne: perché? Così non è più utilizzabile.",
    money_lines=("Concordato: al massimo 48,00\u00a0€", "Acconto versato: 10,00\u00a0€"),
    promise_line="Prevediamo di finire giovedì 26 novembre entro le 11:30.",
    cautions=load_words(TEMPLATES, "it").caution_lines(("swollen", "hot")),
    privacy_lines=("Nome e numero li conserviamo fino a 90 giorni dopo la riconsegna.",),
    language="it",
)
SAMPLES = {one.language: one for one in (ENGLISH, GERMAN, ITALIAN)}
DEVICE = DeviceLabel("K7M-2X9T", "B4", "Portable radio Harbour 3, dark green", ("swollen",), "K7M2X9T")
PART = PartLabel("P-104K", "Loudspeaker 36 mm, 8 ohm", "K7M-2X9T", "Quayside Components")


def ticket(paper: str, sample: ClaimTicket = ENGLISH) -> bytes:
    """A ticket on that paper."""
    return ticket_pdf(sample, paper=paper, templates=TEMPLATES, made_at=MADE_AT)


def device_label(paper: str, sample: DeviceLabel = DEVICE, *, language: str = "en") -> bytes:
    """A device label on that paper."""
    return label_pdf(sample, paper=paper, language=language, templates=TEMPLATES, made_at=MADE_AT)


def part_label(paper: str, sample: PartLabel = PART, *, language: str = "en") -> bytes:
    """A part label on that paper."""
    return part_label_pdf(sample, paper=paper, language=language, templates=TEMPLATES, made_at=MADE_AT)


def every_size() -> Mapping[str, tuple[bytes, str]]:
    """Name of each printed size -> its PDF and the text that its QR code must hold."""
    sizes = {name: (ticket(name), LINK) for name in ("roll80", "roll58", "a6")}
    for name in ("label50x25", "label57x32"):
        sizes[f"device_{name}"] = (device_label(name), "K7M2X9T")
        sizes[f"part_{name}"] = (part_label(name), "shelfbell:p/P-104K")
    return sizes
