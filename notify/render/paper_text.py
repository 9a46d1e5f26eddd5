"""Make any text fit for paper: known letters only, wrapped, cut with an ellipsis, in visual order."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Container, Sequence

# What a font cannot show is printed as this box, so that a reader sees that something is missing.
MISSING = "▯"
ELLIPSIS = "…"
# More than any block on any paper can show; what lies beyond is never looked at.
LONGEST = 2000
# Every blank but the two that hold words together (U+00A0, U+202F): prices and phone numbers use them.
_BLANKS = re.compile("(?:(?![\u00a0\u202f])\\s)+")
_DROPPED = frozenset({"Mn", "Me", "Cf"})
_NUMBER_GAP = re.compile(r"(?<=\d) (?=\S{1,12}(?:\s|$))|(?<=\d\.) (?=\S{1,12}(?:\s|$))")
_RIGHT_TO_LEFT = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]")
_MIRRORED = dict(zip("()[]{}<>«»‹›", ")(][}{><»«›‹", strict=True))
_ARABIC = re.compile("[\u0620-\u06ff]")


def printable(text: str, *, known: Container[int]) -> str:
    """`text` in letters of the font (`known` code points), one space between words, at most 2000 letters.

    Joined marks, invisible signs and line breaks go; letters that the font lacks become a box each.
    """
    cut = text[:LONGEST] + (ELLIPSIS if len(text) > LONGEST else "")
    composed = _BLANKS.sub(" ", unicodedata.normalize("NFC", _no_controls(cut))).strip()
    joined = join_arabic(composed) if _ARABIC.search(composed) else composed
    kept = (letter for letter in joined if unicodedata.category(letter) not in _DROPPED)
    return "".join(letter if ord(letter) in known else MISSING for letter in kept)


def _no_controls(text: str) -> str:
    return "".join(" " if unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") else letter for letter in text)


def wrap(text: str, *, width: float, advance: Callable[[str], float], most: int) -> tuple[str, ...]:
    """At most `most` lines, none wider than `width`; `advance` gives the width of one letter.

    Words longer than a line are broken; what does not fit is cut and the last line ends in an ellipsis.
    """
    lines: list[str] = []
    line, used = "", 0.0
    for piece in _pieces(text, width=width, advance=advance):
        wide = sum(map(advance, piece))
        gap = advance(" ") if line else 0.0
        if line and used + gap + wide > width:
            lines.append(line)
            line, used, gap = "", 0.0, 0.0
        if len(lines) > most:
            break
        line, used = f"{line} {piece}" if line else piece, used + gap + wide
    lines.append(line)
    lines = [each for each in lines if each]
    if len(lines) <= most:
        return tuple(lines)
    return (*lines[: most - 1], _cut(lines[most - 1], width=width, advance=advance))


def balanced(text: str, *, width: float, advance: Callable[[str], float], most: int) -> tuple[str, ...]:
    """As `wrap`, in the same number of lines but of nearly equal length, so that no word stands alone."""
    best = wrap(text, width=width, advance=advance, most=most)
    if len(best) < 2 or best[-1].endswith(ELLIPSIS):
        return best
    # Never tighter than the longest word, or it would be broken.
    widest = max(sum(map(advance, word)) for word in text.split(" "))
    for percent in range(96, 50, -4):
        tight = width * percent / 100
        tighter = wrap(text, width=tight, advance=advance, most=most + 1)
        if tight < widest or len(tighter) > len(best):
            break
        best = tighter
    return best


def _pieces(text: str, *, width: float, advance: Callable[[str], float]) -> list[str]:
    """The words of `text`, those wider than a line broken into parts that are not."""
    pieces: list[str] = []
    for word in filter(None, text.split(" ")):
        part, used = "", 0.0
        for letter in word:
            wide = advance(letter)
            if part and used + wide > width:
                pieces.append(part)
                part, used = "", 0.0
            part, used = part + letter, used + wide
        pieces.append(part)
    return pieces


def _cut(line: str, *, width: float, advance: Callable[[str], float]) -> str:
    room = width - advance(ELLIPSIS)
    while line and sum(map(advance, line)) > room:
        line = line[:-1]
    return line.rstrip() + ELLIPSIS


def capped(lines: Sequence[str], *, most: int) -> tuple[str, ...]:
    """At most `most` lines; the last one then says how many are missing."""
    if len(lines) <= most:
        return tuple(lines)
    return (*lines[: most - 1], f"{ELLIPSIS} +{len(lines) - most + 1}")


def glued(text: str) -> str:
    """Numbers held to the word after them ("26 November", "48,00 €", "11:30 Uhr") by no-break spaces."""
    return _NUMBER_GAP.sub("\u00a0", text[:LONGEST])


def visual(line: str) -> str:
    """`line` in the order in which its letters stand on paper from left to right (Unicode UAX #9)."""
    if not _RIGHT_TO_LEFT.search(line):
        return line
    from fpdf.bidi import BidiParagraph  # loaded only for the rare line that needs it
    from fpdf.enums import TextDirection

    letters = BidiParagraph(text=line, base_direction=TextDirection.LTR).get_reordered_characters()
    return "".join(_facing(letter.character, level=letter.embedding_level) for letter in letters)


def _facing(letter: str, *, level: int) -> str:
    """The letter, or its mirror image in a right-to-left run (UAX #9, L4: odd levels)."""
    return _MIRRORED.get(letter, letter) if level % 2 else letter


def join_arabic(text: str) -> str:
    """Arabic letters in the joined shapes of Unicode's presentation forms; the rest as it is."""
    bare = "".join(letter for letter in text if unicodedata.category(letter) != "Mn")
    shapes = _arabic_shapes()
    bare = bare.replace("\u0644\u0627", "\ufefb")  # lam and alef are always written as one
    out = []
    for at, letter in enumerate(bare):
        before = bare[at - 1] if at else ""
        after = bare[at + 1 : at + 2]
        own = shapes.get(letter, {})
        from_before = "initial" in shapes.get(before, {}) and "final" in own
        to_after = "initial" in own and "final" in shapes.get(after, {})
        out.append(own.get(_SHAPE[from_before, to_after], letter))
    return "".join(out)


_SHAPE = {
    (False, False): "isolated", (False, True): "initial", (True, False): "final", (True, True): "medial",
}  # fmt: skip


def _arabic_shapes() -> dict[str, dict[str, str]]:
    """Letter -> shape name -> shape, read from the Unicode data that Python carries."""
    shapes: dict[str, dict[str, str]] = {"\ufefb": {"isolated": "\ufefb", "final": "\ufefc"}}
    for code in (*range(0xFB50, 0xFC00), *range(0xFE80, 0xFEF5)):
        kind, _, base = unicodedata.decomposition(chr(code)).partition(" ")
        if len(base) == 4:
            shapes.setdefault(chr(int(base, 16)), {})[kind.strip("<>")] = chr(code)
    return shapes
