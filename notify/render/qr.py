"""Turn a text into a QR code: its modules, and a small SVG of them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from xml.sax.saxutils import escape

import qrcode
from qrcode.constants import ERROR_CORRECT_H, ERROR_CORRECT_Q
from qrcode.exceptions import DataOverflowError

from notify.core.errors import Invalid

# ISO/IEC 18004: a quiet zone of 4 modules on every side of a QR code.
QUIET = 4
# Below 3 dots (0.375 mm at 203 dpi) phones miss worn thermal prints; common practice, no source.
FEWEST_DOTS = 3
STURDY_DOTS = 4
# At level H versions 4 and 5 have short blocks (ISO/IEC 18004, table of error correction: 8 and 11 codewords
# repaired in each of 4): measured with blots over 7 % of the code they fail two to five times as often as 6.
WEAK_VERSIONS = frozenset({4, 5})
# ISO/IEC 18004: no code at level Q holds more (version 40, digits only).
LONGEST = 3993
_LEVELS = {"Q": ERROR_CORRECT_Q, "H": ERROR_CORRECT_H}
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True, slots=True)
class Symbol:
    """The dark modules of one QR code, without the quiet zone; rows of equal length, top first."""

    rows: tuple[tuple[bool, ...], ...]
    level: str

    @property
    def across(self) -> int:
        """Modules from edge to edge, quiet zone included."""
        return len(self.rows) + 2 * QUIET

    @property
    def version(self) -> int:
        """Version of ISO/IEC 18004, 1 to 40."""
        return (len(self.rows) - 17) // 4


def symbol(text: str, *, level: str = "Q", least: int = 1) -> Symbol:
    """The smallest QR code of `text`, of version `least` at least (4 x version + 17 modules).

    Error level "Q" repairs about 25 %, "H" about 30 % of the codewords. A pure function, some 10 ms:
    a caller that shows the same code often may keep the result.
    Raises Invalid for an empty text and for one that no QR code can hold.
    """
    if len(text) > LONGEST:
        raise _too_long(text)
    if not text:
        raise Invalid("the QR code has nothing to say", "Give it a link or a number.", field="qr_text")
    code = qrcode.QRCode(version=least, error_correction=_LEVELS[level], border=0)
    code.add_data(text)
    try:
        code.make(fit=True)
    except (DataOverflowError, ValueError) as error:  # ValueError: the library's own version check
        raise _too_long(text) from error
    return Symbol(tuple(tuple(bool(dark) for dark in row) for row in code.get_matrix()), level)


def fitting_symbol(text: str, *, width: int, most: int, least: int) -> tuple[Symbol, int]:
    """The sturdiest QR code for `width` printer dots, and its whole dots per module (`most` at most).

    Level H wins unless it costs dots per module below 4 (0.5 mm). Raises Invalid if not even level Q
    fits with 3 dots.
    """
    found = []
    for code in _candidates(text, least=least):
        dots = min(most, width // code.across)
        if dots >= min(most, STURDY_DOTS):
            return code, dots
        found.append((code, dots))
    code, dots = max(found, key=lambda pair: pair[1])
    if dots < FEWEST_DOTS:
        raise _too_long(text)
    return code, dots


def _candidates(text: str, *, least: int) -> Iterator[Symbol]:
    """Level H first, if the text is short enough for it, then Q."""
    with suppress(Invalid):
        sturdy = symbol(text, level="H", least=least)
        if sturdy.version in WEAK_VERSIONS:
            sturdy = symbol(text, level="H", least=max(WEAK_VERSIONS) + 1)
        yield sturdy
    yield symbol(text, level="Q")


def runs(code: Symbol) -> Iterator[tuple[int, int, int]]:
    """Dark stretches as (column, row, length) in modules, counted from the corner of the quiet zone."""
    for y, row in enumerate(code.rows):
        start = None
        for x, dark in enumerate((*row, False)):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                yield start + QUIET, y + QUIET, x - start
                start = None


def qr_svg(text: str, *, title: str = "QR code") -> str:
    """The QR code as one SVG element for a page: one path, quiet zone included, no style, no script.

    `title` is what a screen reader says; it must not repeat the secret in `text`.
    """
    code = symbol(text)
    path = "".join(f"M{x} {y}h{length}v1h-{length}z" for x, y, length in runs(code))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {code.across} {code.across}" role="img"'
        f' shape-rendering="crispEdges"><title>{escape(_NOT_XML.sub("", title))}</title>'
        f'<path fill="#fff" d="M0 0h{code.across}v{code.across}H0z"/><path fill="#000" d="{path}"/></svg>'
    )


def _too_long(text: str) -> Invalid:
    what = f"the text of the QR code is too long for this paper ({len(text)} characters)"
    return Invalid(what, "Use a shorter public address.", field="qr_text")
