"""Hostile letters cost little, raise nothing, and the honest one among them is read (TESTPLAN D15)."""

from __future__ import annotations

import time
from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.inbox.calendar_part import LARGEST as LARGEST_CALENDAR
from notify.inbox.letter import Letter, read_letter
from notify.inbox.maildir import MaildirMailbox
from tests.parts.letters import HOSTILE, Hostile, delivery_report, group, letter, multipart

SECONDS = 1.0
LONGEST = {"text": 20_000, "subject": 300, "recipients": 50, "answers": 50, "reports": 50, "results": 20}


def _check(read: Letter) -> None:
    for field in fields(read):
        value = getattr(read, field.name)
        if not isinstance(value, bool):
            assert len(value) <= LONGEST.get(field.name, 400), field.name
    assert read.refused in ("", "too_large", "too_deep", "malformed")
    assert all(len(octets) <= LARGEST_CALENDAR + 1 for octets, _ in read.calendars) and len(read.calendars) <= 8
    assert not read.refused or (read.text, read.reports, read.calendars, read.automatic) == ("", (), (), True)


@pytest.mark.parametrize("bad", HOSTILE, ids=lambda bad: bad.name)
def test_a_hostile_letter_costs_less_than_a_second_and_is_refused_for_its_reason(bad: Hostile) -> None:
    raw = bad.make()
    start = time.process_time()
    read = read_letter(raw)
    spent = time.process_time() - start
    assert spent < SECONDS
    assert read.refused == bad.refused
    _check(read)


@pytest.mark.long
def test_the_hostile_letters_never_block_the_honest_one_behind_them(tmp_path: Path) -> None:
    for name in ("new", "cur", "tmp"):
        (tmp_path / name).mkdir()
    for place, bad in enumerate(HOSTILE):
        (tmp_path / "new" / f"1{place:03}.bad").write_bytes(bad.make())
    (tmp_path / "new" / "2000.good").write_bytes(letter())
    start = time.process_time()
    box = MaildirMailbox(tmp_path)
    read = [read_letter(held.read(), size=held.size) for held in box.letters()]
    spent = time.process_time() - start
    print(
        f"FIGURE hostile_letters hostile_mails={len(HOSTILE)} blocked={len(HOSTILE) + 1 - len(read)} cpu_s={spent:.2f}"
    )
    assert len(HOSTILE) >= 70 and len(read) == len(HOSTILE) + 1
    assert read[-1].text == "Yes please."
    assert [one.refused for one in read[:-1]] == [bad.refused for bad in HOSTILE]


HONEST = [
    letter("Subject: =?utf-8?q?a?="),
    multipart("Content-Type: text/plain\n\nYes\n", "Content-Type: text/calendar; method=REPLY\n\nx\n"),
    delivery_report(group()),
]


@given(st.binary(max_size=2000))
@settings(max_examples=300, deadline=None)
def test_any_octets_give_a_letter(raw: bytes) -> None:
    _check(read_letter(raw))


@given(st.sampled_from(HONEST), st.lists(st.tuples(st.integers(0, 900), st.binary(max_size=6)), max_size=8))
@settings(max_examples=300, deadline=None)
def test_an_honest_letter_with_octets_put_in_anywhere_gives_a_letter(
    raw: bytes, changes: list[tuple[int, bytes]]
) -> None:
    for at, octets in changes:
        raw = raw[:at] + octets + raw[at + len(octets) // 2 :]
    _check(read_letter(raw))
