"""Typed text as it is kept: no control sign, nothing that turns a line around, no claim secret."""

from __future__ import annotations

import unicodedata

import pytest

from notify.core.errors import Invalid
from notify.core.text import clean_block, clean_line

# Unicode's own property, from Python's copy of its database: the oracle for which signs turn text around.
TURNING = [chr(c) for c in range(0x110000) if unicodedata.bidirectional(chr(c)) in
           ("LRE", "RLE", "PDF", "LRO", "RLO", "LRI", "RLI", "FSI", "PDI")]  # fmt: skip


def test_no_sign_that_turns_a_line_around_is_kept() -> None:
    kept = 0
    for sign in TURNING:
        kept += sign in clean_line(f"Kestrel {sign}oidar", field="device")
        kept += sign in clean_block(f"Kestrel\n{sign}oidar", field="fault")
    print(f"FIGURE turning_signs tried={2 * len(TURNING)} kept={kept}")
    assert len(TURNING) == 9 and kept == 0


@pytest.mark.parametrize("text", ["راديو", "מכשיר", "שלום\u200f (2)", "می\u200cخواهم", "👩\u200d🔧"])
def test_letters_of_every_script_and_the_marks_they_need_stay(text: str) -> None:
    assert clean_line(text, field="device") == clean_block(text, field="device") == text


def test_every_control_character_becomes_a_space() -> None:
    signs = [chr(c) for c in range(0x110000) if unicodedata.category(chr(c)) in ("Cc", "Zl", "Zp")]
    assert {clean_line(f"a{sign}b", field="device") for sign in signs} == {"a b"}
    assert {clean_block(f"a{sign}b", field="fault") for sign in signs} <= {"a b", "a\nb"}


def test_a_claim_secret_in_a_note_is_refused_without_being_repeated() -> None:
    secret = "bcdfghjklnprstvx" * 2
    with pytest.raises(Invalid) as refused:
        clean_block(f"see https://bell.example.org/c/{secret.upper()} there", field="note")
    assert secret not in str(refused.value).lower()


def test_a_refused_text_is_named_as_people_say_it_not_as_the_form_does() -> None:
    with pytest.raises(Invalid) as caught:
        clean_line("x" * 121, field="device-0")
    assert str(caught.value) == "The text for 'device' is too long (121 characters). At most 120 fit."
    assert caught.value.field == "device-0"
    with pytest.raises(Invalid, match="The text for 'said by' is too long"):
        clean_line("x" * 121, field="said_by")
