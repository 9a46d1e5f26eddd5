"""The process that reads one workbook from its standard input and writes its rows as JSON lines, then "end".

A row is [its number, [its cells as text]]; a single word says what is wrong: "sheet", "locked", "broken". It lives
apart because a workbook of a few kilobytes can ask for terabytes: here that ends one process, not the service.
"""

from __future__ import annotations

import json
import resource
import sys
from collections.abc import Iterator
from typing import Any

from python_calamine import (
    CalamineError,
    CalamineSheet,
    CalamineWorkbook,
    PasswordError,
    SheetTypeEnum,
    SheetVisibleEnum,
    WorksheetNotFound,
)

from notify.watch.table_cells import text_of

MEMORY, SECONDS = 1 << 30, 120  # octets of address space, processor time
LONGEST = 4_001  # one more than a cell may have: it is refused there, and not kept whole here
_EXACT = 1e15  # up to here a workbook's numbers, which have 15 digits, are whole ones exactly


def main() -> None:
    """Writes the rows of the sheet named by the first argument; "" is the first that is not hidden."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    try:
        for row in _rows(_sheet(CalamineWorkbook.from_filelike(sys.stdin.buffer), sys.argv[1])):
            print(json.dumps(row))
        print('"end"')
    except WorksheetNotFound:
        print('"sheet"')
    except PasswordError:
        print('"locked"')
    except (CalamineError, MemoryError, OSError, ValueError):
        print('"broken"')


def _sheet(book: CalamineWorkbook, name: str) -> CalamineSheet:
    if name:
        return book.get_sheet_by_name(name)
    for one in book.sheets_metadata:
        if one.visible == SheetVisibleEnum.Visible and one.typ == SheetTypeEnum.WorkSheet:
            return book.get_sheet_by_name(one.name)
    raise WorksheetNotFound


def _rows(sheet: CalamineSheet) -> Iterator[tuple[int, list[str]]]:
    """Rows with their numbers as people count them; a cell that is merged downwards stands in each."""
    left = sheet.start[1] if sheet.start else 0
    merged = _downwards(sheet)
    held: dict[int, tuple[int, str]] = {}
    for at, row in enumerate(sheet.iter_rows()):
        cells = [""] * left + [seen(value)[:LONGEST] for value in row]
        for column, (last, text) in list(held.items()):
            if at > last:
                del held[column]
            elif column < len(cells):
                cells[column] = text
        for column, last in merged.get(at, {}).items():
            held[column] = (last, cells[column] if column < len(cells) else "")
        yield at + 1, cells


def _downwards(sheet: CalamineSheet) -> dict[int, dict[int, int]]:
    """first row -> column -> last row, of what is merged over several rows."""
    found: dict[int, dict[int, int]] = {}
    for (top, left), (bottom, _right) in sheet.merged_cell_ranges or ():
        if bottom > top:
            found.setdefault(top, {})[left] = bottom
    return found


def seen(value: Any) -> str:
    """A value as its sheet shows it, as far as that can be told: numbers have at most 15 digits there."""
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < _EXACT else format(value, ".15g")
    return text_of(value)


if __name__ == "__main__":
    main()
