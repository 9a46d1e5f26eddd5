"""Sizes of paper, all in printer dots, so that nothing ever falls between two dots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from notify.core.errors import Invalid

# 203 dpi heads have 8 dots to the millimetre: 72 mm are 576 dots on an 80 mm roll, 48 mm are 384 dots
# on a 58 mm roll (common practice of roll printers, no source).
DOTS_PER_INCH = 203
MM_PER_DOT = 25.4 / DOTS_PER_INCH


@dataclass(frozen=True, slots=True)
class Paper:
    """One kind of paper; lengths in dots of 25.4/203 mm. `height` 0 means a roll: as long as needed.

    `body`, `small` and `number_most` are letter heights (em), `qr_most` is the most dots
    per module. `qr_least` is the smallest QR version: below 8 some readers lose codes with dirt on them
    (measured; from 7 on a code carries its version twice), below 3 one blot can cover both format marks.
    """

    name: str
    width: int
    height: int
    margin: int
    body: int
    small: int
    number_most: int
    qr_most: int
    qr_least: int

    @property
    def printable(self) -> int:
        """Dots between the side margins."""
        return self.width - 2 * self.margin


PAPERS: Mapping[str, Paper] = MappingProxyType(
    {
        "roll80": Paper("roll80", 640, 0, 32, body=30, small=23, number_most=112, qr_most=8, qr_least=8),
        "roll58": Paper("roll58", 464, 0, 40, body=27, small=22, number_most=84, qr_most=7, qr_least=8),
        "a6": Paper("a6", 839, 1182, 32, body=27, small=21, number_most=104, qr_most=7, qr_least=8),
    }
)
# What is printed in advance, and lists for the wall: a desk printer has A4, most have A6 sheets or a roll.
A4 = Paper("a4", 1678, 2374, 80, body=34, small=26, number_most=112, qr_most=6, qr_least=8)
PAD_PAPERS: Mapping[str, Paper] = MappingProxyType({"a4": A4, "a6": PAPERS["a6"], "roll80": PAPERS["roll80"]})
LABELS: Mapping[str, Paper] = MappingProxyType(
    {
        "label50x25": Paper("label50x25", 400, 200, 8, body=24, small=20, number_most=44, qr_most=5, qr_least=3),
        "label57x32": Paper("label57x32", 456, 256, 10, body=28, small=22, number_most=52, qr_most=6, qr_least=3),
    }
)


def paper_named(name: str, papers: Mapping[str, Paper]) -> Paper:
    """The paper of that name; raises Invalid naming those there are."""
    try:
        return papers[name]
    except KeyError:
        known = ", ".join(sorted(papers))
        raise Invalid(f"there is no paper called {name[:40]!r}", f"Choose one of {known}.", field="paper") from None
