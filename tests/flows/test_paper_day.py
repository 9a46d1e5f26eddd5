"""The day sheet on paper: what stands on it, read back by pdfium, and the file of each evening.

What it must hold is the issue's own text (bad days: the nightly printed day sheet); there is no published standard.
"""

from __future__ import annotations

import os
import stat
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from notify.core.errors import Invalid, NotAllowed, Unavailable
from notify.flows import moves, paper_day, parts, pickup, set_up
from notify.flows.check_in_form import DeviceForm
from notify.render.words import Words
from notify.store import tickets

pytestmark = pytest.mark.long
THURSDAY = date(2026, 11, 26)


def _words(house: Any) -> Any:
    return Words(house.services.templates / "words", prefix="desk.").get("en")


def _pdf(house: Any, day: date = THURSDAY) -> bytes:
    return bytes(
        paper_day.day_sheet_pdf(house.ctx, house.actor(), day, words=_words(house), templates=house.services.templates)
    )


def _said(pdf: bytes) -> list[str]:
    """The words of each page."""
    with pypdfium2.PdfDocument(pdf) as document:
        pages = [document[i] for i in range(len(document))]
        said = [" ".join(page.get_textpage().get_text_range().split()) for page in pages]
        for page in pages:
            page.close()
    return said


def _full_day(house: Any) -> dict[str, str]:
    """A pickup tomorrow, a device on the shelf, one on the bench, one that waits for a part, a call to make."""
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern Spares", cutoff=None, delivers_at=time(11), days=1)
    made = {}
    for name, thing, phone in (
        ("comes", "Kestrel pocket radio", "07700 900123"), ("lies", "Otter camera", "07700 900124"),
        ("works", "Fenlight reader", "07700 900125"), ("waits", "Whelk handheld", "07700 900126"),
    ):  # fmt: skip
        email = "" if name == "lies" else f"{name}@example.org"
        device = DeviceForm(thing, shelf=f"{name[0].upper()}7", fault="does nothing", price_agreed="30")
        purposes = {"phone_purposes": ()} if name == "lies" else {}
        done = house.check_in(device, name=f"Pat {name.title()}", phone=phone, email=email, **purposes)
        made[name] = done.ticket_ids[0]
        made[f"{name} number"], made[f"{name} visit"] = done.numbers[0], done.visit_id
    for name in ("comes", "lies", "works"):
        moves.move(house.ctx, house.actor(), made[name], "in_line")
    for name in ("comes", "lies"):
        moves.move(house.ctx, house.actor(), made[name], "on_bench")
        moves.move(house.ctx, house.actor(), made[name], "on_shelf", outcome="repaired")
    moves.move(house.ctx, house.actor(), made["waits"], "in_line")
    parts.need(house.ctx, house.actor(), made["waits"], name="Left button", supplier="Lantern Spares")
    house.deliver(after=120)
    pickup.book(house.ctx, house.actor(), made["comes visit"], datetime(2026, 11, 26, 16, 15))
    return made


def test_the_sheet_holds_what_a_day_without_machines_needs_in_order_and_no_secret(house: Any) -> None:
    made = _full_day(house)
    whole = " ".join(_said(_pdf(house)))
    wanted = [
        "Thursday, 26 November", "shred it", "Pickups", "16:15", "Pat Comes", "+44 7700 900123", "Kestrel", "C7", "£30",
        "On the shelf", "Otter camera", "L7", "Pat Lies", "For the bench", "Fenlight reader: does nothing",
        "Boxes expected", "11:00", "Lantern Spares", "Left button", "Waits for", "Whelk handheld", "waits for a part",
        "People to call", "+44 7700 900124", "Notes",
    ]  # fmt: skip
    found = -1
    for text in wanted:
        assert (found := whole.find(text, found + 1)) >= 0, text
    with house.read() as unit:
        secrets = [tickets.get_ticket(unit, made[name]).token for name in ("comes", "lies", "works", "waits")]
    assert not any(secret in whole for secret in secrets) and "/c/" not in whole
    assert "16:15" not in " ".join(_said(_pdf(house, THURSDAY + timedelta(days=1))))


