"""Blocks of known size to build a printed page from: paragraphs, stacks, bars, frames, QR codes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from notify.render.paper import Paper
from notify.render.paper_sheet import Sheet, line_height
from notify.render.qr import fitting_symbol


@dataclass(frozen=True, slots=True)
class Block:
    """Something `width` x `height` dots big that can draw itself with its corner at (x, y)."""

    width: int
    height: int
    draw: Callable[[int, int], None]


def paragraph(
    sheet: Sheet, text: str, *, width: int, size: int, most: int, bold: bool = False, centred: bool = False
) -> Block:
    """Wrapped text of at most `most` lines; height 0 for an empty text."""
    lines = sheet.lines(text, size=size, width=width, most=most, bold=bold)

    def draw(x: int, y: int) -> None:
        for number, line in enumerate(lines):
            spare = width - sheet.width_of(line, size, bold=bold)
            left = x + spare / 2 if centred else x
            sheet.write([line], left, y + line_height(size) * number, size=size, bold=bold)

    return Block(width, math.ceil(line_height(size) * len(lines)), draw)


def headline(sheet: Sheet, text: str, *, width: int, most: int, middle: bool = True) -> Block:
    """One bold line as large as the width allows, `most` dots at most; centred if `middle`."""
    shown = sheet.clean(text)
    size = min(float(most), width / max(sheet.width_of(shown, 1, bold=True), 0.001))
    left = (width - sheet.width_of(shown, size, bold=True)) / 2 if middle else 0.0
    # Digits and capitals are 0.73 em high: the line is cut to them, so that no room is wasted.
    height = math.ceil(size * 0.80)

    def draw(x: int, y: int) -> None:
        sheet.write([shown], x + left, y - size * 0.17, size=size, bold=True)

    return Block(width, height, draw)


def qr_block(sheet: Sheet, text: str, *, width: int, paper: Paper) -> Block:
    """A QR code with its quiet zone, as large as fits and as the paper wants it."""
    code, dots = fitting_symbol(text, width=width, most=paper.qr_most, least=paper.qr_least)
    side = code.across * dots

    def draw(x: int, y: int) -> None:
        sheet.qr(code, x, y, dots=dots)

    return Block(side, side, draw)


def centred(inner: Block, *, width: int) -> Block:
    """A block in the middle of `width` dots, still on whole dots."""

    def draw(x: int, y: int) -> None:
        inner.draw(x + (width - inner.width) // 2, y)

    return Block(width, inner.height, draw)


def stack(blocks: Sequence[Block], *, gap: int) -> Block:
    """Blocks below each other; empty ones leave no gap."""
    shown = [block for block in blocks if block.height]
    height = sum(block.height for block in shown) + gap * max(len(shown) - 1, 0)

    def draw(x: int, y: int) -> None:
        for block in shown:
            block.draw(x, y)
            y += block.height + gap

    return Block(max((block.width for block in shown), default=0), height, draw)


def beside(left: Block, right: Block, *, gap: int, middle: bool = True) -> Block:
    """Two blocks side by side, their middles at one height, or else their tops."""
    height = max(left.height, right.height)

    def draw(x: int, y: int) -> None:
        down = [(height - block.height) // 2 if middle else 0 for block in (left, right)]
        left.draw(x, y + down[0])
        right.draw(x + left.width + gap, y + down[1])

    return Block(left.width + gap + right.width, height, draw)


def barred(sheet: Sheet, inner: Block, *, bar: int, indent: int) -> Block:
    """A block with a black bar of `bar` dots along its left side; `indent` dots from edge to text."""
    if not inner.height:
        return inner

    def draw(x: int, y: int) -> None:
        sheet.box(x, y, bar, inner.height)
        inner.draw(x + indent, y)

    return Block(inner.width + indent, inner.height, draw)


def banner(sheet: Sheet, text: str, *, width: int, size: int, most: int) -> Block:
    """Bold white text, centred on a black band."""
    pad = size // 2
    lines = sheet.lines(text, size=size, width=width - 2 * pad, most=most, bold=True)
    height = math.ceil(line_height(size) * len(lines)) + pad

    def draw(x: int, y: int) -> None:
        sheet.box(x, y, width, height)
        for number, line in enumerate(lines):
            left = x + (width - sheet.width_of(line, size, bold=True)) / 2
            sheet.write([line], left, y + pad / 2 + line_height(size) * number, size=size, bold=True, white=True)

    return Block(width, height, draw)


def warning_sign(sheet: Sheet, *, size: int) -> Block:
    """A black triangle with a white stroke and dot, `size` dots high."""

    def draw(x: int, y: int) -> None:
        sheet.filled([(x, y + size), (x + size, y + size), (x + size / 2, y)])
        middle, thick = x + size / 2, size * 0.06
        top, foot = y + size * 0.36, y + size * 0.70
        sheet.filled(
            [(middle - thick, top), (middle + thick, top), (middle + thick, foot), (middle - thick, foot)],
            white=True,
        )
        dot = y + size * 0.78
        sheet.filled(
            [(middle - thick, dot), (middle + thick, dot), (middle + thick, dot + 2 * thick),
             (middle - thick, dot + 2 * thick)], white=True
        )  # fmt: skip

    return Block(size, size, draw)
