"""A draft of the notice to somebody whose device nobody collects: facts, a day and an invitation, on one A4 sheet.

It threatens with nothing and announces nothing. What a law's own wording must add is left blank for the person who
checks and signs it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from babel.dates import format_date

from notify.core.languages import locale_of
from notify.render.paper import Paper
from notify.render.paper_blocks import Block, paragraph, stack
from notify.render.paper_sheet import Sheet, line_height
from notify.render.paper_words import load_words
from notify.render.words import Language, Words

# ISO 216: 210 x 297 mm, in dots of 25.4/203 mm; letters of 11 and 9 points.
A4 = Paper("a4", 1678, 2374, 176, body=31, small=25, number_most=60, qr_most=0, qr_least=0)
# For long texts: nothing is cut off that belongs to the letter.
_TIGHT = (A4, replace(A4, body=27, small=22), replace(A4, body=24, small=19))
_RULED = 5  # blank lines for the law's own wording
Say = Callable[..., str]


@dataclass(frozen=True, slots=True, repr=False)
class Notice:
    """What the draft says. `owed` is an amount to read, None when no price was noted; days by the shop's calendar.

    `collect_by` is None without a rule that counts (left blank); `may_be_given_from` only when that day lies ahead.
    The customer reads `language`, the shop's own head stands in `shop_language`.
    """

    language: str
    shop_language: str
    shop_name: str
    shop_lines: tuple[str, ...]
    shop_phone: str
    shop_email: str
    person: str
    number: str
    device: str
    handed_in: date
    ready_on: date
    repaired: bool
    today: date
    owed: str | None
    is_owed: bool
    collect_by: date | None
    may_be_given_from: date | None
    rule_name: str
    rule_form: str
    safety: tuple[str, ...]


def notice_words(templates: Path) -> Words:
    """The words of templates/words/notice.<language>.toml."""
    return Words(templates / "words", prefix="notice.")


def notice_pdf(notice: Notice, *, templates: Path, made_at: datetime) -> bytes:
    """One A4 page. Same input, same bytes."""
    words = notice_words(templates)
    said, head = words.get(notice.language), words.get(notice.shop_language)
    with Sheet(templates, title=head("head.title"), language=notice.language, made_at=made_at) as sheet:
        sheet.add_page(A4.width, A4.height)
        pages = (_Page(sheet, paper, notice, said, head, templates).whole() for paper in _TIGHT)
        _first_that_fits(pages).draw(A4.margin, A4.margin * 2 // 3)
        return sheet.to_bytes()


def _first_that_fits(pages: Iterable[Block]) -> Block:
    """The first block that ends above the lower margin, else the last one."""
    block = Block(0, 0, lambda x, y: None)
    for block in pages:
        if block.height <= A4.height - A4.margin * 4 // 3:
            break
    return block


def say_date(day: date, *, language: str) -> str:
    """A day with its year, as a letter bears it: "27 November 2026"."""
    return format_date(day, "long", locale=locale_of(language))


class _Page:
    """One sheet being laid out."""

    def __init__(
        self, sheet: Sheet, paper: Paper, notice: Notice, said: Language, head: Language, templates: Path
    ) -> None:
        self.sheet, self.paper, self.n = sheet, paper, notice
        self.said, self.head, self.templates = said, head, templates

    def whole(self) -> Block:
        """Head for the shop, then the letter."""
        shop, letter = self._for_the_shop(), stack(self._letter(), gap=self.paper.body)
        return stack([shop, letter], gap=self.paper.body * 2)

    def _day(self, day: date) -> str:
        return say_date(day, language=self.n.language)

    def _text(self, text: str, *, most: int = 8, bold: bool = False) -> Block:
        return paragraph(self.sheet, text, width=self.paper.printable, size=self.paper.body, most=most, bold=bold)

    def _for_the_shop(self) -> Block:
        pad, width = self.paper.small, self.paper.printable - 2 * self.paper.small
        lines = [self.head("head.draft"), *self._rule_lines(), self.head("head.anew")]
        first = paragraph(self.sheet, self.head("head.title"), width=width, size=self.paper.body, most=2, bold=True)
        rest = [paragraph(self.sheet, line, width=width, size=self.paper.small, most=6) for line in lines if line]
        return _framed(self.sheet, stack([first, *rest], gap=self.paper.small // 2), pad=pad)

    def _rule_lines(self) -> tuple[str, ...]:
        if not self.n.rule_name:
            return (self.head("head.no_rule"),)
        ahead = self.n.may_be_given_from
        early = self.head("head.early", day=say_date(ahead, language=self.n.shop_language)) if ahead else ""
        return (self.head("head.form", rule=self.n.rule_name, form=self.n.rule_form), early)

    def _letter(self) -> list[Block]:
        return [
            stack([self._text(line, most=2) for line in (self.n.shop_name, *self.n.shop_lines[:4])], gap=0),
            stack([self._text(line, most=2) for line in self._addressee()], gap=self.paper.small // 3),
            self._text(self._day(self.n.today)),
            self._text(self.said("letter.subject", device=self.n.device, number=self.n.number), most=3, bold=True),
            *(self._text(line) for line in self._sentences()),
            self._ruled(),
            stack(
                [self._text(self.said("letter.regards")), self._text(self.n.shop_name, most=2)], gap=self.paper.body * 2
            ),
        ]

    def _addressee(self) -> tuple[str, ...]:
        blank = "_" * 40
        return (self.n.person or blank, blank, blank)

    def _sentences(self) -> list[str]:
        n, w = self.n, self.said
        since = w("letter.ready" if n.repaired else "letter.ready_unrepaired", day=self._day(n.ready_on))
        place = ", ".join((n.shop_name, *n.shop_lines))
        collect = w("letter.collect_by", day=self._day(n.collect_by)) if n.collect_by else w("letter.collect_blank")
        return [
            w("letter.hello", name=n.person) if n.person else w("letter.hello_nobody"),
            w("letter.brought", day=self._day(n.handed_in), device=n.device, number=n.number) + " " + since,
            w("letter.where", place=place) + " " + self._owed(),
            " ".join(load_words(self.templates, n.language).caution_lines(n.safety)),
            collect + " " + w("letter.others"),
            w("letter.reach", ways=w("letter.or").join(way for way in (n.shop_phone, n.shop_email) if way)),
        ]

    def _owed(self) -> str:
        if self.n.owed is None:
            return self.said("letter.owed_blank")
        return self.said("letter.owed", amount=self.n.owed) if self.n.is_owed else self.said("letter.nothing_owed")

    def _ruled(self) -> Block:
        """Blank lines; the law's own wording may have to stand there, in the hand of whoever checked it."""
        title = paragraph(
            self.sheet, self.said("letter.room"), width=self.paper.printable, size=self.paper.small, most=2
        )
        step = round(line_height(self.paper.body) * 1.3)

        def draw(x: int, y: int) -> None:
            title.draw(x, y)
            for number in range(1, _RULED + 1):
                self.sheet.box(x, y + title.height + step * number, self.paper.printable, 2)

        return Block(self.paper.printable, title.height + step * _RULED + 2, draw)


def _framed(sheet: Sheet, inner: Block, *, pad: int) -> Block:
    """A block with a thin frame around it."""
    width, height = A4.printable, inner.height + 2 * pad

    def draw(x: int, y: int) -> None:
        sheet.outline([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], stroke=2)
        inner.draw(x + pad, y + pad)

    return Block(width, height, draw)
