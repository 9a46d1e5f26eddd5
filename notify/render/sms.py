"""Counts and splits a text message as it goes on the air, tidies dear typography, and chooses a text that fits."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from itertools import accumulate

from notify.core.errors import Misconfigured

# 3GPP TS 23.038 6.2.1, in code order without 0x1B (escape), and its extension table 6.2.1.1.
BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENSION = frozenset("\f^{}\\[~]|€")

# 3GPP TS 23.040 9.2.3.24.1: a single message; each part of a longer one, its reference 8 or 16 bits wide.
SINGLE = {"GSM-7": 160, "UCS-2": 70}
PART = {"GSM-7": 153, "UCS-2": 67}
PART_WIDE = {"GSM-7": 152, "UCS-2": 66}
MOST_PARTS = 255
_LINK = re.compile(r"https?://\S+")

_FOLDED = str.maketrans(
    dict.fromkeys("\t\u00a0\u2002\u2003\u2007\u2009\u200a\u202f", " ")
    | dict.fromkeys("\u2018\u2019\u201a\u201b\u2032\u00b4`", "'")
    | dict.fromkeys("\u201c\u201d\u201e\u2033\u00ab\u00bb", '"')
    | dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212\u2022", "-")
    | dict.fromkeys("\u200b\ufeff\u00ad\u2060", "")
    | {"\u2026": "..."}
)


@dataclass(frozen=True, slots=True)
class Count:
    """What a text costs; units, in all and of each part, are septets (GSM-7) or 16-bit code units (UCS-2).

    `first_offending` is the first character that forced UCS-2, or None. A gateway may choose otherwise, so
    this is an estimate.
    """

    encoding: str
    units: int
    parts: int
    first_offending: str | None
    part_units: tuple[int, ...]

    @property
    def room(self) -> int:
        """The units that so many parts hold, filled to the last."""
        return SINGLE[self.encoding] if self.parts == 1 else PART[self.encoding] * self.parts

    @property
    def sendable(self) -> bool:
        """False when one message cannot number its parts any more (one octet: TS 23.040 9.2.3.24.1)."""
        return self.parts <= MOST_PARTS


def count(text: str, *, wide_reference: bool = False) -> Count:
    """Count `text` as it stands (call `tidy` first to spare units).

    A pair (an escape with its character, or two surrogates) moves whole to the next part, so that the number
    of parts is not always units divided by the part's size (TS 23.040 9.2.3.24.1).
    """
    offending = next((c for c in text if c not in BASIC and c not in EXTENSION), None)
    encoding = "GSM-7" if offending is None else "UCS-2"
    costs = [_cost(character, encoding) for character in text]
    units = sum(costs)
    filled: tuple[int, ...] = (units,)
    if units > SINGLE[encoding]:
        filled = _fill(costs, (PART_WIDE if wide_reference else PART)[encoding])
    return Count(encoding, units, len(filled), offending, filled)


def split(text: str, *, wide_reference: bool = False) -> tuple[str, ...]:
    """The text of each part, filled one after the other; a pair is never taken apart (TS 23.040 9.2.3.24.1)."""
    counted = count(text, wide_reference=wide_reference)
    parts, rest = [], text
    for units in counted.part_units:
        length = _characters(rest, units, counted.encoding)
        parts.append(rest[:length])
        rest = rest[length:]
    return tuple(parts)


def links_are_whole(text: str) -> bool:
    """Whether each link stands in one part: where a part is late or lost, half a link would lead nowhere.

    A gateway may number the parts with 8 or with 16 bits, so it must be true of both.
    """
    return _cut_link(text, wide=False) is None and _cut_link(text, wide=True) is None


def fit(text: str, short: Callable[[], str], most: int, *, name: str) -> str:
    """`text` when it takes at most `most` parts and cuts no link, else the shorter one; never a cut text.

    Before a link that even the short text would cut stand as many spaces as bring it to the next part. Raises
    Misconfigured, naming the text, when that is too long as well.
    """
    if _fits(text, most):
        return text
    shorter = tidy(short())
    for one in (shorter, _link_pushed(shorter)):
        if one and _fits(one, most):
            return one
    raise Misconfigured(
        f"The text {name} does not fit into {most} text messages with its link in one piece",
        "Shorten sms_short.txt beside it or the shop's name, or raise limits.sms_parts.",
        field="limits.sms_parts",
    )


def tidy(text: str) -> str:
    """`text` composed (NFC), with line ends as LF and typographic characters as their plain ones.

    Only characters whose plain form reads the same are replaced; letters are never changed.
    """
    composed = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n"))
    return composed.translate(_FOLDED)


def _cost(character: str, encoding: str) -> int:
    if encoding == "GSM-7":
        return 2 if character in EXTENSION else 1
    return 2 if ord(character) > 0xFFFF else 1


def _fits(text: str, most: int) -> bool:
    parts = count(text).parts
    return parts == 1 or (parts <= most and links_are_whole(text))


def _characters(text: str, units: int, encoding: str) -> int:
    """How many characters at the beginning of `text` cost `units`."""
    spent = accumulate(_cost(character, encoding) for character in text)
    return sum(1 for so_far in spent if so_far <= units)


def _cut_link(text: str, *, wide: bool) -> tuple[int, int] | None:
    """(start of the first link that a border runs through, that border) in characters, or None."""
    borders = list(accumulate(map(len, split(text, wide_reference=wide))))[:-1]
    cut = ((link.start(), border) for link in _LINK.finditer(text) for border in borders)
    return next(((start, border) for start, border in cut if _inside(text, start, border)), None)


def _inside(text: str, start: int, border: int) -> bool:
    link = _LINK.match(text, start)
    return link is not None and start < border < link.end()


def _link_pushed(text: str) -> str:
    """`text` with spaces before a cut link, so that it begins the next part however the parts are numbered."""
    for wide in (False, True, False):  # what suits the one kind of reference may not suit the other
        found = _cut_link(text, wide=wide)
        if found is not None:
            start, border = found
            encoding = count(text).encoding
            room = sum(_cost(character, encoding) for character in text[start:border])
            text = f"{text[:start]}{' ' * room}{text[start:]}"
    return text


def _fill(costs: list[int], room: int) -> tuple[int, ...]:
    filled = [0]
    for cost in costs:
        if filled[-1] + cost > room:
            filled.append(0)
        filled[-1] += cost
    return tuple(filled)
