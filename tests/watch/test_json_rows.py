"""JSON lines against RFC 8259 (JSON) and RFC 6901 (pointers); a bad line costs itself alone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from notify.watch.json_rows import DEEPEST, open_json
from tests.parts.watched_folder import all_lines, make_watch, refusal

# RFC 6901, section 5: its document, its pointers and what they give.
DOCUMENT = {"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, 'k"l': 6, " ": 7, "m~n": 8}
POINTERS = {"/foo/0": "bar", "/": "0", "/a~1b": "1", "/c%d": "2", "/e^f": "3", "/g|h": "4", "/i\\j": "5",
            '/k"l': "6", "/ ": "7", "/m~0n": "8"}  # fmt: skip


def read(text: str | bytes, folder: Path, **columns: str) -> Any:
    watch = make_watch(folder, columns=tuple((columns or {"reference": "job", "phase": "/state/word"}).items()))
    return all_lines(open_json, text.encode() if isinstance(text, str) else text, watch, folder)[1]


@pytest.mark.parametrize("pointer", POINTERS)
def test_a_pointer_finds_what_rfc_6901_says(pointer: str, tmp_path: Path) -> None:
    (line,) = read(json.dumps(DOCUMENT) + "\n", tmp_path, reference=pointer)
    assert (line.cells["reference"], line.fault) == (POINTERS[pointer], "")


@pytest.mark.parametrize("name", [name for name in DOCUMENT if name not in ("", "foo")])
def test_a_plain_name_is_that_field_whatever_signs_are_in_it(name: str, tmp_path: Path) -> None:
    (line,) = read(json.dumps(DOCUMENT), tmp_path, reference=name)
    assert line.cells["reference"] == str(DOCUMENT[name])


# RFC 8259: which texts are JSON (sections 2 to 7, and 8.1 of the mark at the beginning); None: this line is refused.
TEXTS = {
    "6: a number stays as written": ('{"job": 12.50}', "12.50"),
    "6: any number of digits": ('{"job": ' + "9" * 3_000 + "}", "9" * 3_000),
    "6: an exponent": ('{"job": 1E3}', "1E3"),
    "6: no Infinity": ('{"job": Infinity}', None), "6: no NaN": ('{"job": NaN}', None),
    "6: no leading zero": ('{"job": 012}', None),
    "3: names in small letters": ('{"job": true}', "true"), "3: null": ('{"job": null}', ""),
    "3: no other names": ('{"job": True}', None),
    "4: equal names": ('{"job": "1", "job": "2"}', None),
    "2: white space": (' \t{ "job"\t: "1" } ', "1"),
    "7: a pair of surrogates": ('{"job": "\\uD834\\uDD1E"}', "\U0001d11e"),
    "8.2: half a pair": ('{"job": "\\uDEAD"}', None),
    "7: control signs are escaped": ('{"job": "a\tb"}', None),
    "no NUL in a cell": ('{"job": "a\\u0000"}', None),
    "no comma at the end": ('{"job": "1",}', None), "single quotes": ("{'job': '1'}", None),
    "two texts": ('{"job": "1"} {"job": "2"}', None), "a list": ('["job"]', None), "a word": ('"job"', None),
    "no single value": ('{"job": {"a": 1}}', None), "not there": ('{"other": 1}', ""),
    "deep": ('{"a": ' + "[" * 200 + "]" * 200 + ', "job": "1"}', None),
    "very deep": ("[" * 30_000 + "]" * 30_000, None),
    "as deep as allowed": ('{"job": "1", "a": ' + "[" * (DEEPEST - 1) + "]" * (DEEPEST - 1) + "}", "1"),
    "wide is not deep": ('{"job": "1", "a": [' + "{}," * 999 + "{}]}", "1"),
}  # fmt: skip


@pytest.mark.parametrize("case", TEXTS)
def test_a_line_is_taken_or_refused_as_rfc_8259_says(case: str, tmp_path: Path) -> None:
    text, expected = TEXTS[case]
    before, line, after = read(f'{{"job": "first"}}\n{text}\n\r\n{{"job": "last"}}', tmp_path, reference="job")
    assert (before.cells["reference"], after.cells["reference"], after.number) == ("first", "last", 4)
    assert (line.number, None if line.fault else line.cells["reference"]) == (2, expected)
    assert "first" not in line.fault and 'job":' not in line.fault


def test_a_mark_at_the_beginning_is_ignored_and_other_encodings_are_refused(tmp_path: Path) -> None:
    text = '{"job": "Jörg"}\n'
    (line,) = read(text.encode("utf-8-sig"), tmp_path, reference="job")
    assert line.cells["reference"] == "Jörg"
    watch = make_watch(tmp_path)
    assert "UTF-8" in refusal(open_json, text.encode("cp1252"), watch, tmp_path)
    assert "without a list" in refusal(open_json, b' [{"job": "1"}]', watch, tmp_path)
