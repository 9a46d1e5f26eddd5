"""Print the small labels for a device and for a part; neither ever carries the claim secret."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from notify.core.errors import Invalid
from notify.render.paper import LABELS, Paper, paper_named
from notify.render.paper_blocks import Block, banner, headline, paragraph, qr_block, stack
from notify.render.paper_sheet import Sheet
from notify.render.paper_words import load_words

_PART_PREFIX = "shelfbell:p/"


@dataclass(frozen=True, slots=True)
class DeviceLabel:
    """What stands on a device: `number` grouped for reading, `part_or_shelf` where it lies ("" allowed).

    `safety` holds flags (swollen hot leaking wet); `qr_text` is the claim number and nothing else.
    """

    number: str
    part_or_shelf: str
    device: str
    safety: tuple[str, ...]
    qr_text: str


@dataclass(frozen=True, slots=True)
class PartLabel:
    """What stands on a delivered part: its name, the claim number it is for, from whom it came.

    `code` is the short code under which a scan finds the delivery; the QR code holds shelfbell:p/<code>.
    """

    code: str
    part: str
    number: str
    supplier: str


def label_pdf(label: DeviceLabel, *, paper: str, language: str, templates: Path, made_at: datetime) -> bytes:
    """One page with the device label; `paper` is a key of LABELS. Same input, same bytes.

    Raises Invalid if the QR text is anything but the claim number: a label lies open on the shelf and
    the claim link would let whoever photographs it act as the customer.
    """
    if _letters(label.qr_text) != _letters(label.number):
        raise Invalid("a device label may carry only the claim number", "Use the number.", field="qr_text")
    size = paper_named(paper, LABELS)
    words = load_words(templates, language)
    shelf = f"{words.shelf} {label.part_or_shelf}" if label.part_or_shelf.strip() else ""
    signs = words.safety_words(label.safety)
    alarm = "\N{NO-BREAK SPACE}· ".join((*signs, words.no_charge)) if signs else ""
    lines = [(shelf, 2, True), (label.device, 4, False)]
    title = f"{words.title_label} {label.number}"
    with Sheet(templates, title=title, language=language, made_at=made_at) as sheet:
        _draw(sheet, size, qr_text=label.qr_text, head=label.number, lines=lines, alarm=alarm)
        return sheet.to_bytes()


def part_label_pdf(label: PartLabel, *, paper: str, language: str, templates: Path, made_at: datetime) -> bytes:
    """One page with the part label; `paper` is a key of LABELS. Same input, same bytes.

    Raises Invalid for a code that is no short run of letters, digits, dots and dashes.
    """
    if not (0 < len(label.code) <= 24 and all(c.isascii() and (c.isalnum() or c in "-.") for c in label.code)):
        raise Invalid("the part code must be 1 to 24 letters, digits, dots or dashes", "Shorten it.", field="code")
    size = paper_named(paper, LABELS)
    words = load_words(templates, language)
    supplier = f"{words.part_from} {label.supplier}" if label.supplier.strip() else ""
    lines = [(label.part, 3, True), (supplier, 1, False)]
    head = f"{words.part_for} {label.number}" if label.number else label.code
    title = f"{words.title_part} {label.code}"
    with Sheet(templates, title=title, language=language, made_at=made_at) as sheet:
        _draw(sheet, size, qr_text=_PART_PREFIX + label.code, head=head, lines=lines, alarm="")
        return sheet.to_bytes()


def _draw(
    sheet: Sheet, paper: Paper, *, qr_text: str, head: str, lines: list[tuple[str, int, bool]], alarm: str
) -> None:
    """QR code on the left, words on the right; an alarm stands white on black at their foot."""
    edge = paper.margin
    # The quiet zone may lie in the margin: both are white.
    code = qr_block(sheet, qr_text, width=paper.height, paper=paper)
    width, room = paper.width - edge - code.width, paper.height - 2 * edge
    size = paper.small if len(alarm) < 40 else paper.small * 4 // 5
    foot = banner(sheet, alarm, width=width, size=size, most=5) if alarm else None
    if foot:
        room -= foot.height + 6
    words = _words(sheet, paper, head=head, lines=lines, width=width, room=room)
    sheet.add_page(paper.width, paper.height)
    code.draw(0, (paper.height - code.height) // 2)
    words.draw(code.width, edge + (room - words.height) // 2)
    if foot:
        foot.draw(code.width, paper.height - edge - foot.height)


def _words(
    sheet: Sheet, paper: Paper, *, head: str, lines: list[tuple[str, int, bool]], width: int, room: int
) -> Block:
    """The number as large as fits, then as many of the lines as the label has room for."""
    blocks = [headline(sheet, head, width=width, most=paper.number_most, middle=False)]
    for text, most, bold in lines:
        for count in range(most, 0, -1):
            block = paragraph(sheet, text, width=width, size=paper.body, most=count, bold=bold)
            if stack([*blocks, block], gap=4).height <= room:
                blocks.append(block)
                break
    return stack(blocks, gap=4)


def _letters(text: str) -> str:
    return text.replace("-", "").replace(" ", "").upper()
