"""What a claim ticket says, and what its parts have at hand while they are laid out."""

from __future__ import annotations

from dataclasses import dataclass, field

from notify.render.paper import Paper
from notify.render.paper_blocks import Block, paragraph
from notify.render.paper_sheet import Sheet
from notify.render.paper_words import PaperWords


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
class Desk:
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
