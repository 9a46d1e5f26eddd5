"""Reads a sheet of an XLSX workbook in a process of its own, which ends when it wants too much memory or time."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from typing import Any, BinaryIO

from notify.config.settings import Watch
from notify.core.sources import SourceTrouble
from notify.watch.lines import (
    HEADER_WITHIN,
    MOST_LINES,
    Line,
    Sheet,
    line_of,
    no_header,
    place,
    told_twice,
    too_many,
    wrong,
)
from notify.watch.zip_checks import check_sizes

UNPACKED = 6  # so many times the largest file may a workbook unpack to; XML is wordy

_Row = tuple[int, tuple[str, ...]]


def open_workbook(file: BinaryIO, watch: Watch, *, limit_bytes: int) -> Sheet:
    """Reads a workbook of which the header was found. Raises SourceTrouble when it is no such workbook at all."""
    file.seek(0)
    if file.read(4) != b"PK\x03\x04":
        raise wrong("It is no XLSX workbook, or one with a password", "Save it as XLSX, without a password.")
    check_sizes(file, most_octets=UNPACKED * limit_bytes)
    rows = _rows(file, watch)
    header = _header(rows, watch)
    return Sheet(header, ",", _lines(rows, header, place(watch, header)))


def _header(rows: Iterator[_Row], watch: Watch) -> tuple[str, ...]:
    for number, cells in rows:
        if place(watch, cells):
            if twice := told_twice(watch, cells):
                raise wrong(f"It has the column {twice!r} twice", "Give one of the two another name.")
            return cells
        if number >= HEADER_WITHIN:
            break
    raise no_header(watch)


def _lines(rows: Iterator[_Row], header: tuple[str, ...], places: dict[str, int]) -> Iterator[Line]:
    for number, cells in rows:
        if line := line_of(number, cells, header, places):
            yield line


def _rows(file: BinaryIO, watch: Watch) -> Iterator[_Row]:
    """Row by row from the other process; it ends with us, however we end, because nobody reads its pipe any more."""
    os.lseek(file.fileno(), 0, os.SEEK_SET)  # for the other process, which does not see our buffer
    command = [sys.executable, "-I", "-m", "notify.watch.workbook_child", watch.sheet]
    with subprocess.Popen(command, stdin=file, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as child:
        try:
            yield from _told(child, watch)
        finally:
            child.kill()


def _told(child: subprocess.Popen[bytes], watch: Watch) -> Iterator[_Row]:
    whole = False
    for count, text in enumerate(child.stdout or ()):
        told: Any = json.loads(text)
        if isinstance(told, str):
            whole = told == "end"
            if not whole:
                raise _trouble(told, watch)
            break
        if count > MOST_LINES:
            raise too_many()
        yield told[0], tuple(told[1])
    if not whole:
        raise _trouble("broken", watch)


def _trouble(word: str, watch: Watch) -> SourceTrouble:
    if word == "sheet":
        return wrong("It has no such sheet", f"Correct watch.{watch.name}.sheet, or leave it empty for the first.")
    if word == "locked":
        return wrong("It is locked with a password", "Save it without one.")
    return wrong("It is no workbook that can be read", "Save it again as XLSX, or as CSV.")
