"""Reads one letter from its bytes, whatever they are: bounded in size, depth, parts and time, and never raising."""

from __future__ import annotations

from dataclasses import dataclass

from notify.inbox.reports import Report as Report

LARGEST = 2 * 1024 * 1024  # octets; nothing larger is ever fetched (TESTPLAN D15)


@dataclass(frozen=True, slots=True, repr=False)
class Letter:
    """What was read.

    `key` is the SHA-256 (hex) of the Message-ID, else of the bytes: a letter acts once per key. `message_id` and
    `answers` carry their angle brackets; `answers` is In-Reply-To, then References, without doubles. `sender` is the one
    addr-spec of From, "" if there is none, there are two, or it is malformed. `recipients` are the addresses it came to
    (To, Cc, Delivered-To, X-Original-To, Envelope-To). `text` is what the writer wrote now: quoted mail and signature are
    cut off. `automatic`: never answer it (RFC 3834 2). `calendar` is the text/calendar part; its method is in capitals,
    "" if its type names none. `refused` is "", or why the rest is empty: too_large, too_deep, malformed; `key` and, where
    they could be read, `message_id`, `sender`, `recipients`, `subject` and `answers` stand even then.
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
    calendar: bytes = b""
    calendar_method: str = ""
    refused: str = ""

    def __repr__(self) -> str:
        return f"Letter({self.key[:12]}, refused={self.refused!r})"  # addresses and texts must not reach a log


def read_letter(raw: bytes) -> Letter:
    """The letter in `raw` (RFC 5322 and MIME, with CRLF or LF). Never raises; see Letter for what is refused."""
    raise NotImplementedError
