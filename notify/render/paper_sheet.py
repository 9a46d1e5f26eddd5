"""A PDF measured in printer dots: letters, shapes and QR codes at whole dots."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Self

from notify.core.errors import Misconfigured
from notify.render.paper import DOTS_PER_INCH
from notify.render.paper_text import balanced, printable, visual, wrap
from notify.render.qr import Symbol, runs

if TYPE_CHECKING:
    from fpdf import FPDF

_POINTS_PER_DOT = 72 / DOTS_PER_INCH
_FAMILY = "paper"
_FACES = (("", "DejaVuSansCondensed.ttf"), ("B", "DejaVuSansCondensed-Bold.ttf"))
# In dots; more than twice the rounding of a coordinate (0.005 points are 0.014 dots).
_HAIR = 0.05
# Of one em: where the letters stand in a line, and how far lines are apart.
_BASELINE = 0.93
_LINE = 1.22


class Sheet:
    """One document being drawn; all lengths are dots of 25.4/203 mm, counted from the top left corner.

    The same calls give the same bytes: the only clock is `made_at`. Use it in a `with` block.
    """

    def __init__(self, templates: Path, *, title: str, language: str, made_at: datetime) -> None:
        from fpdf import (
            FPDF,
        )  # loaded with the first print: it brings some 25 MB that a mailing process never needs

        self._pdf: FPDF = FPDF(unit=_POINTS_PER_DOT, format=(100, 100))
        self._pdf.set_auto_page_break(False)
        self._pdf.set_creation_date(made_at)
        self._pdf.set_lang(language)
        self._load_faces(templates / "fonts")
        self._pdf.set_font(_FAMILY, size=72)
        self._known = frozenset(self._pdf.fonts[_FAMILY].cmap)
        self._pdf.set_title(self.clean(title))
        self._advances: dict[tuple[str, bool], float] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Close the font files, which the PDF library reads from until the end."""
        self._close_faces()

    def _close_faces(self) -> None:
        for face in self._pdf.fonts.values():
            face.ttfont.close()

    def _load_faces(self, folder: Path) -> None:
        for style, name in _FACES:
            try:
                self._pdf.add_font(_FAMILY, style=style, fname=folder / name)
            except FileNotFoundError:
                self._close_faces()
                advice = "Put templates/fonts back; printing needs both."
                raise Misconfigured(f"the font file {name} is missing", advice) from None

    def add_page(self, width: int, height: int) -> None:
        """A new page of whole dots; the PDF holds hundredths of a point, so it is cut down to one.

        (Rounded up, a renderer that counts whole dots would add one and stretch every module by it.)
        """
        points = [math.floor(side * _POINTS_PER_DOT * 100) / 100 for side in (width, height)]
        self._pdf.add_page(format=(points[0] / _POINTS_PER_DOT, points[1] / _POINTS_PER_DOT))

    def advance(self, letter: str, *, bold: bool = False) -> float:
        """Width of one letter in em; letters are set without kerning, so widths add up."""
        key = (letter, bold)
        if key not in self._advances:
            self._pdf.set_font(_FAMILY, style="B" if bold else "", size=72)
            self._advances[key] = self._pdf.get_string_width(letter) * _POINTS_PER_DOT / 72
        return self._advances[key]

    def width_of(self, text: str, size: float, *, bold: bool = False) -> float:
        """Dots that `text` takes in a line of `size` dots."""
        return size * sum(self.advance(letter, bold=bold) for letter in text)

    def clean(self, text: str) -> str:
        """`text` in letters that this sheet can show, see paper_text.printable."""
        return printable(text, known=self._known)

    def lines(self, text: str, *, size: float, width: float, most: int, bold: bool = False) -> tuple[str, ...]:
        """`text` as at most `most` lines ready for `write`; what does not fit ends in an ellipsis."""

        def advance(letter: str) -> float:
            return size * self.advance(letter, bold=bold)

        # Bold texts are the ones read from afar: their lines are kept of equal length.
        broken = (balanced if bold else wrap)(self.clean(text), width=width, advance=advance, most=most)
        return tuple(map(visual, broken))

    def write(
        self,
        lines: Sequence[str],
        x: float,
        y: float,
        *,
        size: float,
        bold: bool = False,
        white: bool = False,
    ) -> None:
        """Lines below each other, the first one's top at `y`; `white` for letters on black."""
        self._pdf.set_font(_FAMILY, style="B" if bold else "", size=size * _POINTS_PER_DOT)
        self._pdf.set_text_color(255 if white else 0)
        self._pdf.set_fill_color(0)
        for number, line in enumerate(lines):
            self._pdf.text(x, y + size * (_BASELINE + _LINE * number), line)

    def box(self, x: float, y: float, width: float, height: float) -> None:
        """A black rectangle that blackens exactly its own dots.

        ISO 32000 (scan conversion) paints every dot that a shape touches, and the PDF rounds to hundredths
        of a point: without the hair of white around it a box would grow by a dot at some edges.
        """
        self._pdf.set_fill_color(0)
        self._pdf.rect(x + _HAIR, y + _HAIR, width - 2 * _HAIR, height - 2 * _HAIR, style="F")

    def outline(self, corners: Sequence[tuple[float, float]], *, stroke: float) -> None:
        """A closed line through the corners, `stroke` dots thick."""
        self._pdf.set_draw_color(0)
        self._pdf.set_line_width(stroke)
        self._pdf.polygon(corners, style="D")

    def filled(self, corners: Sequence[tuple[float, float]], *, white: bool = False) -> None:
        """A filled shape, black unless `white`."""
        self._pdf.set_fill_color(255 if white else 0)
        self._pdf.polygon(corners, style="F")

    def ring(self, x: float, y: float, radius: float, *, stroke: float) -> None:
        """A circle around (x, y), white inside."""
        self._pdf.set_draw_color(0)
        self._pdf.set_fill_color(255)
        self._pdf.set_line_width(stroke)
        self._pdf.circle(x, y, radius, style="DF")

    def qr(self, code: Symbol, x: int, y: int, *, dots: int) -> None:
        """A QR code, quiet zone included, its corner at (x, y): vector squares of `dots` whole dots."""
        for column, row, length in runs(code):
            self.box(x + column * dots, y + row * dots, length * dots, dots)

    def to_bytes(self) -> bytes:
        """The finished PDF."""
        return bytes(self._pdf.output())


def line_height(size: float) -> float:
    """Dots from one line to the next for letters of `size` dots."""
    return size * _LINE
