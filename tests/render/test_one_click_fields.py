"""The two fields of one-click survive our own writing: read again by Python's parser, and nothing else can get in.

Sources: RFC 8058 3.1 (one https address; the value), RFC 2369 2 (angle brackets, no second address), RFC 5322 2.1.1
(998 octets must, 78 should), RFC 2047 5 (no encoded word in such a field).
"""

from __future__ import annotations

from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

import pytest

from notify.core.errors import Invalid
from notify.render.email import Mailbox, compose_mail


def mail(**more: Any) -> bytes:
    return compose_mail(
        sender=Mailbox("Tramstop Bench", "bench@example.org"), to="pat@example.org", reply_to=None,
        subject="Does it still work?", text="Does it still work?", html="<p>Does it still work?</p>",
        message_id="<1@example.org>", date=datetime(2026, 11, 27, 12, 0, tzinfo=UTC), language="en", **more,
    )  # fmt: skip


def link_of(octets: int) -> str:
    return "https://bench.example.org/u/".ljust(octets, "x")


@pytest.mark.parametrize("octets", [40, 58, 59, 60, 75, 76, 77, 78, 140, 500, 900])
def test_both_fields_are_read_back_as_they_were_meant_at_any_length(octets: int) -> None:
    raw = mail(unsubscribe=link_of(octets))
    for read in (policy.default, policy.compat32, policy.SMTP):
        whole = message_from_bytes(raw, policy=read)
        (said,) = whole.get_all("List-Unsubscribe", [])
        assert "".join(str(said).split()) == f"<{link_of(octets)}>"
        assert [str(one) for one in whole.get_all("List-Unsubscribe-Post", [])] == ["List-Unsubscribe=One-Click"]
    head = raw.partition(b"\r\n\r\n")[0].split(b"\r\n")
    assert b"=?" not in b"".join(head) and max(map(len, head)) <= 998
    assert octets > 75 or max(len(line) for line in head if b"https" in line) <= 78, "RFC 5322 2.1.1 should"


def test_pythons_own_writer_would_have_spoilt_the_longer_ones() -> None:
    """Why the head is written by hand: the trap is real in this interpreter, or this test says that it went away."""
    whole = EmailMessage(policy=policy.SMTP)
    whole["List-Unsubscribe"] = f"<{link_of(140)}>"
    assert b"=?" in whole.as_bytes()


def test_mail_that_nobody_has_to_agree_to_has_neither_field() -> None:
    assert b"list-unsubscribe" not in mail().lower()


@pytest.mark.parametrize(
    "link",
    [
        "", "http://bench.example.org/u/x", "mailto:stop@example.org", "https://", "https://a.example.org/u/x>",
        "https://a.example.org/u/x,https://b.example.org/", "https://a.example.org/u/x y",
        "https://a.example.org/u/x\r\nBcc: all@example.org", "https://a.example.org/u/x\tz",
        "https://a.example.org/u/=?utf-8?q?x?=", "https://bücher.example.org/u/x", link_of(901),
    ],
)  # fmt: skip
def test_a_link_that_is_not_one_https_address_is_refused(link: str) -> None:
    with pytest.raises(Invalid):
        mail(unsubscribe=link)
