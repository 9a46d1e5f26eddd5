"""Calendar answers as bytes: one object, and the letter that carries it, in the shape that calendars send."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from notify.core.itip import Answer, Bearer, Decision, Standing, Unread, Verdict, judge
from notify.inbox.letter import Letter, read_letter
from notify.inbox.take import calendar_answers

UID = "4b0c6f0e-2a0e-4d2b-9b1e-6f1f3d9a7c11"
ORGANIZER, ATTENDEE = "pickup-7f3k9q@shop.example", "pat@cust.example"
SERVER = "mx.shop.example"  # our own border mail server
PROVED = f"{SERVER}; dmarc=pass header.from=cust.example"
STAMP = "20261101T120000Z"
ARRIVED = datetime(2026, 11, 1, 14, 0, tzinfo=UTC)  # after everything in the cases was said


def attendee_line(address: str = ATTENDEE, partstat: str = "ACCEPTED", params: str = "") -> str:
    return f"ATTENDEE;PARTSTAT={partstat}{params}:mailto:{address}" if partstat else f"ATTENDEE:mailto:{address}"


def calendar_object(
    *lines: str, method: str = "REPLY", uid: str = UID, organizer: str = ORGANIZER, sequence: int | None = 0,
    stamp: str = STAMP, attendee: str | None = None,
) -> bytes:  # fmt: skip
    """One VEVENT in one VCALENDAR with CRLF; `lines` stand in the VEVENT after the usual ones."""
    usual = [
        f"UID:{uid}", f"DTSTAMP:{stamp}", *([f"ORGANIZER:mailto:{organizer}"] if organizer else []),
        attendee_line() if attendee is None else attendee, *([f"SEQUENCE:{sequence}"] if sequence is not None else []),
    ]  # fmt: skip
    held = ["BEGIN:VCALENDAR", "PRODID:-//Example//Calendar//EN", "VERSION:2.0", f"METHOD:{method}", "BEGIN:VEVENT"]
    return ("\r\n".join([*held, *filter(None, usual), *lines, "END:VEVENT", "END:VCALENDAR"]) + "\r\n").encode()


def carrying(
    calendar: bytes, *, method: str = "REPLY", sender: str = ATTENDEE, to: str = ORGANIZER, results: str = PROVED,
    kind: str = "", key: str = "a1",
) -> bytes:  # fmt: skip
    """A letter with a text and this calendar part; `results` is what our border server wrote on top, "" for nothing."""
    kind = kind or f"text/calendar; charset=UTF-8; method={method}"
    head = [f"Authentication-Results: {results}"] if results else []
    head += [f"From: {sender}", f"To: {to}", f"Message-ID: <{key}@mail.example.org>", "MIME-Version: 1.0",
             'Content-Type: multipart/alternative; boundary="b0"', "", "--b0", "Content-Type: text/plain", "",
             "An answer.", "--b0", f"Content-Type: {kind}", "", ""]  # fmt: skip
    return "\r\n".join(head).encode() + calendar + b"\r\n--b0--\r\n"


def only_answer(letter: Letter) -> Answer | Unread:
    [answer] = calendar_answers(letter)
    return answer


def judged(
    standing: Standing, raw: bytes, *, by_token: bool = True, arrived: datetime | None = ARRIVED
) -> tuple[Answer | Unread, Verdict]:
    """What the product makes of a whole letter: read, proved by SERVER or not, and judged."""
    letter = read_letter(raw)
    answer = only_answer(letter)
    if isinstance(answer, Unread):
        return answer, Verdict(answer.decision, answer.why)
    proved = letter.proved_for(letter.sender, authserv_id=SERVER)
    return answer, judge(standing, answer, Bearer(letter.sender, by_token, proved, arrived))


def standing(**changes: Any) -> Standing:
    """A live pickup that nobody answered yet, with `changes`."""
    usual: dict[str, Any] = {
        "uid": UID, "organizer": ORGANIZER, "attendee": ATTENDEE, "sequence": 0, "is_live": True
    }  # fmt: skip
    return Standing(**(usual | changes))


COUNTED = (Decision.APPLY, Decision.APPLY_UNVERIFIED)


def moment(text: str) -> datetime:
    return datetime.strptime(text, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)


def after(before: Standing, answers: Sequence[tuple[Answer, Bearer]]) -> Standing:
    """What is kept of the booking once these answers came in this order (RFC 5546 2.1.5: the last that counted)."""
    for answer, bearer in answers:
        verdict = judge(before, answer, bearer)
        if verdict.decision in COUNTED:
            before = replace(
                before, partstat=answer.partstat, reply_sequence=answer.sequence, reply_stamp=verdict.stamp
            )
    return before
