"""The lower half of a claim ticket: when, what to be careful of, what we have, money, small print."""

from __future__ import annotations

from collections.abc import Sequence

from notify.render.paper_blocks import Block, barred, beside, paragraph, stack, warning_sign
from notify.render.paper_text import capped, glued
from notify.render.ticket_desk import ClaimTicket, Desk


def body(ticket: ClaimTicket, desk: Desk) -> list[Block]:
    """The blocks below the tag, in the order of reading; on wide paper the details stand in two columns."""
    words = desk.words
    about = [
        _device(ticket, desk),
        _section(desk, words.handed_in, (glued(ticket.received),), most=2),
        _section(desk, words.you_told_us, (ticket.fault,), most=5),
        _section(desk, words.money, capped([glued(line) for line in ticket.money_lines], most=8), most=2),
    ]
    top = [_promise(ticket, desk), _cautions(ticket, desk)]
    if desk.columns == 1:
        return [*top, *about, _small_print(ticket, desk)]
    halves = [stack(half, gap=desk.gap) for half in (about[:2], about[2:])]
    return [*top, beside(halves[0], halves[1], gap=desk.gap, middle=False), _small_print(ticket, desk)]


def _device(ticket: ClaimTicket, desk: Desk) -> Block:
    words = desk.words
    accessories = ", ".join(capped(ticket.accessories, most=12))
    came_with = f"{words.came_with}: {accessories}" if accessories else words.nothing_with
    said = [
        desk.text(words.looking_after, width=_column(desk), most=1, small=True),
        desk.text(ticket.device, width=_column(desk), most=3, bold=True),
        desk.text(came_with, width=_column(desk), most=4),
    ]
    return barred(desk.sheet, stack(said, gap=2), bar=4, indent=_indent(desk))


def _indent(desk: Desk) -> int:
    return desk.paper.body * 3 // 4


def _column(desk: Desk) -> int:
    """Dots for text in one of the columns below the tag."""
    gaps = desk.gap * (desk.columns - 1)
    return (desk.paper.printable - gaps) // desk.columns - _indent(desk)


def _promise(ticket: ClaimTicket, desk: Desk) -> Block:
    """The one time that matters, larger than the rest, beside a broad bar."""
    size = desk.paper.body * 5 // 4
    width = desk.paper.printable - _indent(desk)
    text = paragraph(desk.sheet, glued(ticket.promise_line), width=width, size=size, most=5, bold=True)
    return barred(desk.sheet, text, bar=_indent(desk) // 2, indent=_indent(desk))


def _section(desk: Desk, heading: str, texts: Sequence[str], *, most: int) -> Block:
    """A small heading with its texts; nothing if there is no text."""
    shown = [desk.text(text, width=_column(desk), most=most) for text in texts if text.strip()]
    if not shown:
        return stack([], gap=0)
    head = desk.text(heading, width=_column(desk), most=1, small=True)
    return barred(desk.sheet, stack([head, *shown], gap=0), bar=4, indent=_indent(desk))


def _cautions(ticket: ClaimTicket, desk: Desk) -> Block:
    """The battery cautions in a heavy frame under a warning sign."""
    if not ticket.cautions:
        return stack([], gap=0)
    stroke, sheet, paper = 6, desk.sheet, desk.paper
    pad = stroke + desk.gap // 2
    width, sign = paper.printable - 2 * pad, warning_sign(sheet, size=paper.body * 5 // 3)
    head = paragraph(
        sheet, desk.words.careful, width=width - sign.width - 12, size=paper.body * 6 // 5, most=2, bold=True
    )
    # On wide paper the sentences run on, so that the ticket stays on one page where it can.
    texts = capped(ticket.cautions, most=10) if desk.columns == 1 else (" ".join(ticket.cautions),)
    lines = [desk.text(text, width=width, most=4 if desk.columns == 1 else 10) for text in texts]
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


def _small_print(ticket: ClaimTicket, desk: Desk) -> Block:
    width = desk.paper.printable
    shop = ", ".join(capped(ticket.shop_lines, most=6))
    texts = [desk.text(line, width=width, most=5, small=True) for line in capped(ticket.privacy_lines, most=6)]
    return stack([*texts, desk.text(shop, width=width, most=4, small=True)], gap=6)
