"""What a calendar's answer costs: read with every check against bare parsing, and the worst of the hostile ones."""

from __future__ import annotations

import time
from datetime import datetime
from email import message_from_bytes
from pathlib import Path
from typing import Any

from icalendar import Calendar

from notify.inbox.letter import read_letter
from notify.inbox.take import calendar_answers
from tests.bench.line import Figure, Side, alternate, compare
from tests.parts.answers import COUNTED, PROVED, carrying, judged, standing
from tests.parts.calendar_bombs import BOMBS

REPLIES = Path(__file__).parents[1] / "vectors" / "replies"
SHAPES = ("apple-like-decline-nested-no-method", "gmail-like-accept", "outlook-like-accept-no-organizer")
BASELINE = (
    "email.message_from_bytes (its quicker policy, compat32), the first text/calendar part decoded, icalendar's "
    "Calendar.from_ical, then UID, DTSTAMP, SEQUENCE, ATTENDEE and PARTSTAT taken as they stand; no bounds, no counts, "
    "no METHOD, no proof of the sender, no order"
)
LIMIT_MS = 50.0


def figures(*, n: int, rounds: int) -> list[Figure]:
    """`calendar_reply`, `n` letters a round, and `calendar_bombs`."""
    letters = [f"Authentication-Results: {PROVED}\r\n".encode() + _read(name) for name in SHAPES]

    def we(_: int) -> float:
        return _rate(n, lambda number: _ours(letters[number % len(letters)]))

    def they(_: int) -> float:
        return _rate(n, lambda number: _theirs(letters[number % len(letters)]))

    ratio, ours, theirs = compare(alternate(rounds, we, they), unit="letters/s")
    reading = Figure("calendar_reply", ratio, 0.5, BASELINE, n * rounds, ours, theirs, more={"shapes": len(SHAPES)})
    return [reading, _bombs()]


def _read(name: str) -> bytes:
    return (REPLIES / f"{name}.eml").read_bytes()


def _rate(n: int, do: Any) -> float:
    began = time.perf_counter()
    for number in range(n):
        do(number)
    return n / (time.perf_counter() - began)


def _ours(raw: bytes) -> None:
    _, verdict = judged(standing(), raw)
    assert verdict.decision in COUNTED, verdict.decision


def _theirs(raw: bytes) -> None:
    part = next(one for one in message_from_bytes(raw).walk() if one.get_content_type() == "text/calendar")
    octets = part.get_payload(decode=True)
    assert isinstance(octets, bytes)
    event: Any = Calendar.from_ical(octets).walk("VEVENT")[0]
    who = event["ATTENDEE"]
    said = (event["UID"], event["DTSTAMP"].dt, event["SEQUENCE"], who, who.params["PARTSTAT"])
    assert isinstance(said[1], datetime)


def _bombs() -> Figure:
    """The dearest one, as a whole letter; of three tries the quickest, in processor time."""
    spent = {bomb.name: min(_cpu_ms(carrying(bomb.make())) for _ in range(3)) for bomb in BOMBS}
    worst = max(spent, key=lambda name: spent[name])
    return Figure(
        "calendar_bombs", spent[worst] / LIMIT_MS, 1.0, "a physical limit: processor time of one letter, limit 50 ms",
        len(BOMBS), Side(spent[worst], "ms"), Side(LIMIT_MS, "ms"), higher=False, more={"worst": worst},
    )  # fmt: skip


def _cpu_ms(raw: bytes) -> float:
    began = time.process_time()
    calendar_answers(read_letter(raw))
    return (time.process_time() - began) * 1000
