"""The count of a text message, against published vectors and an independent library."""

from __future__ import annotations

import json
import unicodedata
from pathlib import Path
from typing import Any

import pytest
import smsutil
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.render.sms import BASIC, EXTENSION, Count, count, tidy

VECTORS = Path(__file__).parents[1] / "vectors" / "messaging.json"
CASES = [case for case in json.loads(VECTORS.read_text())["cases"] if case["area"] == "sms"]

# Weighted towards what costs two units, so that pairs meet the borders of parts.
GSM_TEXTS = st.lists(
    st.sampled_from([*"aaaaaa €[", "e" * 70, "x" * 151, "y" * 152, *sorted(BASIC), *sorted(EXTENSION)]),
    min_size=1,
    max_size=12,
).map("".join)
UCS_TEXTS = st.lists(st.sampled_from(["Б", "📱", "Б" * 65, "Б" * 66, "é", "–", "👩‍🔧"]), min_size=1, max_size=9).map(
    "".join
)


def as_expected(text: str, found: Count) -> dict[str, Any]:
    offending = found.first_offending
    return {
        "encoding": {"GSM-7": "gsm7", "UCS-2": "ucs2"}[found.encoding],
        "units": found.units,
        "segments": found.parts,
        "segment_units": list(found.part_units),
        "first_non_gsm": None if offending is None else f"U+{ord(offending):04X}",
        "sendable": found.sendable,
        "segments_if_16bit_reference": count(text, wide_reference=True).parts,
    }


def test_there_are_sixty_one_published_cases() -> None:
    assert len(CASES) == 61


@pytest.mark.vectors
@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_a_published_case_is_counted_as_it_says(case: dict[str, Any]) -> None:
    found = as_expected(case["given"]["text"], count(case["given"]["text"]))
    # Two cases leave the units of their 255 and 256 parts open.
    unsaid = {"segment_units"} if case["expect"]["segment_units"] is None else set()
    assert found.keys() == case["expect"].keys()
    assert {**found, **dict.fromkeys(unsaid)} == case["expect"]


@given(st.one_of(GSM_TEXTS, UCS_TEXTS))
@settings(max_examples=400, deadline=None)
def test_an_independent_library_splits_at_the_same_places(text: str) -> None:
    theirs = smsutil.split(text)
    ours = count(text)
    assert ours.parts == len(theirs.parts)
    widths = {"GSM-7": theirs_septets, "UCS-2": theirs_units}[ours.encoding]
    assert list(ours.part_units) == [widths(part.content) for part in theirs.parts]


def theirs_septets(text: str) -> int:
    return sum(2 if character in EXTENSION else 1 for character in text)


def theirs_units(text: str) -> int:
    return len(text.encode("utf-16-be")) // 2


def test_tidying_keeps_a_message_in_the_cheap_alphabet() -> None:
    dear = "It\u2019s ready \u2013 today\u2026\r\n\u201eTramstop Bench\u201c, 9:30\u202fAM\u00a0caf\u0065\u0301 `ok`"
    assert count(dear).encoding == "UCS-2"
    assert count(tidy(dear)).encoding == "GSM-7"
    assert tidy(dear) == "It's ready - today...\n\"Tramstop Bench\", 9:30 AM café 'ok'"


@given(st.text(max_size=60))
def test_tidying_twice_changes_nothing_more_and_no_letter_is_lost(text: str) -> None:
    once = tidy(text)
    assert tidy(once) == once
    letters = [c for c in unicodedata.normalize("NFC", text) if c.isalnum()]
    assert [c for c in once if c.isalnum()] == letters


@pytest.mark.parametrize("text", ["Größe ß", "Ihr Gerät ist fertig: 18 €", "Привет 📱"])
def test_tidying_leaves_letters_currency_and_pictures_alone(text: str) -> None:
    assert tidy(text) == text
