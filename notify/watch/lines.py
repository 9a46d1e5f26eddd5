"""Lines of a watched file as its readers give them: what can be taken, what cannot, and why. Common to all readers."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from notify.config.settings import Watch
from notify.config.table import NEEDED_COLUMNS
from notify.core.sources import SourceTrouble, Trouble

LONGEST_CELL = 4_000  # characters
LONGEST_LINE = 65_536  # characters
MOST_LINES = 500_000  # of one file, as they stand in it
MOST_REFUSED = 1_000  # of one file: with more it is the file that is wrong, or what the settings say of it
HEADER_WITHIN = 20  # a title, a date or an empty line may stand above the names of the columns

# Signs that are no text: PostgreSQL keeps no NUL, and UTF-8 no half of a pair.
_NO_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")
# What a spreadsheet takes for a formula (OWASP ASVS 5.0.0, 1.2.10).
_ACTIVE = ("=", "+", "-", "@", "\t", "\r")
_GUARDED = tuple("'" + sign for sign in _ACTIVE)


@dataclass(frozen=True, slots=True)
class Line:
    """One line: its number as a person counts it (from 1), its cells by our words, or the `fault` that it has.

    `raw` is the whole line as it was read, cell by cell, for a person to correct.
    """

    number: int
    cells: dict[str, str] = field(default_factory=dict, repr=False)
    raw: tuple[str, ...] = field(default=(), repr=False)
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file that is being read: its header (none in JSON), the sign between its columns, its lines one by one."""

    header: tuple[str, ...]
    delimiter: str
    lines: Iterator[Line]


def wrong(what: str, advice: str) -> SourceTrouble:
    """A file that is not what the settings say."""
    return SourceTrouble(Trouble.WRONG_ANSWER, what, advice)


def too_large(what: str, advice: str) -> SourceTrouble:
    """A file that is larger than what is taken."""
    return SourceTrouble(Trouble.TOO_LARGE, what, advice)


def too_many() -> SourceTrouble:
    """More lines than are taken from one file."""
    return too_large(f"It has more than {MOST_LINES} lines", "Split it.")


def fault_of(cells: dict[str, str]) -> str:
    """Why cells cannot be taken for text; "" when they can."""
    for word, cell in cells.items():
        if len(cell) > LONGEST_CELL:
            return f"its {word} is longer than {LONGEST_CELL} characters"
        if _NO_TEXT.search(cell):
            return f"its {word} holds signs that are no text"
    return ""


def place(watch: Watch, header: Sequence[str]) -> dict[str, int]:
    """Our words and where their columns stand in a header; capitals and blanks do not matter. Empty: this is none."""
    names = [_plain(name) for name in header]
    found = {ours: names.index(_plain(theirs)) for ours, theirs in watch.columns if _plain(theirs) in names}
    missing = [ours for ours in NEEDED_COLUMNS[watch.about] if ours not in found]
    return {} if missing else found


def told_twice(watch: Watch, header: Sequence[str]) -> str:
    """A column that we want and that stands there twice, so that nobody knows which is meant; or ""."""
    names = [_plain(name) for name in header]
    return next((theirs for _, theirs in watch.columns if names.count(_plain(theirs)) > 1), "")


def no_header(watch: Watch) -> SourceTrouble:
    """None of the first lines has the columns of the settings."""
    needed = [theirs for ours, theirs in watch.columns if ours in NEEDED_COLUMNS[watch.about]]
    names = ", ".join(map(repr, needed or [theirs for _, theirs in watch.columns]))
    return wrong(
        f"None of its first {HEADER_WITHIN} lines has the columns {names}",
        f"Check the file and watch.{watch.name}.columns, .delimiter and .encoding.",
    )


def line_of(number: int, raw: tuple[str, ...], header: Sequence[str], places: dict[str, int]) -> Line | None:
    """One line under its header; None for an empty one, and for the header when it comes again."""
    if not any(raw) or (len(raw) == len(header) and raw == header):
        return None
    if len(raw) <= max(places.values()):
        return Line(number, raw=raw, fault=f"it has {len(raw)} columns where the header has {len(header)}")
    if any(cell.strip() for cell in raw[len(header) :]):
        return Line(number, raw=raw, fault=f"it has {len(raw)} columns where the header has {len(header)}")
    cells = {ours: unguarded(raw[at].strip()) for ours, at in places.items()}
    return Line(number, cells, raw, fault_of(cells))


def guarded(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula (ASVS 1.2.10)."""
    return "'" + cell if cell.startswith(_ACTIVE) else cell


def unguarded(cell: str) -> str:
    """A cell as it was before it was guarded, when a corrected line comes back."""
    return cell[1:] if cell.startswith(_GUARDED) else cell


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()
