"""Mails parsed back by the standard library: what was meant, and nothing that somebody slipped in."""

from __future__ import annotations

import email
import os
import subprocess
import sys
from datetime import UTC, datetime
from email.header import decode_header, make_header
from email.message import EmailMessage
from email.policy import SMTP, default
from email.utils import parseaddr
from pathlib import Path
from typing import Any

import icalendar
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.errors import Invalid
from notify.render.email import Mailbox, compose_mail

INVITE = (
    "BEGIN:VCALENDAR\r\nPRODID:-//example.org//pickup//EN\r\nVERSION:2.0\r\nMETHOD:REQUEST\r\nBEGIN:VEVENT\r\n"
    "UID:0b7f6c0e-64a5-4b39-9a3e-0a8b4cde9a11\r\nDTSTAMP:20261125T090000Z\r\nDTSTART:20261126T103000Z\r\n"
    "SUMMARY:Gerät abholen – Tramstop Bench\r\nDESCRIPTION:A line that is long enough to be folded because it"
    " goes\r\n  on\r\nORGANIZER:mailto:pickup-1@example.org\r\nATTENDEE:mailto:pat@example.org\r\nEND:VEVENT\r\n"
    "END:VCALENDAR\r\n"
).encode()

HTML = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Ready</title>'
    "<style>p { color: #222 } @media (max-width: 600px) { p { font-size: 18px } }</style></head>"
    '<body><p>Your radio is ready – <a href="https://example.org/c/x7">choose a time</a>.</p></body></html>'
)


def mail(**changed: Any) -> bytes:
    given: dict[str, Any] = {
        "sender": Mailbox("Tramstop Bench", "bench@example.org"),
        "to": "pat@example.org",
        "reply_to": "counter@example.org",
        "subject": "Your radio is ready",
        "text": "Your radio is ready.\n.\nFrom Thursday – until 18:00.\n",
        "html": HTML,
        "message_id": "<7d3f9f1e0c6b4a58@example.org>",
        "date": datetime(2026, 11, 25, 9, 0, tzinfo=UTC),
        "language": "en",
        "invite": INVITE,
        "method": "REQUEST",
    }
    return compose_mail(**{**given, **changed})


def parsed(raw: bytes) -> EmailMessage:
    message = email.message_from_bytes(raw, policy=default)
    assert isinstance(message, EmailMessage)
    for part in message.walk():
        assert part.defects == []
        assert all(not value.defects for value in part.values())
    return message


def shape(message: Any) -> Any:
    if not message.is_multipart():
        return message.get_content_type()
    return {message.get_content_type(): [shape(part) for part in message.iter_parts()]}


def part_of(message: Any, kind: str) -> Any:
    return next(part for part in message.walk() if part.get_content_type() == kind)


def words_of(message: Any, kind: str) -> str:
    return str(part_of(message, kind).get_content()).replace("\r\n", "\n")


def test_an_invite_has_the_shape_that_calendar_programs_understand() -> None:
    alternative = {"multipart/alternative": ["text/plain", "text/html", "text/calendar"]}
    assert shape(parsed(mail())) == {"multipart/mixed": [alternative, "application/ics"]}


def test_a_mail_without_an_invite_is_text_and_html() -> None:
    message = parsed(mail(invite=None, method=None))
    assert shape(message) == {"multipart/alternative": ["text/plain", "text/html"]}


def test_text_alone_is_one_bare_part_as_sms_gateways_want_it() -> None:
    message = parsed(mail(html=None, invite=None, method=None, text="Ready. Tramstop Bench"))
    assert shape(message) == "text/plain"
    assert (message["Content-Transfer-Encoding"], message.get_content_charset()) == ("7bit", "us-ascii")
    assert words_of(message, "text/plain") == "Ready. Tramstop Bench\n"


def test_every_header_says_what_it_was_given() -> None:
    message = parsed(mail(subject="Ihr Gerät ist fertig – Größe ✓", sender=Mailbox("Müller, Söhne", "a@example.org")))
    sender = message["From"].addresses
    assert [(one.display_name, one.addr_spec) for one in sender] == [("Müller, Söhne", "a@example.org")]
    assert [one.addr_spec for one in message["To"].addresses] == ["pat@example.org"]
    assert [one.addr_spec for one in message["Reply-To"].addresses] == ["counter@example.org"]
    assert message["Subject"] == "Ihr Gerät ist fertig – Größe ✓"
    assert message["Message-ID"] == "<7d3f9f1e0c6b4a58@example.org>"
    assert message["Date"].datetime == datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
    assert (message["Auto-Submitted"], message["Content-Language"]) == ("auto-generated", "en")
    names = [name.lower() for name in message]
    assert len(names) == len(set(names))
    assert not {"bcc", "cc", "sender", "received", "x-mailer"} & set(names)


