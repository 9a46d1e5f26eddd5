"""Reads CSV as it is found: RFC 4180, and the ways in which programs depart from it. One bad quote costs one line."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from notify.config.settings import Watch
from notify.watch.encodings import encoding_of
from notify.watch.lines import HEADER_WITHIN, Line, Sheet, line_of, no_header, place, told_twice, wrong
from notify.watch.text_lines import TextLines

DELIMITERS = (",", ";", "\t", "|")
MOST_OF_A_CELL = 32  # lines that one line with quotes may go over: a quote that nobody closed swallows no more


@dataclass(frozen=True, slots=True)
class _Record:
    """One record: the number of its first line, its cells, and what is wrong with its quotes."""

    number: int
    cells: tuple[str, ...]
    fault: str = ""


def open_csv(file: BinaryIO, watch: Watch) -> Sheet:
    """Reads a file of which the header was found. Raises SourceTrouble when it is not such a file at all."""
    encoding = encoding_of(file, watch)
    delimiter, header, after = _header(file, watch, encoding)
    lines = TextLines(file, encoding)
    for _ in range(after):
        lines.next_line()
    return Sheet(header, delimiter, _lines(lines, delimiter, header, place(watch, header)))


def _header(file: BinaryIO, watch: Watch, encoding: str) -> tuple[str, tuple[str, ...], int]:
    """(sign between columns, header, lines up to its end): the one under which most of our columns are found.

    So the sign is not guessed from how often it stands somewhere, but told by names that the settings know.
    """
    signs = DELIMITERS if watch.delimiter == "auto" else (watch.delimiter,)
    found = [one for sign in signs if (one := _under(file, watch, encoding, sign))]
    if not found:
        raise no_header(watch)
    delimiter, header, after = max(found, key=lambda one: len(place(watch, one[1])))
    if twice := told_twice(watch, header):
        raise wrong(f"It has the column {twice!r} twice", "Give one of the two another name.")
    return delimiter, header, after


def _under(file: BinaryIO, watch: Watch, encoding: str, sign: str) -> tuple[str, tuple[str, ...], int] | None:
    lines = TextLines(file, encoding)
    while lines.number < HEADER_WITHIN and (record := _next(lines, sign)) is not None:
        header = tuple(cell.strip() for cell in record.cells)
        if place(watch, header):
            return sign, header, lines.number
    return None


def _lines(lines: TextLines, delimiter: str, header: tuple[str, ...], places: dict[str, int]) -> Iterator[Line]:
    while (record := _next(lines, delimiter)) is not None:
        if record.fault:
            yield Line(record.number, raw=record.cells, fault=record.fault)
        elif line := line_of(record.number, record.cells, header, places):
            yield line


def _next(lines: TextLines, delimiter: str) -> _Record | None:
    first = lines.next_line()
    if not first:
        return None
    number = lines.number
    if number in lines.cut:
        return _Record(number, (first.rstrip("\r\n"),), "it is longer than a line may be")
    if '"' not in first:  # exactly what the module csv makes of it, four times as fast
        return _Record(number, tuple(cell.strip() for cell in first.rstrip("\r\n").split(delimiter)))
    return _quoted(lines, first, number, delimiter)


def _quoted(lines: TextLines, first: str, number: int, delimiter: str) -> _Record:
    """A line with quotes, which may go on over others. If its quotes do not match, only it is lost, not those."""
    used: list[str] = []
    reader = csv.reader(_feed(lines, first, used), delimiter=delimiter, strict=True, skipinitialspace=True)
    try:
        return _Record(number, tuple(cell.strip() for cell in next(reader)))
    except (csv.Error, StopIteration):
        lines.give_back(used)
        lenient = next(csv.reader([first.replace('"', "")], delimiter=delimiter), [])
        return _Record(number, tuple(lenient), "its quotes do not match")


def _feed(lines: TextLines, first: str, used: list[str]) -> Iterator[str]:
    yield first
    while len(used) < MOST_OF_A_CELL and (line := lines.next_line()):
        used.append(line)
        yield line
