"""Every log record passes the redactor: no seeded number, address or secret of a busy house stands in its log (E4)."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from typing import Any

import pytest

from notify.cli.logs import JsonLines, TextLines
from notify.core.redact import redact
from tests.flows import test_forget_bytes as bytes_of
from tests.flows.test_forget_bytes import kept as kept
from tests.parts.traces import patterns, phone_forms

pytestmark = pytest.mark.long
# Shapes of our own secrets and of others', all invented; numbers of the ranges kept free for stories (Ofcom).
LEAKS = [
    "pat@example.org", "o'quill+x@mail.example.net", *phone_forms("+447700900123"), *phone_forms("+441632960001"),
    "aB3dE6gH9jK2mN5pQ8sT1vW4", "3f2a9c1d3f2a9c1d3f2a9c1d3f2a9c1d", "Zm9vYmFyYmF6cXV4-_0123456789abcd",
]  # fmt: skip
STAY = ["2026-11-28T09:00:00Z", "550e8400-e29b-41d4-a716-446655440000", "GET /t/<token> 200 12 ms",
        "a backup was made", "database_could_not_be_written", "took 12345 ms",
        "/x/notify/web/log.py:44 in log_fault", "2026-11-28"]  # fmt: skip


@pytest.mark.parametrize("text", LEAKS)
def test_a_number_an_address_or_a_secret_is_taken_out_wherever_it_stands(text: str) -> None:
    for line in (text, f"to <{text}> failed", f"GET /c/{text} 404", f"who={text}, again", f'"{text}"'):
        assert text not in redact(line), line


@pytest.mark.parametrize("text", STAY)
def test_identifiers_times_rules_and_words_stay(text: str) -> None:
    assert redact(text) == text


@pytest.fixture(params=[TextLines, JsonLines])
def log(request: Any) -> Iterator[io.StringIO]:
    out, root = io.StringIO(), logging.getLogger()
    handler, before = logging.StreamHandler(out), root.level
    handler.setFormatter(request.param())
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    yield out
    root.setLevel(before)
    root.removeHandler(handler)


def test_the_log_of_a_busy_house_holds_no_seeded_number_address_or_secret(kept: Any, log: io.StringIO) -> None:
    _, about = bytes_of.live(kept.house)
    seeded = [one for one in [*about, *LEAKS] if "@" in one or (any(sign.isdigit() for sign in one) and len(one) > 8)]
    wanted = [one for one in seeded if " no 4471" not in one]
    told = logging.getLogger("shelfbell.web")
    bare, clean = [], logging.Formatter("%(message)s")
    for one in wanted:  # planted: without the redactor the same search finds each
        told.warning("could not reach %s", one, extra={"address": one})
        bare.append(clean.format(logging.LogRecord("x", 30, "", 0, "could not reach %s", (one,), None)))
    try:
        raise ValueError(wanted[0])
    except ValueError:
        told.exception("failed for %s", wanted[1])
    planted = sum(any(one in line for line in bare) for one in wanted)
    lines = log.getvalue().splitlines()
    plain = [form for (_, name), form in patterns(wanted).items() if name in ("utf-8", "lower case", "url", "json")]
    hits = sum(form in line.encode() for line in lines for form in plain)
    print(f"FIGURE E4 log_lines={len(lines)} patterns={len(plain)} planted_found={planted} hits={hits}")
    assert planted == len(wanted) > 10 and len(lines) > len(wanted) and hits == 0