def test_the_calendar_part_names_its_method_and_keeps_crlf_inside_base64() -> None:
    message = parsed(mail())
    calendar = part_of(message, "text/calendar")
    assert dict(calendar["Content-Type"].params) == {"method": "REQUEST", "charset": "UTF-8"}
    assert calendar["Content-Transfer-Encoding"] == "base64"
    assert calendar.get_payload(decode=True) == INVITE
    attached = part_of(message, "application/ics")
    assert (attached.get_filename(), attached.get_content_disposition()) == ("pickup.ics", "attachment")
    assert attached.get_payload(decode=True) == INVITE
    event = icalendar.Calendar.from_ical(calendar.get_payload(decode=True)).events[0]
    assert str(event["SUMMARY"]) == "Gerät abholen – Tramstop Bench"


def test_text_and_html_come_back_word_for_word() -> None:
    message = parsed(mail())
    assert words_of(message, "text/plain") == "Your radio is ready.\n.\nFrom Thursday – until 18:00.\n"
    page = words_of(message, "text/html")
    assert "Your radio is ready – <a href=" in page
    assert '<p style="color: #222' in page
    assert "@media (max-width: 600px)" in page


@pytest.mark.parametrize(
    "changed", [{}, {"invite": None, "method": None}, {"html": None}], ids=["invite", "html", "text"]
)
def test_the_bytes_are_ascii_lines_of_bounded_length_ended_by_crlf(changed: dict[str, Any]) -> None:
    raw = mail(**changed, subject="Größe " * 20, text="ü" * 2000 + "\nb\rc\r\nd")
    assert raw.isascii()
    assert raw.count(b"\r\n") == raw.count(b"\n") == raw.count(b"\r")
    assert max(map(len, raw.split(b"\r\n"))) <= 78


def test_the_same_input_gives_the_same_bytes_and_another_message_id_does_not() -> None:
    assert mail() == mail()
    other = mail(message_id="<another@example.org>")
    boundaries = {part.get_boundary() for raw in (mail(), other) for part in parsed(raw).walk() if part.is_multipart()}
    assert len(boundaries) == 4


@pytest.mark.real
def test_another_process_with_another_hash_seed_gives_the_same_bytes() -> None:
    code = "import sys; from tests.render.test_email import mail; sys.stdout.buffer.write(mail())"
    for seed in ("1", "4242"):
        run = subprocess.run(
            [sys.executable, "-c", code],
            cwd=Path(__file__).parents[2],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
        )
        assert run.stdout == mail()


INJECTIONS = [
    "\r\nBcc: eve@example.net",
    "\nBcc: eve@example.net",
    "\rX: y",
    "\x00",
    "\x85X: y",
    "\u2028X: y",
    "\x0b",
    "\ud800",
]


@pytest.mark.parametrize("field", ["subject", "to", "reply_to", "message_id", "language", "name", "address", "method"])
@pytest.mark.parametrize("injection", INJECTIONS, ids=ascii)
def test_no_header_takes_a_line_break_or_control_character(field: str, injection: str) -> None:
    values: dict[str, Any] = {
        "subject": "Ready" + injection,
        "to": "pat@example.org" + injection,
        "reply_to": "counter@example.org" + injection,
        "message_id": f"<a{injection}@example.org>",
        "language": "en" + injection,
        "method": "REQUEST" + injection,
    }
    sender = {
        "name": Mailbox("Tramstop" + injection, "bench@example.org"),
        "address": Mailbox("Tramstop", f"bench{injection}@example.org"),
    }
    changed = {"sender": sender[field]} if field in sender else {field: values[field]}
    with pytest.raises(Invalid) as refused:
        mail(**changed)
    assert "eve@" not in str(refused.value)


@pytest.mark.parametrize(
    "to",
    [
        "",
        "pat",
        "@example.org",
        "pat@",
        "a@example.org, b@example.org",
        "a@example.org;b@example.org",
        "Pat <pat@example.org>",
        "<pat@example.org>",
        "pat@example.org b@example.org",
        "a@b@example.org",
        "pät@example.org",
        "pat@exämple.org",
        '"a b"@example.org',
        "grp: a@example.org;",
        "pat(x)@example.org",
        "pat@example.org>",
        "pat..x@example.org",
    ],
)
def test_anything_but_one_plain_address_is_refused(to: str) -> None:
    with pytest.raises(Invalid):
        mail(to=to)


# No lone surrogates (refused), no control characters (refused), nothing that only differs in spaces (folded).
WORDS = st.text(st.characters(exclude_categories=["Cc", "Cs", "Zs", "Zl", "Zp"]), min_size=1, max_size=14)
LINES = st.lists(WORDS, min_size=1, max_size=6).map(" ".join)
AWKWARD = st.lists(
    st.sampled_from(
        [
            "=?utf-8?q?x?=",
            '"',
            "\\",
            ",",
            "<eve@example.net>",
            "@",
            ";",
            ":",
            "Ä",
            "é" * 9,
            "B",
            "(",
            ")",
            "📱",
        ]
    ),
    min_size=1,
    max_size=5,  # five of the longest are still a name that is taken
).map(" ".join)


