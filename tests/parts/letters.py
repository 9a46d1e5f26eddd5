"""Letters as bytes: honest ones, delivery reports, and the hostile ones; all people and places are invented."""

from __future__ import annotations

import base64
import random
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from tests.parts.answers import carrying
from tests.parts.calendar_bombs import BOMBS


def letter(*fields: str, body: str = "Yes please.\n", sender: str = "pat@example.org") -> bytes:
    """A plain letter with CRLF; `fields` come after the usual ones, `sender` "" leaves From out."""
    head = [f"From: {sender}"] if sender else []
    head += ["To: shop@example.org", "Message-ID: <one@example.org>", *fields]
    return ("\n".join(head) + "\n\n" + body).replace("\n", "\r\n").encode("utf-8", "surrogateescape")


def multipart(*parts: str, kind: str = "mixed", boundary: str = "b0", fields: tuple[str, ...] = ()) -> bytes:
    """A letter of several parts, each with its own header."""
    body = "".join(f"--{boundary}\n{part}\n" for part in parts) + f"--{boundary}--\n"
    return letter("MIME-Version: 1.0", f'Content-Type: multipart/{kind}; boundary="{boundary}"', *fields, body=body)


def delivery_report(
    *groups: str, returned: str = "Message-ID: <ours@example.org>\nSubject: x\n", to: str = ""
) -> bytes:
    """A report in the form of RFC 3464 2.1, with the header of our message as RFC 6522 3 allows."""
    status = "Reporting-MTA: dns; mx.example.org\nArrival-Date: Fri, 27 Nov 2026 10:00:00 +0000\n\n" + "\n".join(groups)
    return multipart(
        "Content-Type: text/plain\n\nYour message could not be delivered.\n",
        f"Content-Type: message/delivery-status\n\n{status}",
        f"Content-Type: text/rfc822-headers\n\n{returned}",
        kind="report; report-type=delivery-status",
        fields=("Return-Path: <>", *((f"Delivered-To: {to}",) if to else ())),
    ).replace(b"pat@example.org", b"MAILER-DAEMON@mx.example.org", 1)


def group(action: str = "failed", status: str = "5.1.1", address: str = "pat@example.org") -> str:
    """One recipient's fields."""
    return (
        f"Final-Recipient: rfc822; {address}\nAction: {action}\nStatus: {status}\n"
        "Diagnostic-Code: smtp; 550 no such user here\n"
    )


def _carried(make: Callable[[], bytes]) -> bytes:
    return carrying(make())


@dataclass(frozen=True, slots=True)
class Hostile:
    """One bad letter: its bytes, made when needed, and why it is refused ("" for one that is read all the same)."""

    name: str
    make: Callable[[], bytes]
    refused: str = ""


def _nested(depth: int) -> bytes:
    opened = "".join(f'Content-Type: multipart/mixed; boundary="b{n}"\n\n--b{n}\n' for n in range(depth))
    return b"From: pat@example.org\r\n" + (opened + "Content-Type: text/plain\n\ndeep\n").encode()


def _noise(seed: int) -> bytes:
    return random.Random(seed).randbytes(200_000)


def _html(page: str) -> bytes:
    return letter("Content-Type: text/html; charset=utf-8", body=page)


def _many_parts(count: int) -> bytes:
    return multipart(*["Content-Type: text/plain\n\nx"] * count)


def _lines_of(line: str, count: int) -> bytes:
    return letter(body=f"{line}\n" * count)


