"""Files in which many people stand together go when one of them is forgotten: taken files, and day sheets on paper."""

from __future__ import annotations

from datetime import date, time
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from notify.flows import forget, paper_day
from notify.flows.check_in_form import DeviceForm
from notify.render.words import Words
from notify.store import tickets
from tests.parts.shelved import shelve
from tests.parts.traces import files_below, hits, patterns, phone_forms
from tests.parts.watched_folder import Hand

pytestmark = pytest.mark.long
ROW = "J-1,came in,,Kestrel pocket radio of 07700 900123,Ines Farrow-Okonedo,ines.farrow@example.org\n"


def _person(house: Any, ticket: str) -> str:
    with house.read() as unit:
        return str(tickets.get_ticket(unit, ticket).person_id)


def test_a_taken_file_goes_when_anybody_of_the_shop_is_forgotten(house: Any, tmp_path: Path) -> None:
    hand = Hand(tmp_path / "from-bench")
    done = house.check_in(name="Pat Quill")
    hand.drop(ROW)
    hand.take(house)
    wanted = patterns(["Ines Farrow-Okonedo", "ines.farrow@example.org", *phone_forms("+447700900123")])
    before = hits(files_below(hand.folder), wanted)
    hand.wait(60)
    hand.take(house)
    still = hits(files_below(hand.folder), wanted)
    forget.erase_person(house.ctx, house.actor(), _person(house, done.ticket_ids[0]))
    hand.wait(60)
    hand.take(house)
    after = hits(files_below(hand.folder), wanted)
    print(f"FIGURE E1_taken_files patterns={len(wanted)} before={len(before)} hits={len(after)}")
    assert len(before) >= 3 and still == before and after == []
    hand.drop(ROW.replace("J-1", "J-2"), name="later.csv")
    hand.wait(60)
    hand.take(house)
    hand.wait(60)
    hand.take(house)
    assert len([f for f in hand.lying("taken") if not str(f).startswith(".")]) >= 1  # once for each act of erasing


def test_day_sheets_written_before_somebody_is_forgotten_go_and_the_next_day_s_is_made_anew(
    house: Any, tmp_path: Path
) -> None:
    folder, words = tmp_path / "paper", Words(house.services.templates / "words", prefix="desk.").get("en")
    ids = {}
    for who in ("Ines Farrow", "Pat Quill"):
        done = house.check_in(DeviceForm("radio", shelf="A1"), name=who)
        shelve(house, done.ticket_ids[0])
        ids[who] = done.ticket_ids[0]

    def make(day: date) -> bytes:
        templates = house.services.templates
        return paper_day.day_sheet_pdf(house.ctx, house.system(), day, words=words, templates=templates)

    def write(at: time) -> Any:
        return paper_day.write_due(house.ctx, house.system(), folder=folder, at=at, keep_days=30, make=make)

    file = write(time(0))
    stem = file.stem[:-10]
    old = folder / f"{stem}2026-11-01.pdf"
    old.write_bytes(file.read_bytes())
    assert "Ines Farrow" in _said(file) and "Ines Farrow" in _said(old)  # the planted leak is found
    forget.erase_person(house.ctx, house.actor(), _person(house, ids["Ines Farrow"]))
    assert write(time(23, 59)) is None  # not its hour, and they go all the same
    raw = hits(files_below(folder), patterns(["Ines Farrow"]))
    print(f"FIGURE E1_day_sheets sheets={len(list(folder.glob('*.pdf')))} hits={len(raw)} "
          f"said={int('Ines Farrow' in _said(file))}")  # fmt: skip
    assert not old.exists() and raw == [] and "Ines Farrow" not in _said(file) and "Pat Quill" in _said(file)


def _said(file: Path) -> str:
    with pypdfium2.PdfDocument(file.read_bytes()) as document:
        pages = [document[i] for i in range(len(document))]
        said = " ".join(" ".join(page.get_textpage().get_text_range().split()) for page in pages)
        for page in pages:
            page.close()
    return said