@given(name=st.one_of(LINES, AWKWARD), subject=st.one_of(LINES, AWKWARD))
@settings(max_examples=120, deadline=None)
def test_any_name_and_subject_come_back_and_never_make_a_second_address(name: str, subject: str) -> None:
    raw = mail(sender=Mailbox(name, "bench@example.org"), subject=subject, html=None, invite=None, method=None)
    message = email.message_from_bytes(raw, policy=SMTP)
    assert [one.addr_spec for one in message["From"].addresses] == ["bench@example.org"]
    assert [one.addr_spec for one in message["To"].addresses] == ["pat@example.org"]
    # The other parser of the standard library: its newer one keeps the space between two encoded words.
    shown, _ = parseaddr(str(email.message_from_bytes(raw)["From"]))
    assert str(make_header(decode_header(shown))) == name
    assert message["Subject"] == subject


def test_a_line_break_hidden_in_an_encoded_word_stays_hidden() -> None:
    hidden = "=?utf-8?q?Ready=0D=0ABcc:_eve@example.net?="
    message = parsed(mail(subject=hidden, sender=Mailbox(hidden, "bench@example.org")))
    assert "Bcc" not in message
    assert message["Subject"] == message["From"].addresses[0].display_name == hidden


@given(
    st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=200).filter(lambda text: bool(text.strip()))
)
@settings(max_examples=80, deadline=None)
def test_any_text_comes_back_with_line_ends_made_equal(text: str) -> None:
    message = email.message_from_bytes(mail(text=text, html=None), policy=default)
    found = words_of(message, "text/plain")
    wanted = text.replace("\r\n", "\n").replace("\r", "\n")
    assert found.rstrip("\n") == wanted.rstrip("\n")


@pytest.mark.parametrize(
    "planted",
    [
        '<img src="https://example.net/a.gif">',
        '<img src="//example.net/a.gif">',
        '<img srcset="https://example.net/a 2x">',
        '<link rel="stylesheet" href="https://example.net/a.css">',
        "<script>1</script>",
        '<iframe src="x"></iframe>',
        '<p style="background:url(https://example.net/a)">',
        "<style>@import 'https://example.net/a.css';</style>",
        '<body background="https://example.net/a.png">',
        '<a href="javascript:alert(1)">x</a>',
        '<p onclick="x()">',
        '<form action="/x">',
        '<meta http-equiv="refresh" content="0;url=https://example.net">',
        '<base href="https://example.net/">',
        "<style>p{background:u\\72l(https://example.net/a)}</style>",
        '<input type=image src="a">',
        '<video poster="a">',
        "<svg><image/></svg>",
    ],
)
def test_html_that_would_fetch_or_run_something_is_refused(planted: str) -> None:
    with pytest.raises(Invalid):
        mail(html=HTML.replace("<p>", f"{planted}<p>"))


def test_html_that_only_speaks_of_such_things_is_taken() -> None:
    said = "He wrote: src=&quot;https://example.net&quot; &lt;script&gt; url(x) @import onclick=1"
    page = part_of(parsed(mail(html=HTML.replace("Your radio", said))), "text/html").get_content()
    assert "&lt;script&gt; url(x) @import onclick=1" in page


@pytest.mark.parametrize(
    ("invite", "method"),
    [
        (INVITE, "CANCEL"),
        (INVITE.replace(b"\r\n", b"\n"), "REQUEST"),
        (INVITE.replace(b"METHOD:REQUEST\r\n", b""), None),
        (INVITE.replace(b"METHOD:REQUEST\r\n", b"METHOD:REQUEST\r\nMETHOD:CANCEL\r\n"), "REQUEST"),
        (b"", "REQUEST"),
    ],
    ids=["other", "lf", "none", "two", "empty"],
)
def test_an_invite_whose_method_is_not_the_mails_is_refused(invite: bytes, method: str | None) -> None:
    with pytest.raises(Invalid):
        mail(invite=invite, method=method)


@pytest.mark.parametrize(
    "changed",
    [
        {"text": ""},
        {"text": " \n"},
        {"text": "\ud800"},
        {"date": datetime(2026, 11, 25)},
        {"subject": "a" * 201},
        {"message_id": "bare@example.org"},
        {"message_id": f"<{'a' * 250}@example.org>"},
    ],
)
def test_what_no_mail_can_carry_is_refused_with_its_field(changed: dict[str, Any]) -> None:
    with pytest.raises(Invalid) as refused:
        mail(**changed)
    assert refused.value.field in changed


@pytest.mark.parametrize(
    ("letter", "named"),
    [
        ("<a.1@mail.example.org>", True),
        ('<"odd but legal"@example.org>', False),  # a quoted local part with spaces: legal (RFC 5322 3.6.4), left out
        ("", False),
        ("<a@b>\r\nBcc: eve@example.net", False),
        ("<a@b> <c@d>", False),
        ("<" + "x" * 300 + "@example.org>", False),
    ],
)
def test_an_automatic_answer_says_so_and_names_the_letter_it_answers(letter: str, named: bool) -> None:
    """RFC 3834 3.1.6, 3.1.7, 5.2 (vectors J-01, J-02); nothing in a stranger's identity makes a header of its own."""
    got = parsed(mail(answers=letter, invite=None, method=None))
    assert got.get_all("Auto-Submitted") == ["auto-replied"] and got["Bcc"] is None
    assert (got["In-Reply-To"], got["References"]) == ((letter, letter) if named else (None, None))
