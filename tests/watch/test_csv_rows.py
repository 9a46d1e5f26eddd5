"""CSV as programs write it, against RFC 4180 and Python's own writer; what is no such file is said to be none."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.watch.csv_rows import open_csv
from notify.watch.encodings import looks_like_words
from notify.watch.lines import LONGEST_CELL, LONGEST_LINE, guarded, unguarded
from tests.parts.watched_folder import all_lines, cells, make_watch, refusal

TWO = (("reference", "Job"), ("phase", "Where"), ("name", "Who"))


def read(data: bytes | str, folder: Path, **changed: Any) -> Any:
    watch = make_watch(folder, **({"columns": TWO} | changed))
    return all_lines(open_csv, data.encode() if isinstance(data, str) else data, watch, folder)[1]


# RFC 4180, section 2: the rules by their numbers; its examples with our names in the place of its field names.
RFC_4180 = {
    "1 and 2: CRLF, the last one may be missing": ("Job,Where,Who\r\naaa,done,ccc\r\nzzz,done,xxx", ["ccc", "xxx"]),
    "4: spaces are part of a field; we take them off": ("Job,Where,Who\r\naaa, done , c c \r\n", ["c c"]),
    "5: fields in quotes": ('"Job","Where","Who"\r\n"aaa","done","ccc"\r\nzzz,done,xxx\r\n', ["ccc", "xxx"]),
    "6: line ends, quotes and commas in quotes": ('Job,Where,Who\r\n"aaa",done,"b \r\nb,b"\r\n', ["b \r\nb,b"]),
    "7: a quote within quotes is written twice": ('Job,Where,Who\r\n"aaa","done","b""bb"\r\n', ['b"bb']),
}


@pytest.mark.parametrize("rule", RFC_4180)
def test_a_file_is_read_as_rfc_4180_says(rule: str, tmp_path: Path) -> None:
    text, names = RFC_4180[rule]
    lines = read(text, tmp_path)
    assert (cells(lines, "name"), [line.fault for line in lines if line.fault]) == (names, [])


@given(
    rows=st.lists(st.tuples(*[st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=12)] * 2),
                  max_size=6),
    sign=st.sampled_from(",;\t|"), quoting=st.sampled_from((csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC)),
    end=st.sampled_from(("\n", "\r\n", "\r")), code=st.sampled_from(("utf-8", "utf-8-sig", "utf-16", "utf-32")),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_what_pythons_own_writer_writes_is_read_as_it_was(
    rows: Any, sign: str, quoting: Any, end: str, code: str, tmp_path_factory: Any
) -> None:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=sign, quoting=quoting, lineterminator=end)
    writer.writerow(["Job", "Where", "Who"])
    writer.writerows(["J", one, other] for one, other in rows)
    lines = read(out.getvalue().encode(code), tmp_path_factory.mktemp("f"))
    assert [line.fault for line in lines] == [""] * len(rows)
    assert [(line.cells["phase"], line.cells["name"]) for line in lines] == [
        (unguarded(one.strip()), unguarded(other.strip())) for one, other in rows
    ]  # fmt: skip


# Texts of the town's people in code pages of old programs; the page is not told anywhere in the file.
PAGES = [
    ("cp1252", "Jörg Müller, Größe"), ("cp1252", "Niccolò è già qui"), ("cp1252", "l’été – 12 €"),
    ("cp1250", "Łukasz Żółć"), ("cp1251", "Мария Смирнова"), ("shift_jis", "山田太郎"), ("utf-16-le", "Grete"),
    ("utf-16-be", "Zoë"),
]  # fmt: skip


@pytest.mark.parametrize(("code", "name"), PAGES)
def test_an_encoding_is_found_out(code: str, name: str, tmp_path: Path) -> None:
    data = f'Job;Where;Who\r\nJ-1;done;"{name}"\r\nJ-2;done;Kim\r\n'.encode(code)
    assert cells(read(data, tmp_path), "name") == [name, "Kim"]


def test_a_code_page_that_would_give_no_words_is_asked_about_instead_of_guessed(tmp_path: Path) -> None:
    data = "Job;Where;Who\nJ-1;done;Łódź ąęś\n".encode("iso8859_2")  # in a western page: £ód¼ ±ê¶
    watch = make_watch(tmp_path, columns=TWO)
    assert "bench.encoding" in refusal(open_csv, data, watch, tmp_path)
    assert cells(read(data, tmp_path, encoding="iso8859-2"), "name") == ["Łódź ąęś"]
    assert "bench.encoding" in refusal(
        open_csv, "Job;Where;Who\nJ-1;done;Świętosława\n".encode("cp1250"), watch, tmp_path
    )
    assert looks_like_words("Müller l’été 5 € £5 m² Nº 7 10 µF 20°C")
    assert not any(map(looks_like_words, ("£ód", "Œwiêtos³awa", "JЪrg", "Ci¹g")))


HEADERS = {
    "titles above": "Bench list\n\n26.11.2026;;\nJob;Where;Who\nJ-1;done;Kim\n",
    "a line that names the sign": "sep=|\nJob|Where|Who\nJ-1|done|Kim\n",
    "capitals and blanks": " JOB ,where,  who\nJ-1,done,Kim\n",
    "other order and more columns": "Who\tPrice, net\tWhere\tJob\nKim\t1,50\tdone\tJ-1\n",
    "more commas than semicolons": "Job;Where, at last;Who;Where\nJ-1;a,b,c,d,e;Kim;done\n",
    "empty columns at the end": "Job,Where,Who,,\nJ-1,done,Kim\n",
    "the header again": "Job,Where,Who\nJ-1,done,Kim\nJob,Where,Who\n",
    "empty lines": "Job,Where,Who\n\n,,\nJ-1,done,Kim\n\n",
}


@pytest.mark.parametrize("case", HEADERS)
def test_the_header_and_the_sign_are_found_by_the_names_in_the_settings(case: str, tmp_path: Path) -> None:
    lines = read(HEADERS[case], tmp_path)
    assert [(line.cells, line.fault) for line in lines] == [({"reference": "J-1", "phase": "done", "name": "Kim"}, "")]


BAD_LINES = {
    "a decimal comma makes a column more": ("J-1,done,Kim,12,50", "5 columns"),
    "a column less": ("J-1,done", "2 columns"),
    "a quote that nobody closed": ('J-1,done,"Kim', "quotes"),
    "a quote in the wrong place": ('J-1,done,"K"im', "quotes"),
    "a long cell": ("J-1,done," + "x" * (LONGEST_CELL + 1), "name is longer"),
    "a long line": ("J-1,done," + "x" * (2 * LONGEST_LINE), "line may be"),
    "a sign that is no text": ("J-1,done,K\x07", "no text"),
}


@pytest.mark.parametrize("case", BAD_LINES)
def test_a_bad_line_costs_itself_alone_and_keeps_its_number(case: str, tmp_path: Path) -> None:
    bad, why = BAD_LINES[case]
    lines = read(f'Job,Where,Who\nJ-0,done,"Jo, ""J"""\n{bad}\nJ-2,done,Ann\nJ-3,done,"Bo"\n', tmp_path)
    assert [(line.number, line.cells.get("reference")) for line in lines if not line.fault] == [
        (2, "J-0"), (4, "J-2"), (5, "J-3"),
    ]  # fmt: skip
    (refused,) = [line for line in lines if line.fault]
    assert (refused.number, why in refused.fault, refused.raw[0][:3]) == (3, True, "J-1")


