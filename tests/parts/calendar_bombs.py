"""Calendar parts that are made to cost, to crash or to deceive; each with what has to become of it."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

from tests.parts.answers import attendee_line, calendar_object


@dataclass(frozen=True, slots=True)
class Bomb:
    """One bad calendar part: its octets, made when needed, and what is decided; "answer" for one that is harmless."""

    name: str
    make: Callable[[], bytes]
    decision: str = "reject_malformed"


def _in_event(text: bytes) -> bytes:
    return calendar_object().replace(b"END:VEVENT", text + b"\r\nEND:VEVENT")


def _nested(count: int) -> bytes:
    return _in_event(b"BEGIN:VALARM\r\n" * count + b"END:VALARM\r\n" * count)


_BIG, _FITS = 1_000_000, 60_000
_LARGE = "reject_too_large"
BOMBS = [
    Bomb("a million folds", lambda: _in_event(b"DESCRIPTION:" + b"x\r\n " * _BIG), _LARGE),
    Bomb("folds that just fit", lambda: _in_event(b"DESCRIPTION:" + b"\r\n " * (_FITS // 3)), "answer"),
    Bomb("folds in what is used", lambda: _in_event(b"COMMENT:" + b"x\r\n " * (_FITS // 4)), _LARGE),
    Bomb("a hundred thousand attendees",
         lambda: calendar_object(*(f"ATTENDEE:mailto:a{n}@e.example" for n in range(100_000))), _LARGE),
    Bomb("attendees that just fit",
         lambda: calendar_object(*(f"ATTENDEE:mailto:a{n}@e.example" for n in range(480)))),
    Bomb("components in components", lambda: _nested(2000), _LARGE),
    Bomb("components in components that just fit", lambda: _nested(200)),
    Bomb("two calendars", lambda: calendar_object() * 2),
    Bomb("a hundred calendars that just fit", lambda: calendar_object() * 40),
    Bomb("a method in the event", lambda: calendar_object("METHOD:REPLY")),
    Bomb("zeros", lambda: b"\0" * _FITS),
    Bomb("a zero in a name", lambda: _in_event(b"DESC\0RIPTION:x")),
    Bomb("a bare CR that hides a line", lambda: _in_event(b"DESCRIPTION:x\rATTENDEE:mailto:evil@bad.example")),
    Bomb("a rule for every second", lambda: calendar_object("RRULE:FREQ=SECONDLY"), "answer"),
    Bomb("a zone with a rule for every second",
         lambda: calendar_object().replace(b"BEGIN:VEVENT", b"BEGIN:VTIMEZONE\r\nTZID:x\r\nBEGIN:STANDARD\r\n"
                                           b"DTSTART:16010101T000000\r\nTZOFFSETFROM:+0000\r\nTZOFFSETTO:+0100\r\n"
                                           b"RRULE:FREQ=SECONDLY\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\nBEGIN:VEVENT"),
         "answer"),
    Bomb("one line of a megabyte", lambda: _in_event(b"DESCRIPTION:" + b"x" * _BIG), _LARGE),
    Bomb("a line that just fits", lambda: _in_event(b"DESCRIPTION:" + b"x" * _FITS), "answer"),
    Bomb("parameters that just fit", lambda: calendar_object(attendee="ATTENDEE" + ";A=b" * 900 + ":mailto:a@b.c")),
    Bomb("quotes", lambda: calendar_object(attendee='ATTENDEE;CN="' + '""' * 1900 + '":mailto:a@b.example'), "answer"),
    Bomb("an open quote", lambda: calendar_object(attendee='ATTENDEE;CN="' + ";" * 3800 + ":mailto:a@b.example")),
    Bomb("commas", lambda: calendar_object(attendee="ATTENDEE;CN=" + "a," * 1900 + ":mailto:a@b.example"), "answer"),
    Bomb("backslashes", lambda: calendar_object("COMMENT:" + "\\" * 3900), "answer"),
    Bomb("percent signs", lambda: calendar_object(attendee=f"ATTENDEE:mailto:{'%41' * 1200}@b.example")),
    Bomb("many short lines", lambda: calendar_object(*["A:"] * 20_000), _LARGE),
    Bomb("empty lines that just fit", lambda: _in_event(b"\r\n" * (_FITS // 2)), _LARGE),
    Bomb("noise", lambda: random.Random(4).randbytes(_FITS)),
    Bomb("noise in base64 letters", lambda: b"QUJD" * (_FITS // 4)),
    Bomb("a period of ages", lambda: calendar_object("DURATION:P" + "9" * 3000 + "D"), "answer"),
    Bomb("a revision of four thousand digits", lambda: calendar_object("SEQUENCE:" + "9" * 3900, sequence=None)),
    Bomb("two answers of one attendee",
         lambda: calendar_object(attendee_line(partstat="DECLINED"))),
    Bomb("half a letter of UTF-8", lambda: _in_event(b"COMMENT:" + b"\xf0\x9f" * 1900), "answer"),
]  # fmt: skip
