"""Reads one letter from its bytes, whatever they are: bounded in size, depth, parts and time, and never raising."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import islice

from notify.inbox.auth_results import is_proved, results_of
from notify.inbox.calendar_part import LARGEST as LARGEST_CALENDAR
from notify.inbox.calendar_part import may_be_answer
from notify.inbox.fields import (
    LARGEST_HEADER,
    MOST_NAMED,
    Fields,
    addresses,
    identifiers,
    is_balanced,
    line,
    media_type,
    one_address,
    parameter,
    read_fields,
    split_header,
    without_comments,
)
from notify.inbox.parts import Part, TooDeep, take_apart
from notify.inbox.plain import words_of
from notify.inbox.reports import Report as Report
from notify.inbox.reports import read_reports
from notify.inbox.said_now import said_now

LARGEST = 2 * 1024 * 1024  # octets; nothing larger is ever fetched (TESTPLAN D15)
_MOST_FIELDS = 500
_LONGEST_FROM = 1000
_MOST_CALENDARS = 8
_LARGEST_CODED = 4 * LARGEST_CALENDAR  # octets of a calendar part in its transfer encoding; quoted-printable triples
_TNEF = ("application/ms-tnef", "application/vnd.ms-tnef")
# Where a letter came to; what a mail server wrote stands before what the sender wrote, because the list is cut at 50.
_RECIPIENTS = ("delivered-to", "x-original-to", "envelope-to", "to", "cc")
_PRECEDENCE = ("bulk", "junk", "list")
_ROBOTS = re.compile(r"owner-.*|.*-request|mailer-daemon|postmaster|no-?reply|do-?not-?reply", re.IGNORECASE)
_SUPPRESS = re.compile(r"\b(?:all|oof|autoreply)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True, repr=False)
class Letter:
    """What was read.

    `key` is the SHA-256 (hex) of Message-ID, From, Date and body, without a Message-ID of all bytes: a letter acts once
    per key, and nobody can use a Message-ID up before the letter that bears it comes. `message_id` and `answers`
    carry their angle brackets; `answers` is In-Reply-To, then References from the newest, without doubles.
    `sender` is the one addr-spec of From, "" if there is none, there are two, or it is malformed. `recipients` are
    the addresses it came to (Delivered-To, X-Original-To, Envelope-To, To, Cc). `text` is what the writer wrote now,
    without quoted mail and signature. `automatic`: never answer it (RFC 3834 2). `calendars` are its text/calendar
    parts, each once, with the method in capitals that its type names ("" for none); octets over LARGEST_CALENDAR are
    cut, and the reader refuses it. `tnef`: it holds an answer in Outlook's own wrapping, which only people read.
    `results` are its Authentication-Results from the top. `refused` is "", or why the rest is empty: too_large,
    too_deep, malformed; `key` and what could be read of the header stand even then.
    """

    key: str
    message_id: str = ""
    sender: str = ""
    recipients: tuple[str, ...] = ()
    subject: str = ""
    text: str = ""
    answers: tuple[str, ...] = ()
    automatic: bool = False
    reports: tuple[Report, ...] = ()
    calendars: tuple[tuple[bytes, str], ...] = ()
    tnef: bool = False
    results: tuple[str, ...] = ()
    refused: str = ""

    def __repr__(self) -> str:
        return f"Letter({self.key[:12]}, refused={self.refused!r})"  # addresses and texts must not reach a log

    def proved_for(self, sender: str, *, authserv_id: str) -> bool:
        """Whether our border mail server, under that name, says that `sender` wrote it (inbox/auth_results.py)."""
        return is_proved(self.results, authserv_id=authserv_id, sender=sender)


def read_letter(raw: bytes, *, size: int = 0) -> Letter:
    """The letter in `raw` (RFC 5322 and MIME, with CRLF or LF). Never raises; see Letter for what is refused.

    `size` is what the mailbox says in octets: of a letter over LARGEST, `raw` may be the header only.
    """
    try:
        return _read(raw, max(size, len(raw)))
    except Exception:  # whatever a stranger thought of: the next letter must be read
        return Letter(hashlib.sha256(raw).hexdigest(), refused="malformed", automatic=True)


def _read(raw: bytes, size: int) -> Letter:
    header, body = split_header(raw[:LARGEST])
    fields = read_fields(header)
    known = replace(_outside(fields), key=_key(fields, body, raw))
    if size > LARGEST or len(header) > LARGEST_HEADER or len(fields.pairs) > _MOST_FIELDS:
        return _refuse(known, "too_large")
    if not _has_one_writer(fields):
        return _refuse(replace(known, sender=""), "malformed")
    try:
        parts = take_apart(fields, body)
    except TooDeep:
        return _refuse(known, "too_deep")
    return replace(
        known,
        text=said_now(words_of(parts)),
        reports=read_reports(parts),
        calendars=_calendars(parts),
        tnef=any(part.kind in _TNEF for part in parts),
    )


def _refuse(known: Letter, why: str) -> Letter:
    return replace(known, refused=why, automatic=True)


def _key(fields: Fields, body: bytes, raw: bytes) -> str:
    """The same for every copy, by whatever way it came: what servers on the way write on top does not count."""
    if not (named := _message_id(fields)):
        return hashlib.sha256(raw).hexdigest()
    told = "\0".join((named, *fields.all("from")[:1], *fields.all("date")[:1]))
    return hashlib.sha256(told.encode("ascii", "surrogateescape") + b"\0" + body.rstrip()).hexdigest()


def _message_id(fields: Fields) -> str:
    return next(iter(identifiers(fields.first("message-id"))), "")


def _outside(fields: Fields) -> Letter:
    """What stands in the header, without the key."""
    sender = one_address(fields.first("from"))
    named = (address for name in _RECIPIENTS for address in addresses(fields.all(name)))
    return Letter(
        key="",
        message_id=_message_id(fields),
        sender=sender,
        recipients=tuple(dict.fromkeys(islice(named, MOST_NAMED))),
        subject=line(fields.first("subject")),
        answers=_answers(fields),
        automatic=_is_automatic(fields, sender),
        results=results_of(fields),
    )


def _has_one_writer(fields: Fields) -> bool:
    """RFC 5322 3.6: From exactly once; and one that can be read to its end."""
    values = fields.all("from")
    return len(values) == 1 and len(values[0]) <= _LONGEST_FROM and is_balanced(values[0])


def _answers(fields: Fields) -> tuple[str, ...]:
    nearest = identifiers(fields.first("in-reply-to"))
    chain = identifiers(" ".join(fields.all("references"))[-8000:])
    return tuple(dict.fromkeys([*nearest, *reversed(chain)]))[:MOST_NAMED]


def _is_automatic(fields: Fields, sender: str) -> bool:
    """RFC 3834 2: what no automatic answer may go to, and 5.2: comments and parameters do not hide the keyword."""
    names = {name for name, _ in fields.pairs}
    keywords = [without_comments(value).partition(";")[0].strip().lower() for value in fields.all("auto-submitted")]
    return (
        any(keyword != "no" for keyword in keywords)
        or any(without_comments(value).strip() in ("<>", "") for value in fields.all("return-path"))
        or any(name.startswith("list-") for name in names)
        or fields.first("precedence").strip().lower() in _PRECEDENCE
        or bool(_SUPPRESS.search(fields.first("x-auto-response-suppress")))
        or bool(_ROBOTS.fullmatch(sender.partition("@")[0]))
        or media_type(fields) == "multipart/report"
    )


def _calendars(parts: Sequence[Part]) -> tuple[tuple[bytes, str], ...]:
    """Every calendar part of any multipart (RFC 6047 2.4); neither a file name nor application/ics decides (2.6).

    One without a method parameter counts only when METHOD inside is an answer's: Apple sends those. What a delivery
    report gives back is our own. Programs send the same part twice.
    """
    found: dict[bytes, str] = {}
    for part in parts:
        if part.kind == "text/calendar" and not part.in_report and len(found) < _MOST_CALENDARS:
            content = part.content(limit=_LARGEST_CODED)[: LARGEST_CALENDAR + 1]
            method = parameter(part.fields, "method").upper()[:40]
            if method or may_be_answer(content):
                found[content] = found.get(content) or method
    return tuple(found.items())