NO_FILES = {
    "empty": b"", "one column": b"Job\nJ-1\n", "other columns": b"one,two\n1,2\n",
    "a workbook": b"PK\x03\x04" + bytes(9),
    "octets": bytes(range(256)),
    "a column twice": b"Job,Where,Job\nJ-1,done,J-2\n", "lone": b"\xff\xfe\x00",
    "too far down": b"\n" * 25 + b"Job,Where\nJ-1,done\n",
}  # fmt: skip


@pytest.mark.parametrize("case", NO_FILES)
def test_what_is_no_such_file_is_refused_with_what_to_do(case: str, tmp_path: Path) -> None:
    said = refusal(open_csv, NO_FILES[case], make_watch(tmp_path, columns=TWO), tmp_path)
    assert said.count(".") >= 2 and "J-1" not in said


# What a spreadsheet takes for a formula: OWASP ASVS 5.0.0, 1.2.10 names these signs at the beginning of a cell.
@pytest.mark.parametrize("cell", ["=1+1", "+44 1632 960123", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_a_cell_that_a_spreadsheet_would_carry_out_is_guarded_and_comes_back_as_it_was(cell: str) -> None:
    assert guarded(cell)[0] == "'" and unguarded(guarded(cell)) == cell
    assert guarded("Kim") == "Kim" and unguarded("'tis") == "'tis"


@pytest.mark.long
def test_quotes_that_nobody_closes_cost_no_more_than_their_lines(tmp_path: Path) -> None:
    def steps(count: int) -> int:
        text = "Job,Where,Who\n" + 'J,done,"x\n' * count
        lines = read(text, tmp_path)
        return sum(bool(line.fault) for line in lines)

    assert steps(2_000) >= 1_000  # two lines with one quote each may make one cell; the file's own limit ends it
