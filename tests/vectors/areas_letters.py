"""Adapters for letters that come in: what is automatic, what a report says, what is refused, where the calendar is."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from email import message_from_bytes
from typing import Any

import pytest

from notify.core.bounces import Judged, judge
from notify.core.contacts import parse_email
from notify.core.errors import Invalid
from notify.core.messages import Delivery
from notify.inbox.letter import Letter, read_letter
from notify.render.email import Mailbox, compose_mail
from notify.render.invite import invite_bytes
from tests.parts.invites import an_invite
from tests.parts.letters import delivery_report, group, letter, multipart
from tests.vectors.areas_retry import tried_again
from tests.vectors.cases import NotBuilt
from tests.vectors.mail_out import answered, one_click, one_click_fields

Given = dict[str, Any]
_DELIVERIES = {"failed": {Delivery.FAILED}, "pending": {Delivery.DELAYED}}
_NOT_A_BOUNCE = {Delivery.DELAYED, Delivery.DELIVERED, Delivery.HANDED_OVER, None}
_CALENDAR = "BEGIN:VCALENDAR\nMETHOD:{}\nEND:VCALENDAR\n"


def mail(given: Given, expect: Given) -> None:
    """Reports (through the bytes of one), automatic mail, other servers' answers, and what leaves (mail_out)."""
    if "Action" in given:
        judged = _judged(given)
        assert judged.delivery in _DELIVERIES.get(expect["message"], _NOT_A_BOUNCE)
        assert judged.suppress == (expect["address"] == "suppress")
    elif "auto_answer_sent" in expect:
        fields = [f"{name}: {value}" for name, value in given.items()]
        assert read_letter(letter(*fields)).automatic == (expect["auto_answer_sent"] == 0)
        assert not read_letter(letter()).automatic, "the comparison must be able to fail"
    elif "reply" in given:
        tried_again(given, expect)
    elif given.get("kind") == "ticket ready":
        names = [line.partition(b":") for line in _ours("Ready").partition(b"\r\n\r\n")[0].split(b"\r\n")]
        said = [value.strip().decode() for name, _, value in names if name.lower() == b"auto-submitted"]
        assert said == [expect["Auto-Submitted"]] * expect["count"]
    elif given.get("kind") == "answer":
        answered(given, expect)
    elif "url_octets" in given:
        one_click_fields(given, expect)
    elif given.get("method") == "GET" or "content_type" in given:
        one_click(given, expect)
    else:
        raise NotBuilt("this case is about something else")


def _judged(given: Given) -> Judged:
    [report] = read_letter(delivery_report(group(given["Action"], given["Status"]))).reports
    return judge(report.action, report.status)


def hostile(given: Given, expect: Given) -> None:
    """A bad letter is refused for the stated reason, in the stated time."""
    if "subject" in given:
        _keeps_its_fields(given["subject"])
        return
    if "address" in given:
        _is_refused(given["address"])
        return
    start = time.process_time()
    read = read_letter(_hostile(given))
    spent = time.process_time() - start
    assert read.refused == expect["decision"].removeprefix("reject_")
    assert spent < expect.get("cpu_seconds_max", 1)


def _ours(subject: str) -> bytes:
    return compose_mail(
        sender=Mailbox("Tramstop Bench", "bench@example.org"),
        to="pat@example.org",
        reply_to=None,
        subject=subject,
        text="Your radio is ready.",
        html=None,
        message_id="<1@example.org>",
        date=datetime(2026, 11, 27, 12, 0, tzinfo=UTC),
        language="en",
    )


def _keeps_its_fields(subject: str) -> None:
    """Read with Python's own parser: the same names as with a plain subject, and no Bcc."""
    evil, plain = (message_from_bytes(_ours(text)).keys() for text in (subject, "Plain"))
    assert evil == plain and "bcc" not in map(str.lower, evil)


def _is_refused(address: str) -> None:
    """As what a person typed, and as an invite's attendee."""
    with pytest.raises(Invalid):
        parse_email(address.removeprefix("mailto:"))
    with pytest.raises((Invalid, ValueError)):
        invite_bytes(an_invite(attendee_address=address.removeprefix("mailto:")))


def _hostile(given: Given) -> bytes:
    if "From" in given:
        first, second = given["From"]
        return letter(f"From: {second}", sender=first)
    if given.get("make") == "nested multipart/mixed":  # the title says 3 000
        return b"From: pat@example.org\r\n" + b"".join(
            b"Content-Type: multipart/mixed; boundary=b%d\r\n\r\n--b%d\r\n" % (n, n) for n in range(3000)
        )
    if given.get("make", "").startswith(("'Subject: '", "'From: '")):
        made = given["make"]
        field = eval(made, {"__builtins__": {}})
        return letter(field) if made.startswith("'Subject") else letter(sender=field.removeprefix("From: "))
    raise NotBuilt("reading invites is not built yet")


def mime(given: Given, expect: Given) -> None:
    """Which part is the calendar part, and by which method."""
    if expect.get("decision") == "route_to_human":
        read = read_letter(multipart("Content-Type: text/plain\n\nI can not come.\n", _attached("application/ms-tnef")))
        assert (read.refused, read.calendar, read.text) == ("", b"", "I can not come.")
    elif "accepted_as_imip" in expect:
        read = read_letter(_with_calendar(given))
        accepted = read.calendar != b"" and read.calendar_method == given.get("METHOD", "REPLY")
        assert accepted == expect["accepted_as_imip"]
    elif "calendar_found" in expect:
        assert bool(_nested(given).calendar) == expect["calendar_found"]
    else:
        raise NotBuilt("reading invites is not built yet")


def _attached(kind: str) -> str:
    return f"Content-Type: {kind}; name=winmail.dat\nContent-Disposition: attachment\n\nx\n"


def _with_calendar(given: Given) -> bytes:
    disposition = f"Content-Disposition: {given['disposition']}\n" if "disposition" in given else ""
    calendar = _CALENDAR.format(given.get("METHOD", "REPLY"))
    return multipart(
        "Content-Type: text/plain\n\nYes.\n", f"Content-Type: {given['content_type']}\n{disposition}\n{calendar}"
    )


def _nested(given: Given) -> Letter:
    """The tree of the case: text beside a multipart/mixed that holds the HTML and, attached, the calendar."""
    calendar = _CALENDAR.format(given["METHOD"]).replace("\n", "=0D=0A")
    inner = (
        "Content-Type: multipart/mixed; boundary=in\n\n--in\nContent-Type: text/html\n\n<p>Yes</p>\n--in\n"
        'Content-Type: text/calendar; name="iCal-20080812-131911.ics"\nContent-Disposition: attachment\n'
        f"Content-Transfer-Encoding: quoted-printable\n\n{calendar}\n--in--\n"
    )
    read = read_letter(multipart("Content-Type: text/plain\n\nYes\n", inner, kind="alternative"))
    assert read.calendar.startswith(b"BEGIN:VCALENDAR\r\nMETHOD:REPLY\r\n") and read.calendar_method == ""
    return read


AREAS = {"mail": mail, "hostile": hostile, "mime": mime}
