"""The day sheet on A4: for a day without machines, read at arm's length and ticked off with a pen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from notify.render.blanks import box, line, row
from notify.render.claim_ticket import into_pages
from notify.render.paper import A4
from notify.render.paper_blocks import Block, headline, paragraph, stack
from notify.render.paper_sheet import Sheet
from notify.render.paper_words import load_words
from notify.render.ticket_desk import Desk
from notify.render.words import Language

_NOTES = 6  # lines to write on, however full the day is


@dataclass(frozen=True, slots=True)
class PaperLine:
    """One thing to do: `lead` is a time or nothing, `number` the claim number or a name, `text` the rest."""

    lead: str
    number: str
    text: str


@dataclass(frozen=True, slots=True)
class PaperPart:
    """One list under its heading; `none` is said when it is empty."""

    title: str
    lines: tuple[PaperLine, ...]
    none: str


@dataclass(frozen=True, slots=True)
class DayPaper:
    """A whole day: shop, day and when it was made, ready to read; no claim secret is on it."""

    shop: str
    day: str
    made: str
    parts: tuple[PaperPart, ...]


def day_pdf(day: DayPaper, *, words: Language, templates: Path, made_at: datetime) -> bytes:
    """The sheet as a PDF of as many A4 pages as it takes. Same input, same bytes."""
    title = f"{words['day_paper.title']} {day.day}"
    with Sheet(templates, title=title, language=words.code, made_at=made_at) as sheet:
        desk = Desk(sheet, A4, load_words(templates, words.code))
        _draw(day, desk, words)
        return sheet.to_bytes()


def _draw(day: DayPaper, desk: Desk, w: Language) -> None:
    foot = desk.text(w("day_paper.page", page=1, pages=1), width=A4.printable, most=1, small=True)
    blocks = [_head(day, desk, w)]
    for part in day.parts:
        blocks += _part(part, desk)
    blocks.append(line(desk, w["day_paper.notes"], width=A4.printable, lines=_NOTES))
    pages = into_pages(blocks, room=A4.height - 2 * A4.margin - foot.height - desk.gap, gap=desk.gap // 2)
    for number, page in enumerate(pages, 1):
        desk.sheet.add_page(A4.width, A4.height)
        stack(page, gap=desk.gap // 2).draw(A4.margin, A4.margin)
        said = f"{day.day} · {w('day_paper.page', page=number, pages=len(pages))}"
        desk.text(said, width=A4.printable, most=1, small=True).draw(A4.margin, A4.height - A4.margin - foot.height)


def _head(day: DayPaper, desk: Desk, w: Language) -> Block:
    caution = paragraph(desk.sheet, w["day_paper.caution"], width=A4.printable, size=A4.body, most=2, bold=True)
    return stack(
        [headline(desk.sheet, day.day, width=A4.printable, most=90, middle=False),
         desk.text(f"{day.shop} · {day.made}", width=A4.printable, most=2), caution], gap=10,
    )  # fmt: skip


def _part(part: PaperPart, desk: Desk) -> list[Block]:
    """A heading that stays with its first line, then line by line."""
    title = paragraph(desk.sheet, part.title, width=A4.printable, size=A4.body * 5 // 4, most=2, bold=True)
    bar = Block(A4.printable, 4, lambda x, y: desk.sheet.box(x, y, A4.printable, 4))
    lines = [_line(one, desk) for one in part.lines] or [desk.text(part.none, width=A4.printable, most=1)]
    return [stack([title, bar, lines[0]], gap=8), *lines[1:]]


def _line(one: PaperLine, desk: Desk) -> Block:
    """A box to tick, the time, the number in bold, and the rest beside it."""
    lead, number = _widths(desk)
    tick = box(desk, "", width=desk.paper.body + 12)
    rest = A4.printable - tick.width - lead - number - 3 * desk.gap
    cells: Sequence[Block] = (
        Block(tick.width, desk.paper.body, tick.draw), desk.text(one.lead, width=lead, most=1, bold=True),
        desk.text(one.number, width=number, most=2, bold=True), desk.text(one.text, width=rest, most=7),
    )  # fmt: skip
    widths = (tick.width, lead, number, rest)
    height = max(cell.height for cell in cells)
    whole = row([Block(w, height, cell.draw) for w, cell in zip(widths, cells, strict=True)], gap=desk.gap)
    rule = Block(A4.printable, 1, lambda x, y: desk.sheet.box(x, y, A4.printable, 1))
    return stack([whole, rule], gap=6)


def _widths(desk: Desk) -> tuple[int, int]:
    return desk.paper.body * 3, desk.paper.body * 7
