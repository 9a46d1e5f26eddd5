"""Print the claim ticket that a customer takes home, as a PDF for rolls and A6."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from notify.render.paper import PAPERS, Paper, paper_named
from notify.render.paper_blocks import (
    Block,
    banner,
    barred,
    beside,
    centred,
    headline,
    paragraph,
    qr_block,
    stack,
    warning_sign,
)
from notify.render.paper_sheet import Sheet
from notify.render.paper_text import capped
from notify.render.paper_words import PaperWords, load_words


@dataclass(frozen=True, slots=True)
class ClaimTicket:
    """What stands on one ticket; every text is ready to read, in the ticket's language.

    `number` is grouped for reading; `qr_text` and `link` carry the secret and stay out of any log;
    `link` is empty where the shop has no public address. `cautions` are whole sentences, empty
    without a safety flag (PaperWords.caution_lines). `promise_line` may be empty.
    """

    shop_name: str
    shop_lines: tuple[str, ...]
    shop_phone: str
    number: str
    qr_text: str = field(repr=False)
    link: str = field(repr=False)
    received: str
    device: str
    accessories: tuple[str, ...]
    fault: str
    money_lines: tuple[str, ...]
    promise_line: str
    cautions: tuple[str, ...]
    privacy_lines: tuple[str, ...]
    language: str


@dataclass(frozen=True, slots=True)
class _Desk:
    """What every part of the ticket needs at hand while it is laid out."""

    sheet: Sheet
    paper: Paper
    words: PaperWords

    @property
    def gap(self) -> int:
        return self.paper.body * 3 // 4

    @property
    def columns(self) -> int:
        """Two where the paper is wide enough for words beside the QR code."""
        return 2 if self.paper.printable >= 700 else 1

    def text(self, text: str, *, width: int, most: int, bold: bool = False, small: bool = False) -> Block:
        size = self.paper.small if small else self.paper.body
        return paragraph(self.sheet, text, width=width, size=size, most=most, bold=bold)


def ticket_pdf(ticket: ClaimTicket, *, paper: str, templates: Path, made_at: datetime) -> bytes:
    """The ticket as a PDF: one page as long as its content on a roll, as many as needed on A6.

    `paper` is a key of PAPERS, `templates` the folder with words and fonts, `made_at` (aware) goes into the
    file: same input, same bytes. Raises Invalid for an unknown paper or a QR text that does not fit,
    Misconfigured for missing words or fonts.
    """
    size = paper_named(paper, PAPERS)
    words = load_words(templates, ticket.language)
    title = f"{words.title_ticket} {ticket.number}"
    sheet = Sheet(templates, title=title, language=ticket.language, made_at=made_at)
    desk = _Desk(sheet, size, words)
    _place([_tag(ticket, desk), *_body(ticket, desk)], desk, number=ticket.number)
    return sheet.to_bytes()


def _place(blocks: Sequence[Block], desk: _Desk, *, number: str) -> None:
    """Draw the blocks: all on one page of a roll, page after page on a sheet."""
    paper, edge, gap = desk.paper, desk.paper.margin, desk.gap
    pages = _pages(blocks, room=paper.height - 2 * edge, gap=gap) if paper.height else [list(blocks)]
    for count, page in enumerate(pages, start=1):
        if count > 1:
            again = desk.text(f"{number}  {count}/{len(pages)}", width=paper.printable, most=1, bold=True)
            page.insert(0, again)
        whole = stack(page, gap=gap)
        desk.sheet.add_page(paper.width, paper.height or whole.height + 2 * edge)
        whole.draw(edge, edge)


def _pages(blocks: Sequence[Block], *, room: int, gap: int) -> list[list[Block]]:
    """The blocks in order, as many to a page of `room` dots as fit; each later page keeps 60 for its head."""
    pages: list[list[Block]] = [[]]
    left = room
    for block in (each for each in blocks if each.height):
        if block.height > left and pages[-1]:
            pages.append([])
            left = room - 60
        pages[-1].append(block)
        left -= block.height + gap
    return pages


def _tag(ticket: ClaimTicket, desk: _Desk) -> Block:
    """A shelf tag with cut corners and an eyelet: shop, number, QR code, and the rule on a black foot."""
    paper, words, sheet = desk.paper, desk.words, desk.sheet
    stroke, pad = 4, 12
    inner = paper.printable - 2 * (stroke + pad)
    corner = min(paper.printable // 9, 60)
    narrow = inner - 2 * (corner // 2)
    top = stack(
        [
            paragraph(
                sheet, ticket.shop_name, width=narrow, size=paper.body, most=2, bold=True, centred=True
            ),
            paragraph(sheet, words.your_number, width=narrow, size=paper.small, most=1, centred=True),
        ],
        gap=4,
    )
    number = headline(sheet, ticket.number, width=inner - paper.small, most=paper.number_most)
    foot = banner(
        sheet, f"{words.number_alone} {words.bring}", width=paper.printable, size=paper.small + 1, most=4
    )
    code = _code(ticket, desk, width=inner)
    eyelet = corner * 3 // 4
    heights = (eyelet, top.height, 10, number.height, 2, code.height, pad)
    height = sum(heights) + foot.height

    def draw(x: int, y: int) -> None:
        half, right, bottom = stroke / 2, x + paper.printable, y + height
        sheet.outline(
            [(x + corner, y + half), (right - corner, y + half), (right - half, y + corner),
             (right - half, bottom - half), (x + half, bottom - half), (x + half, y + corner)],
            stroke=stroke,
        )  # fmt: skip
        sheet.ring(x + paper.printable / 2, y + eyelet * 0.56, eyelet * 0.26, stroke=stroke)
        left, down = x + stroke + pad, y + eyelet
        top.draw(left + corner // 2, down)
        number.draw(left + paper.small // 2, down + top.height + 10)
        code.draw(left, down + top.height + 10 + number.height + 2)
        foot.draw(x, bottom - foot.height)

    return Block(paper.printable, height, draw)


def _code(ticket: ClaimTicket, desk: _Desk, *, width: int) -> Block:
    """The QR code and what to do with it: below it on rolls, beside it on wide paper."""
    paper = desk.paper
    if desk.columns == 1:
        code = qr_block(desk.sheet, ticket.qr_text, width=width, most=paper.qr_most)
        return stack([centred(code, width=width), _what_to_do(ticket, desk, width=width)], gap=0)
    code = qr_block(desk.sheet, ticket.qr_text, width=width * 58 // 100, most=paper.qr_most)
    return beside(code, _what_to_do(ticket, desk, width=width - code.width - 8), gap=8)


def _what_to_do(ticket: ClaimTicket, desk: _Desk, *, width: int) -> Block:
    words = desk.words
    call = desk.text(
        f"{words.call} {ticket.shop_phone}" if ticket.shop_phone else "", width=width, most=2, bold=True
    )
    if not ticket.link:
        return stack([desk.text(words.scan_at_counter, width=width, most=4), call], gap=6)
    link = [
        desk.text(part, width=width, most=4, small=True)
        for part in _link_parts(ticket.link, desk, width=width)
    ]
    scan = desk.text(words.scan, width=width, most=6)
    return stack(
        [scan, stack([desk.text(words.or_open, width=width, most=1, small=True), *link], gap=0), call], gap=8
    )


def _link_parts(link: str, desk: _Desk, *, width: int) -> tuple[str, ...]:
    """The link without its scheme; if one line is too short, the last part goes below in equal pieces."""
    short = link.removeprefix("https://").removeprefix("http://")
    small, sheet = desk.paper.small, desk.sheet
    if sheet.width_of(sheet.clean(short), small) <= width:
        return (short,)
    host, slash, token = short.rpartition("/")
    pieces = min(4, 1 + int(sheet.width_of(sheet.clean(token), small) // width))
    step = -(-len(token) // pieces)
    return (host + slash, *(token[at : at + step] for at in range(0, len(token), step)))


def _body(ticket: ClaimTicket, desk: _Desk) -> list[Block]:
    words = desk.words
    about = [
        _device(ticket, desk),
        _section(desk, words.you_told_us, (ticket.fault,), most=5),
        _section(desk, words.money, capped(ticket.money_lines, most=8), most=2),
        _section(desk, words.handed_in, (ticket.received,), most=2),
    ]
    top = [_promise(ticket, desk), _cautions(ticket, desk)]
    if desk.columns == 1:
        return [*top, *about, _small_print(ticket, desk)]
    halves = [stack(about[half::2], gap=desk.gap) for half in (0, 1)]
    return [*top, beside(halves[0], halves[1], gap=desk.gap, middle=False), _small_print(ticket, desk)]


def _device(ticket: ClaimTicket, desk: _Desk) -> Block:
    words = desk.words
    accessories = ", ".join(capped(ticket.accessories, most=12))
    came_with = f"{words.came_with}: {accessories}" if accessories else words.nothing_with
    said = [
        desk.text(words.looking_after, width=_column(desk), most=1, small=True),
        desk.text(ticket.device, width=_column(desk), most=3, bold=True),
        desk.text(came_with, width=_column(desk), most=4),
    ]
    return barred(desk.sheet, stack(said, gap=2), bar=4, indent=_indent(desk))


def _indent(desk: _Desk) -> int:
    return desk.paper.body * 3 // 4


def _column(desk: _Desk) -> int:
    """Dots for text in one of the columns below the tag."""
    gaps = desk.gap * (desk.columns - 1)
    return (desk.paper.printable - gaps) // desk.columns - _indent(desk)


def _promise(ticket: ClaimTicket, desk: _Desk) -> Block:
    """The one time that matters, larger than the rest, beside a broad bar."""
    size = desk.paper.body * 5 // 4
    width = desk.paper.printable - _indent(desk)
    text = paragraph(desk.sheet, ticket.promise_line, width=width, size=size, most=5, bold=True)
    return barred(desk.sheet, text, bar=_indent(desk) // 2, indent=_indent(desk))


def _section(desk: _Desk, heading: str, texts: Sequence[str], *, most: int) -> Block:
    """A small heading with its texts; nothing if there is no text."""
    shown = [desk.text(text, width=_column(desk), most=most) for text in texts if text.strip()]
    if not shown:
        return stack([], gap=0)
    head = desk.text(heading, width=_column(desk), most=1, small=True)
    return barred(desk.sheet, stack([head, *shown], gap=0), bar=4, indent=_indent(desk))


def _cautions(ticket: ClaimTicket, desk: _Desk) -> Block:
    """The battery cautions in a heavy frame under a warning sign."""
    if not ticket.cautions:
        return stack([], gap=0)
    stroke, sheet, paper = 6, desk.sheet, desk.paper
    pad = stroke + desk.gap // 2
    width, sign = paper.printable - 2 * pad, warning_sign(sheet, size=paper.body * 5 // 3)
    head = paragraph(
        sheet, desk.words.careful, width=width - sign.width - 12, size=paper.body * 6 // 5, most=2, bold=True
    )
    lines = [desk.text(line, width=width, most=4) for line in capped(ticket.cautions, most=10)]
    inside = stack([beside(sign, head, gap=12), *lines], gap=6)
    height = inside.height + 2 * pad

    def draw(x: int, y: int) -> None:
        half, right, bottom = stroke / 2, x + paper.printable, y + height
        corners = [
            (x + half, y + half),
            (right - half, y + half),
            (right - half, bottom - half),
            (x + half, bottom - half),
        ]
        sheet.outline(corners, stroke=stroke)
        inside.draw(x + pad, y + pad)

    return Block(paper.printable, height, draw)


def _small_print(ticket: ClaimTicket, desk: _Desk) -> Block:
    width = desk.paper.printable
    shop = ", ".join(capped(ticket.shop_lines, most=6))
    texts = [
        desk.text(line, width=width, most=5, small=True) for line in capped(ticket.privacy_lines, most=6)
    ]
    return stack([*texts, desk.text(shop, width=width, most=4, small=True)], gap=6)
