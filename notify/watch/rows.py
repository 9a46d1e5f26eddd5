"""Reads a CSV file of ticket changes into rows, each with its line number; says what it cannot read."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field

from notify.config.settings import Watch
from notify.core.errors import Invalid

MAX_ROWS = 20_000
MAX_CELL = 4_000


@dataclass(frozen=True, slots=True)
class Row:
    """One data line: its number in the file (the header is 1), our column names and their texts, the line as read."""

    line: int
    cells: dict[str, str]
    raw: tuple[str, ...] = field(default=(), repr=False)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file as read: its header, the rows that could be read, and (line, reason) of those that could not."""

    header: tuple[str, ...]
    rows: tuple[Row, ...]
    refused: tuple[tuple[int, str, tuple[str, ...]], ...]


def read_sheet(data: bytes, watch: Watch) -> Sheet:
    """Parses a whole file. Raises Invalid when it is not such a file at all (encoding, header, too many lines)."""
    text = _decode(data, watch)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=watch.delimiter, strict=True)
    header = _header(reader, watch)
    wanted = {ours: header.index(theirs) for ours, theirs in watch.columns if theirs in header}
    rows: list[Row] = []
    refused: list[tuple[int, str, tuple[str, ...]]] = []
    while (read := _next(reader)) is not None:
        line, cells, fault = read
        if len(rows) + len(refused) >= MAX_ROWS:
            raise Invalid(f"The file has more than {MAX_ROWS} lines", "Split it.")
        fault = fault or _fault(cells, header)
        if fault:
            refused.append((line, fault, cells))
        elif any(cell.strip() for cell in cells):
            rows.append(Row(line, {ours: cells[at].strip() for ours, at in wanted.items()}, cells))
    return Sheet(header, tuple(rows), tuple(refused))


def _decode(data: bytes, watch: Watch) -> str:
    try:
        text = data.decode("utf-8-sig" if watch.encoding.lower().replace("_", "-") == "utf-8" else watch.encoding)
    except UnicodeDecodeError:
        raise Invalid(
            f"The file is not text in {watch.encoding}", f"Save it so, or correct watch.{watch.name}.encoding."
        ) from None
    if "\0" in text:
        raise Invalid("The file is no CSV text", "Export it as CSV, not as a workbook.")
    return text


def _header(reader: object, watch: Watch) -> tuple[str, ...]:
    first = _next(reader)
    header = tuple(cell.strip() for cell in first[1]) if first else ()
    needed = [theirs for ours, theirs in watch.columns if ours in ("reference", "phase")]
    missing = [name for name in needed if name not in header]
    if missing:
        raise Invalid(
            f"The first line lacks the column {missing[0]!r}",
            f"Check the file and watch.{watch.name}.columns and .delimiter.",
        )
    return header


def _next(reader: object) -> tuple[int, tuple[str, ...], str] | None:
    """The next line as (number, cells, fault); None at the end."""
    try:
        cells = next(reader)  # type: ignore[call-overload]
    except StopIteration:
        return None
    except csv.Error:
        return reader.line_num, (), "the quotes of this line do not match"  # type: ignore[attr-defined]
    return reader.line_num, tuple(cells), ""  # type: ignore[attr-defined]


def _fault(cells: tuple[str, ...], header: tuple[str, ...]) -> str:
    if cells and len(cells) != len(header):
        return f"it has {len(cells)} columns where the first line has {len(header)}"
    if any(len(cell) > MAX_CELL for cell in cells):
        return f"a cell is longer than {MAX_CELL} characters"
    return ""