def test_a_device_with_a_safety_flag_says_on_paper_too_what_it_asks_for(house: Any) -> None:
    done = house.check_in(DeviceForm("Fenlight reader", safety=("swollen", "hot"), shelf="SAND"), DeviceForm("Radio"))
    for at_ in ("on the bench's list", "on the shelf"):
        whole = " ".join(_said(_pdf(house)))
        assert whole.count("Careful, battery swollen, battery hot: do not charge or post it") == 1, at_
        if at_ == "on the bench's list":
            moves.move(house.ctx, house.actor(), done.ticket_ids[0], "in_line")
            moves.move(house.ctx, house.actor(), done.ticket_ids[0], "on_bench")
            moves.move(house.ctx, house.actor(), done.ticket_ids[0], "on_shelf", outcome="repaired")


def test_a_full_shop_goes_on_to_more_pages_and_says_what_is_not_shown(house: Any) -> None:
    fault = "a fault that takes some words to say, as most of them do"
    for first in range(0, paper_day.MOST + 3, 9):
        house.check_in(*(DeviceForm(f"Radio no. {n}", fault=fault) for n in range(first, first + 9)))
    pages = _said(_pdf(house))
    assert len(pages) > 2 and f"Page 1 of {len(pages)}" in pages[0] and "and 3 more that are not shown" in pages[-1]
    assert sum(page.count("Radio no.") for page in pages) == paper_day.MOST


def test_only_whoever_may_see_contacts_prints_it_and_a_day_that_is_none_is_named(house: Any) -> None:
    with pytest.raises(NotAllowed):
        paper_day.paper_day(house.ctx, house.customer(), THURSDAY, words=_words(house))
    assert paper_day.parse_day("tomorrow", today=THURSDAY) == date(2026, 11, 27)
    assert paper_day.parse_day("2026-11-30", today=THURSDAY) == date(2026, 11, 30)
    with pytest.raises(Invalid, match="no day"):
        paper_day.parse_day("someday", today=THURSDAY)


def _evening(house: Any, folder: Path, data: bytes = b"%PDF", **more: Any) -> Path | None:
    known: dict[str, Any] = {"at": time(19), "keep_days": 2, "make": lambda day: data + day.isoformat().encode()}
    return paper_day.write_due(house.ctx, house.system(), folder=folder, **(known | more))


def test_from_the_evening_on_the_next_open_days_sheet_lies_there_for_its_owner_only(house: Any, tmp_path: Path) -> None:
    folder = tmp_path / "sheets"
    assert _evening(house, folder) is None and not folder.exists()  # 9 o'clock in the morning
    house.clock.set(house.clock().replace(hour=19, minute=5))
    before = os.umask(0o022)  # as on a usual machine: whatever is not asked for is readable by everybody
    file = _evening(house, folder, b"first ")
    os.umask(before)
    assert file is not None and file.read_bytes() == b"first 2026-11-26"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600 and stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert _evening(house, folder, b"newer ") == file and file.read_bytes() == b"newer 2026-11-26"
    for back in range(1, 6):
        (folder / f"day-sheet-{house.shop_id[:8]}-2026-11-{25 - back}.pdf").touch()
    (folder / "day-sheet-somebody-2026-11-01.pdf").touch()
    house.clock.advance(3 * 86400)  # Saturday: Sunday is closed
    assert (later := _evening(house, folder)) is not None and later.name.endswith("2026-11-30.pdf")
    left = sorted(one.name[-14:-4] for one in folder.iterdir())
    assert left == ["2026-11-01", "2026-11-26", "2026-11-30"]


def test_a_folder_that_cannot_be_written_is_said_and_leaves_the_last_sheet(house: Any, tmp_path: Path) -> None:
    house.clock.set(house.clock().replace(hour=20))
    blocked = tmp_path / "a-file"
    blocked.touch()
    with pytest.raises(Unavailable, match="cannot be written"):
        _evening(house, blocked)
