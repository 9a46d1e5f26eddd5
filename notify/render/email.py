"""Composes one mail for one reader as bytes: the same input always gives the same bytes."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime
from email.errors import HeaderParseError
from email.header import Header
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, quote

from notify.core.errors import Invalid
from notify.core.one_click import FIELD, VALUE
from notify.render.email_html import prepare_html

# Longest display name or subject: both fit a screen line; longer ones are a mistake or an attack (policy).
LINE_WISH = 78  # RFC 5322 2.1.1: what a line should not exceed
NAME_LIMIT, SUBJECT_LIMIT, MESSAGE_ID_LIMIT = 100, 200, 250

# Besides CR and LF: every control character, and the separators that some programs break lines at.
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")
_BROKEN = re.compile(r"[\ud800-\udfff]")
_UNUSUAL = re.compile(r"[^\x20-\x7e\r\n]")
_MESSAGE_ID = re.compile(r"<[A-Za-z0-9._-]+@[A-Za-z0-9.-]+>")
_LETTER_ID = re.compile(r"<[!-;=?-~]+>")  # of somebody else's making: anything printable but brackets and spaces
# One address alone (RFC 8058 3.1): no comma, which would begin a second one, no sign that ends it, no encoded word.
_HTTPS = re.compile(r"https://[!-+\--;=?-~]+")
URL_LIMIT = 900  # with the field's name below the 998 octets of RFC 5322 2.1.1
_LANGUAGE = re.compile(r"[A-Za-z]{2,3}(?:-[A-Za-z0-9]{2,8})*")
_METHOD = re.compile(rb"^METHOD:([A-Z]+)\r\n", re.MULTILINE | re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Mailbox:
    """A name to show (may be empty) and one address."""

    name: str
    address: str


def compose_mail(
    *,
    sender: Mailbox,
    to: str,
    reply_to: str | None,
    subject: str,
    text: str,
    html: str | None,
    message_id: str,
    date: datetime,
    language: str,
    invite: bytes | None = None,
    method: str | None = None,
    answers: str | None = None,
    unsubscribe: str | None = None,
) -> bytes:
    """The whole mail, ASCII with CRLF, ready to hand over.

    Text alone gives one text/plain part; HTML makes it multipart/alternative; an invite (iCalendar bytes)
    goes into the alternative as text/calendar and beside it as a file, the shape that calendar programs
    understand best (CalConnect's advice for iMIP). `method` must be the one inside the invite. `message_id`
    with its angle brackets, `date` aware. `answers` is the Message-ID of the letter that this mail answers by
    itself, "" for one without; None for a mail of our own. `unsubscribe` is the https address that stops this kind
    of mail by one press (RFC 8058); None for a kind that nobody has to agree to.
    Raises Invalid for a line break or other control character in any header, for more than one address, and for
    HTML that would fetch something.
    """
    _check_texts(text, html)
    head = [
        ("From", _address(sender.address, "sender", name=_line(sender.name, NAME_LIMIT, "sender"))),
        ("To", _address(to, "to")),
        *([("Reply-To", _address(reply_to, "reply_to"))] if reply_to is not None else []),
        ("Subject", _encoded("Subject", _line(subject, SUBJECT_LIMIT, "subject"))),
        ("Date", _date(date)),
        ("Message-ID", _message_id(message_id)),
        ("Content-Language", _language(language)),
        # RFC 3834 5.1 and 5.2: keeps holiday notices from answering, and says which letter made us answer.
        ("Auto-Submitted", "auto-generated" if answers is None else "auto-replied"),
        *_answered(answers or ""),
        *(_one_click(unsubscribe) if unsubscribe is not None else ()),
    ]
    body = EmailMessage(policy=SMTP)
    _add_text(body, text, alone=html is None and invite is None)
    if html is not None:
        body.add_alternative(prepare_html(html), subtype="html", cte="quoted-printable")
    if invite is not None:
        _add_invite(body, invite, _method(invite, method))
    _fix_boundaries(body, message_id)
    return "".join(f"{name}: {value}\r\n" for name, value in head).encode("ascii") + body.as_bytes()


def _answered(letter_id: str) -> list[tuple[str, str]]:
    """RFC 3834 3.1.6 (RFC 5322 3.6.4): the letter's own identity; one that is none, or too long a line, is left out."""
    if len(letter_id) > MESSAGE_ID_LIMIT or not _LETTER_ID.fullmatch(letter_id):
        return []
    return [("In-Reply-To", letter_id), ("References", letter_id)]


def _one_click(link: str) -> list[tuple[str, str]]:
    """RFC 8058 3.1: one https address and the word. Written as it is: an encoded word would kill it (RFC 2369 2)."""
    if len(link) > URL_LIMIT or not _HTTPS.fullmatch(link) or "=?" in link:
        raise Invalid("The link to stop these mails is not usable", "It is one https address.", field="unsubscribe")
    fold = "\r\n " if len(f"List-Unsubscribe: <{link}>") > LINE_WISH else ""
    return [("List-Unsubscribe", f"{fold}<{link}>"), ("List-Unsubscribe-Post", f"{FIELD}={VALUE}")]


def _message_id(message_id: str) -> str:
    if len(message_id) > MESSAGE_ID_LIMIT or not _MESSAGE_ID.fullmatch(message_id):
        raise Invalid("The Message-ID is not usable", "Give it as <letters-and-digits@domain>.", field="message_id")
    return message_id


def _date(date: datetime) -> str:
    if date.tzinfo is None:
        raise Invalid("The date of the mail has no zone", "Give an aware date.", field="date")
    return format_datetime(date)


def _language(tag: str) -> str:
    if not _LANGUAGE.fullmatch(tag):
        raise Invalid("The language of the mail is not a tag", "Give en or de.", field="language")
    return tag


def _check_texts(text: str, html: str | None) -> None:
    if not text.strip():
        raise Invalid("The mail has no text", "Fill in the text part of its template.", field="text")
    if _BROKEN.search(text) or _BROKEN.search(html or ""):
        raise Invalid("The mail holds half a character", "Enter the text again.", field="text")


def _line(value: str, limit: int, field: str) -> str:
    """A header's text, checked: nothing in it may start a header of its own."""
    if _CONTROL.search(value):
        raise Invalid(f"The {field} holds a line break or control character", "Use one line.", field=field)
    if len(value) > limit:
        raise Invalid(f"The {field} is longer than {limit} characters", "Shorten it.", field=field)
    return " ".join(value.split())


def _encoded(header: str, value: str) -> str:
    """Words as RFC 2047 has them, folded. What looks like an encoded word already is encoded once more."""
    plain = value.isascii() and "=?" not in value
    return Header(value, "us-ascii" if plain else "utf-8", header_name=header).encode(linesep="\r\n")


def _address(text: str, field: str, *, name: str = "") -> str:
    """One address, with its name before it. EmailMessage is not used: folding a long name it loses quotes."""
    wrong = Invalid(f"The {field} is not exactly one address", "Give one address and no name.", field=field)
    if not text.isascii() or _CONTROL.search(text) or any(sign in text for sign in ' ,;:<>()[]"\\'):
        raise wrong
    try:
        address = Address(addr_spec=text)
    except (ValueError, HeaderParseError, IndexError):
        raise wrong from None
    if not address.username or not address.domain:
        raise wrong
    if not name:
        return text
    phrase = f'"{quote(name)}"' if name.isascii() and "=?" not in name else _encoded("From", name)
    return f"{phrase}\r\n <{text}>" if len(phrase) + len(text) > 68 else f"{phrase} <{text}>"


def _add_text(body: EmailMessage, text: str, *, alone: bool) -> None:
    # A mail-to-SMS gateway wants the bare text; QP everywhere else keeps "=_" out of every part, so that a
    # boundary can never occur in one (RFC 2045 6.7 rule 5, RFC 2046 5.1.1).
    bare = alone and not _UNUSUAL.search(text) and max(map(len, text.splitlines())) < 990
    if bare:
        body.set_content(text, charset="us-ascii", cte="7bit")
    else:
        body.set_content(text, charset="utf-8", cte="quoted-printable")


def _method(invite: bytes, given: str | None) -> str:
    """The one METHOD of the invite (RFC 5545 3.7.2: header and object must agree)."""
    found: list[str] = [name.decode() for name in _METHOD.findall(invite)]
    if invite.count(b"\r\n") != invite.count(b"\n") or invite.count(b"\r\n") != invite.count(b"\r"):
        raise Invalid("The invite has lines that do not end in CRLF", "Render it anew.", field="invite")
    if len(found) != 1 or (given is not None and given != found[0]):
        raise Invalid("The invite's method is not the one of the mail", "Name the same one.", field="method")
    return found[0]


def _add_invite(body: EmailMessage, invite: bytes, method: str) -> None:
    body.add_alternative(
        invite,
        maintype="text",
        subtype="calendar",
        cte="base64",
        params={"method": method, "charset": "UTF-8"},
    )
    body.add_attachment(invite, maintype="application", subtype="ics", cte="base64", filename="pickup.ics")


def _fix_boundaries(body: EmailMessage, message_id: str) -> None:
    """Boundaries from the Message-ID instead of a random source: a second rendering gives the same bytes."""
    root = hashlib.sha256(message_id.encode()).hexdigest()[:32]
    for number, part in enumerate(body.walk()):
        if part.is_multipart():
            part.set_boundary(f"=_{root}_{number}")
        if number:
            del part["MIME-Version"]  # said once, at the top (RFC 2045 4)
