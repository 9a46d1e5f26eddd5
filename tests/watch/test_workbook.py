"""Workbooks as openpyxl writes them, an implementation that shares no code with the reader; and those that attack."""

from __future__ import annotations

import io
import struct
import time
import zipfile
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from notify.watch.workbook import open_workbook
from notify.watch.zip_checks import is_whole
from tests.parts.watched_folder import all_lines, cells, make_watch, refusal

pytestmark = pytest.mark.real  # each is read in a process of its own
COLUMNS = (("reference", "Job"), ("phase", "Where"), ("changed_at", "When"), ("price", "Cost"))
HEADER = ["Job", "Where", "When", "Cost"]


def book(*rows: list[Any], before: int = 0, **change: Any) -> bytes:
    made = openpyxl.Workbook()
    sheet = made.active
    for _ in range(before):
        sheet.append([])
    for row in (HEADER, *rows):
        sheet.append(row)
    for name, act in change.items():
        act(made) if name == "book" else act(sheet)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def read(data: bytes, folder: Path, **changed: Any) -> Any:
    watch = make_watch(folder, **({"columns": COLUMNS} | changed))
    return all_lines(open_workbook, data, watch, folder, limit_bytes=4_000_000)[1]


def refused(data: bytes, folder: Path, **changed: Any) -> str:
    watch = make_watch(folder, **({"columns": COLUMNS} | changed))
    return refusal(open_workbook, data, watch, folder, limit_bytes=4_000_000)


def test_cells_are_read_as_people_see_them(tmp_path: Path) -> None:
    lines = read(book(
        ["J-1", "done", datetime(2026, 11, 26, 11, 30), 12.5], [7700900123, True, date(2026, 11, 26), 0.1 + 0.2],
        [1.0, "#N/A", timedelta(hours=30), 10**14], ["J-4", None, None, "=1+1"], [], ["+44", "", "", 1e-7],
        before=2,
    ), tmp_path)  # fmt: skip
    assert cells(lines, "reference") == ["J-1", "7700900123", "1", "J-4", "+44"]
    assert cells(lines, "changed_at") == ["2026-11-26T11:30:00", "2026-11-26", "30:00:00", "", ""]
    assert cells(lines, "price") == ["12.5", "0.3", "100000000000000", "", "1e-07"]  # a formula never reckoned is empty
    assert [line.number for line in lines] == [4, 5, 6, 7, 9]


def test_hidden_sheets_and_merged_cells(tmp_path: Path) -> None:
    def hide(made: Any) -> None:
        made.active.sheet_state = "hidden"
        shown = made.create_sheet("Bench")
        for row in (HEADER, ["J-7", "done"], [None, "no luck"], ["J-9", "done"]):
            shown.append(row)
        shown.merge_cells("A2:A3")
        made.create_sheet("Notes").append(["x"])

    data = book(["J-1", "done"], book=hide)
    assert cells(read(data, tmp_path), "reference") == ["J-7", "J-7", "J-9"]
    assert cells(read(data, tmp_path, sheet="Sheet"), "reference") == ["J-1"]
    assert "no such sheet" in refused(data, tmp_path, sheet="Till")
    assert "columns" in refused(data, tmp_path, sheet="Notes")


def test_a_lone_cell_at_the_far_end_ends_one_process_and_is_refused(tmp_path: Path) -> None:
    began = time.monotonic()
    data = book(["J-1", "done"], sheet=lambda sheet: sheet.cell(1_048_576, 16_384, "x"))  # 17 thousand million cells
    assert "can be read" in refused(data, tmp_path) and time.monotonic() - began < 60


def _bomb(size: int, *, told: int | None = None) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"\0" * size)
    data = bytearray(out.getvalue())
    if told is not None:  # the directory says another size (APPNOTE 4.3.12: 24 octets into an entry)
        struct.pack_into("<I", data, data.index(b"PK\x01\x02") + 24, told)
    return bytes(data)


@pytest.mark.parametrize("case", ["larger than allowed", "packed too well", "the directory lies"])
def test_a_file_that_unpacks_to_far_more_is_refused_before_it_is_opened(case: str, tmp_path: Path) -> None:
    data = {"larger than allowed": _bomb(30_000_000), "packed too well": _bomb(5_000_000),
            "the directory lies": _bomb(20_000_000, told=1_000)}[case]  # fmt: skip
    assert len(data) < 40_000 and "far more than its size" in refused(data, tmp_path)


def test_what_is_no_workbook_or_only_half_of_one_is_refused(tmp_path: Path) -> None:
    data = book(["J-1", "done"])
    for broken in (data[: len(data) // 2], b"Job,Where\n", b"\xd0\xcf\x11\xe0" + b"\0" * 600, _bomb(10), b""):
        assert refused(broken, tmp_path).count(".") >= 2
    assert is_whole(io.BytesIO(data)) and not any(is_whole(io.BytesIO(data[:cut])) for cut in (0, 30, len(data) - 25))
