"""Blocks for paper that is filled in by hand: lines to write on, boxes to tick, and where to cut."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from notify.render.paper_blocks import Block, paragraph, stack
from notify.render.paper_sheet import Sheet
from notify.render.ticket_desk import Desk

_HAND = 72  # dots (9 mm) from line to line: room for handwriting with gloves on (common practice, no source)


def line(desk: Desk, label: str, *, width: int, lines: int = 1) -> Block:
    """A small label, and below it so many rules to write on."""
    head = desk.text(label, width=width, most=3, small=True)
    rules = Block(width, _HAND * lines, lambda x, y: _rules(desk.sheet, x, y, width=width, lines=lines))
    # The first line is written beside or below its label: the room above a rule holds both.
    return Block(width, head.height + rules.height - _HAND // 3, _over(head, rules, head.height - _HAND // 3))


def _over(head: Block, rules: Block, down: int) -> Callable[[int, int], None]:
    def draw(x: int, y: int) -> None:
        head.draw(x, y)
        rules.draw(x, y + down)

    return draw


def _rules(sheet: Sheet, x: int, y: int, *, width: int, lines: int) -> None:
    for number in range(1, lines + 1):
        sheet.box(x, y + _HAND * number - 3, width, 2)


def box(desk: Desk, text: str, *, width: int, most: int = 3) -> Block:
    """An empty square with what it means beside it."""
    side, stroke = desk.paper.body, 3
    said = paragraph(desk.sheet, text, width=width - side - 12, size=desk.paper.body, most=most)
    height = max(side, said.height)

    def draw(x: int, y: int) -> None:
        half, top = stroke / 2, y + math.ceil(desk.paper.body * 0.11)
        desk.sheet.outline(
            [(x + half, top + half), (x + side - half, top + half), (x + side - half, top + side - half),
             (x + half, top + side - half)], stroke=stroke,
        )  # fmt: skip
        said.draw(x + side + 12, y)

    return Block(width, height, draw)


def row(blocks: Sequence[Block], *, gap: int) -> Block:
    """Blocks side by side, their feet at one height."""
    height = max(block.height for block in blocks)

    def draw(x: int, y: int) -> None:
        for block in blocks:
            block.draw(x, y + height - block.height)
            x += block.width + gap

    return Block(sum(block.width for block in blocks) + gap * (len(blocks) - 1), height, draw)


def boxes(desk: Desk, texts: Sequence[str], *, width: int, across: int) -> Block:
    """Boxes in rows of so many."""
    each = (width - desk.gap * (across - 1)) // across
    rows = [texts[at : at + across] for at in range(0, len(texts), across)]
    return stack([row([box(desk, t, width=each) for t in texts], gap=desk.gap) for texts in rows], gap=desk.gap // 2)


def cut(desk: Desk, *, width: int) -> Block:
    """A broken line to cut along."""

    def draw(x: int, y: int) -> None:
        for at in range(0, width, 24):
            desk.sheet.box(x + at, y + 6, min(12, width - at), 2)

    return Block(width, 14, draw)
