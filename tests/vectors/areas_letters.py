"""Adapters for letters that come in: what is automatic, what a report says, what is refused, where the calendar is."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest

from notify.core.bounces import Judged, judge
from notify.core.contacts import parse_email
from notify.core.errors import Invalid
from notify.core.itip import Answer, Unread
from notify.core.messages import Delivery
from notify.inbox.calendar_part import read_answer
from notify.inbox.letter import Letter, read_letter
from notify.inbox.take import calendar_answers
from notify.render.email import Mailbox, compose_mail
from notify.render.invite import invite_bytes
from tests.parts.answers import PROVED, calendar_object, judged, standing
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
        assert expect["Bcc_present"] is False
        return
    if "address" in given:
        _is_refused(given["address"])
        assert expect["exception_or_reject"]
        return
    start = time.process_time()
    if given.get("make", "")[1:9] in _IN_CALENDARS or "wire" in given or "values" in given:
        decisions = [_decision(wire) for wire in _hostile_calendars(given)]
    else:
        decisions = [f"reject_{read_letter(_hostile(given)).refused}"]
    spent = time.process_time() - start
    # H-06: a rule of recurrence is read by nobody, so it is never expanded.
    wanted = "ignored" if expect["decision"] == "ignore property or reject" else expect["decision"]
    assert decisions and set(decisions) == {wanted}, decisions
    assert spent < expect.get("cpu_seconds_max", 1)


_IN_CALENDARS = ("DESCRIPT", "ATTENDEE")


def _hostile_calendars(given: Given) -> list[bytes]:
    """The case's lines put into an otherwise good reply."""
    if "values" in given:
        return [calendar_object(f"SEQUENCE:{value}", sequence=None) for value in given["values"]]
    if "wire" in given:
        return [calendar_object(given["wire"])]
    made, _, count = given["make"].partition(" for ")
    text = eval(made, {"__builtins__": {}})
    return [calendar_object(*(text % n for n in range(int(count)))) if count else calendar_object(text)]


def _decision(wire: bytes) -> str:
    read = read_answer(wire, method="REPLY")
    return str(read.decision) if isinstance(read, Unread) else "ignored"


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
    raise NotBuilt("this case is about something else")


def mime(given: Given, expect: Given) -> None:
    """What leaves as an invite; which part of a letter is the calendar part, and by which method."""
    if "action" in given:
        _tree_that_leaves(expect)
    elif "SUMMARY" in given:
        _beyond_ascii(given["SUMMARY"], expect)
    elif expect.get("decision") == "route_to_human":
        read = read_letter(multipart("Content-Type: text/plain\n\nI can not come.\n", _attached("application/ms-tnef")))
        assert (read.refused, read.calendars, read.text) == ("", (), "I can not come.")
        assert [one.decision for one in calendar_answers(read) if isinstance(one, Unread)] == [expect["decision"]]
    elif "calendar_found" in expect:
        assert bool(_nested(given).calendars) == expect["calendar_found"]
        assert expect["decision"].startswith("apply")
        answer, verdict = judged(standing(), _apple_letter())
        assert isinstance(answer, Answer) and verdict.decision == "apply"
    else:
        _accepted(given, expect)


def _accepted(given: Given, expect: Given) -> None:
    found = calendar_answers(read_letter(_with_calendar(given)))
    if "accepted_as_imip" in expect:
        accepted = [one.method for one in found if isinstance(one, Answer)] == ["REPLY"]
        assert accepted == expect["accepted_as_imip"]
    else:
        assert [one.decision for one in found if isinstance(one, Unread)] == [expect["decision"]]


def _apple_letter() -> bytes:
    raw = (Path(__file__).parent / "replies" / "apple-like-decline-nested-no-method.eml").read_bytes()
    return f"Authentication-Results: {PROVED}\r\n".encode() + raw


def _invite_mail(summary: str) -> tuple[bytes, EmailMessage]:
    wire = invite_bytes(an_invite(summary=summary))
    raw = compose_mail(
        sender=Mailbox("Tramstop Bench", "pickup-7f3k9q@example.org"), to="pat@example.com", reply_to=None,
        subject="Your pickup", text="Your pickup time.", html="<p>Your pickup time.</p>", message_id="<1@example.org>",
        date=datetime(2026, 11, 27, 12, 0, tzinfo=UTC), language="en", invite=wire, method="REQUEST",
    )  # fmt: skip
    mail = message_from_bytes(raw, policy=policy.default)
    assert isinstance(mail, EmailMessage)
    return wire, mail


def _tree_that_leaves(expect: Given) -> None:
    wire, mail = _invite_mail("Pickup")
    outer, (alternative, *attached) = expect["tree"][0], list(mail.iter_parts())
    inner = list(alternative.iter_parts())
    assert (mail.get_content_type(), alternative.get_content_type()) == (outer, expect["tree"][1][0])
    kinds = [kind.partition(" ")[0].partition(";")[0] for kind in expect["tree"][1][1]]
    assert [part.get_content_type() for part in inner] == kinds
    assert (inner[-1].get_content_type() == "text/calendar") == expect["calendar_is_last_alternative"]
    assert (inner[-1].get_content_disposition() == "attachment") == expect[
        "calendar_alternative_has_attachment_disposition"
    ]
    copies = [part.get_payload(decode=True) for part in (inner[-1], *attached)]
    assert copies == [wire] * 2 and expect["same_calendar_bytes_in_both"]
    assert [part.get_content_type() for part in attached] == ["application/ics"], expect["other_attachments"]


def _beyond_ascii(summary: str, expect: Given) -> None:
    wire, mail = _invite_mail(summary)
    [part] = [each for each in mail.walk() if each.get_content_type() == "text/calendar"]
    octets = part.get_payload(decode=True)
    assert part.get_param("charset") == expect["charset_param"] and octets == wire
    assert part["content-transfer-encoding"] in expect["cte_one_of"]
    assert octets.count(b"\n") == octets.count(b"\r\n") > 5 and expect["decoded_line_breaks"] == "CRLF"
    assert summary in octets.replace(b"\r\n ", b"").decode()


def _attached(kind: str) -> str:
    return f"Content-Type: {kind}; name=winmail.dat\nContent-Disposition: attachment\n\nx\n"


def _with_calendar(given: Given) -> bytes:
    disposition = f"Content-Disposition: {given['disposition']}\n" if "disposition" in given else ""
    calendar = calendar_object(method=given.get("METHOD", "REPLY")).decode().replace("\r\n", "\n")
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
    [(octets, method)] = read.calendars
    assert octets.startswith(b"BEGIN:VCALENDAR\r\nMETHOD:REPLY\r\n") and method == ""
    return read


AREAS = {"mail": mail, "hostile": hostile, "mime": mime}