_BIG = 2 * 1024 * 1024
HOSTILE = [
    Hostile("nothing", lambda: b"", "malformed"),
    Hostile("line breaks only", lambda: b"\r\n" * 100_000, "malformed"),
    Hostile("noise", lambda: _noise(1), "malformed"),
    Hostile("noise after a header", lambda: letter() + _noise(2)),
    Hostile("zeros", lambda: b"\0" * 100_000, "too_large"),
    Hostile("a header without an end", lambda: b"X: y\r\n" * 50_000, "too_large"),
    Hostile("many short fields", lambda: letter(*["A: b"] * 5000), "too_large"),
    Hostile("one field of a megabyte", lambda: letter("X-Long: " + "x" * 1_000_000), "too_large"),
    Hostile("twenty thousand encoded words", lambda: letter("Subject: " + "=?utf-8?q?=61?= " * 20_000), "too_large"),
    Hostile("encoded words that just fit", lambda: letter("Subject: " + "=?utf-8?q?=61?= " * 3500)),
    Hostile("open encoded words", lambda: letter("Subject: " + "=?utf-8?q?" * 6000)),
    Hostile("an unknown character set", lambda: letter("Subject: =?x-none?b?////?=")),
    Hostile("a character set that is a codec", lambda: letter("Content-Type: text/plain; charset=zlib", body="xœ")),
    Hostile("a character set of quadratic cost",
            lambda: letter("Content-Type: text/plain; charset=punycode", body="abc-" + "a" * 300_000)),
    Hostile("folds", lambda: letter("Subject: a" + "\n b" * 15_000)),
    Hostile("comments in comments", lambda: letter(sender="(" * 3000), "malformed"),
    Hostile("a name without an end", lambda: letter(sender='"' + "a" * 900), "malformed"),
    Hostile("a writer of ten thousand signs", lambda: letter(sender="a" * 10_000 + "@example.org"), "malformed"),
    Hostile("two writers", lambda: letter("From: evil@example.org"), "malformed"),
    Hostile("no writer", lambda: letter(sender=""), "malformed"),
    Hostile("twenty thousand addresses", lambda: letter("To: " + "a@example.org, " * 20_000), "too_large"),
    Hostile("addresses that just fit", lambda: letter("Cc: " + "a@e.org," * 7500)),
    Hostile("almost addresses", lambda: letter("Cc: " + "a" * 60_000)),
    Hostile("identifiers that just fit", lambda: letter("References: " + "<a@b>" * 12_000)),
    Hostile("open identifiers", lambda: letter("References: " + "<" * 60_000)),
    Hostile("parts in parts, 3000 deep", lambda: _nested(3000), "too_deep"),
    Hostile("parts in parts, 21 deep", lambda: _nested(21), "too_deep"),
    Hostile("letters in letters",
            lambda: letter("Content-Type: message/rfc822", body="Content-Type: message/rfc822\n\n" * 9000)),
    Hostile("a hundred thousand parts", lambda: _many_parts(50_000)),
    Hostile("a boundary that is everywhere",
            lambda: letter('Content-Type: multipart/mixed; boundary="-"', body="---\n" * 400_000)),
    Hostile("a boundary without an end",
            lambda: letter("Content-Type: multipart/mixed; boundary=b", body="--b\n\n" + "x" * 10**6)),
    Hostile("parameters without an end", lambda: letter("Content-Type: text/plain" + ';a="' * 10_000)),
    Hostile("base64 that is none", lambda: letter("Content-Transfer-Encoding: base64", body="====" * 100_000)),
    Hostile("quoted-printable that is none",
            lambda: letter("Content-Transfer-Encoding: quoted-printable", body="=" * 400_000)),
    Hostile("open tags", lambda: _html("<a " * 300_000)),
    Hostile("open comments", lambda: _html("<!--" * 300_000)),
    Hostile("quotes in tags", lambda: _html('<a b="' * 200_000)),
    Hostile("entities", lambda: _html("&amp" * 300_000)),
    Hostile("lines that look like who wrote", lambda: _lines_of("On 1 <a@a" + "<a@a" * 110 + " wrote", 4000)),
    Hostile("lines that look like a header", lambda: _lines_of("Von" + " " * 480 + "x", 4000)),
    Hostile("dashes and spaces", lambda: _lines_of("- " * 240 + "x", 4000)),
    Hostile("one line of two megabytes", lambda: letter(body="a" * (_BIG - 200))),
    Hostile("three megabytes", lambda: letter(body="a" * 3 * 1024 * 1024), "too_large"),
    Hostile("a report on everybody", lambda: delivery_report(*[group()] * 10_000)),
    Hostile("a report of empty groups", lambda: delivery_report("\n" * 500_000)),
    Hostile("a calendar that unfolds for ever", lambda: letter("Content-Type: text/calendar", body="x\n " * 500_000)),
    Hostile("base64 of a calendar, cut", lambda: _cut_calendar()),
    *(Hostile(f"a calendar with {bomb.name}", partial(_carried, bomb.make),
              "too_large" if bomb.name in ("a million folds", "a hundred thousand attendees") else "")
      for bomb in BOMBS),
]  # fmt: skip


def _cut_calendar() -> bytes:
    coded = base64.b64encode(b"BEGIN:VCALENDAR\r\n" * 1000).decode()[:-3]
    return letter("Content-Type: text/calendar; method=REPLY", "Content-Transfer-Encoding: base64", body=coded)
