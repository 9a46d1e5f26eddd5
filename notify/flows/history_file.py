"""Reads a file of past jobs into lines; what cannot be read is refused with its line number, and the rest is taken."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from notify.core.errors import Invalid
from notify.core.history import ENDED, KIND, MINUTES, STARTED

LARGEST = 64 * 1024 * 1024  # octets
MOST_LINES = 1_000_000
_HEADER = 4096  # the longest first line, in characters
_DELIMITERS = ",;\t"
_MARKS = ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig"))


@dataclass(frozen=True, slots=True)
class Columns:
    """Where our columns stand in a line; either `minutes` or `started` is there. `width` is that of the first line."""

    kind: int
    ended: int
    minutes: int | None
    started: int | None
    width: int


def decode(data: bytes, encoding: str = "") -> str:
    """The text of a file: as its first octets or `encoding` say, else UTF-8, else Windows-1252. Raises Invalid."""
    if len(data) > LARGEST:
        raise Invalid(f"The file has more than {LARGEST >> 20} MB", "Split it.", field="file")
    marked = next((name for mark, name in _MARKS if data.startswith(mark)), "")
    for name in [encoding or marked] if encoding or marked else ["utf-8", "cp1252"]:
        try:
            return data.decode(name)
        except (UnicodeError, LookupError):
            continue
    raise Invalid("The file is no text that can be read", "Save it as CSV in UTF-8.", field="file")


def read(text: str) -> tuple[Columns, Iterator[tuple[int, Sequence[str] | str]]]:
    """Its columns, and (line number, cells or the reason why there are none) one after another. Raises Invalid."""
    first = io.StringIO(text, newline="").readline(_HEADER + 1)
    if len(first) > _HEADER:
        raise Invalid("The first line is too long to name columns", "Its first line names them.", field="file")
    delimiter, columns = _sniff(first)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    next(reader)
    return columns, _lines(reader, columns)


def _sniff(first: str) -> tuple[str, Columns]:
    """The delimiter by which the first line has our columns."""
    for delimiter in _DELIMITERS:
        try:
            header = next(csv.reader([first], delimiter=delimiter, strict=True), [])
        except csv.Error:
            continue
        names = [cell.strip().casefold() for cell in header]
        if KIND in names and ENDED in names and (MINUTES in names or STARTED in names):
            at = {name: names.index(name) if name in names else None for name in (KIND, ENDED, MINUTES, STARTED)}
            return delimiter, Columns(names.index(KIND), names.index(ENDED), at[MINUTES], at[STARTED], len(names))
    raise Invalid(
        "The first line does not name the columns",
        "It must name kind, ended, and minutes or started, with commas, semicolons or tabs between.", field="file",
    )  # fmt: skip


def _lines(reader: Iterator[list[str]], columns: Columns) -> Iterator[tuple[int, Sequence[str] | str]]:
    count = 0
    while True:
        number = reader.line_num + 1  # type: ignore[attr-defined]  # a line with line breaks in it is named by its first
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error:
            last = reader.line_num  # type: ignore[attr-defined]
            yield number, f"its quotes do not match, or a cell is too long{f' (up to line {last})' * (last > number)}"
            continue
        count += 1
        if count > MOST_LINES:
            raise Invalid(f"The file has more than {MOST_LINES:,} lines", "Split it.", field="file")
        if not cells or not any(cell.strip() for cell in cells):
            continue
        wide = f"it has {len(cells)} columns where the first line has {columns.width}"
        yield number, cells if len(cells) == columns.width else wide
