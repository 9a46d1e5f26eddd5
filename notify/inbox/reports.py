"""What a letter says about messages that we sent: the fields of delivery reports (RFC 3464, RFC 6522)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from notify.inbox.fields import LARGEST_HEADER, Fields, addresses, identifiers, line, read_fields, split_header
from notify.inbox.parts import Part

# The second of each is the form with addresses in UTF-8 (RFC 6533 3).
_STATUS = ("message/delivery-status", "message/global-delivery-status")
_RETURNED = ("message/rfc822", "text/rfc822-headers", "message/global", "message/global-headers")
_MOST_GROUPS = 50
_GROUPS = re.compile(rb"(?:\r?\n){2,}")
_DIAGNOSTIC = 200


@dataclass(frozen=True, slots=True, repr=False)
class Report:
    """One recipient's group of a delivery report; each field is a cleaned line, "" where the report has none.

    `action` is in small letters, `status` as written (core/bounces reads it), `recipient` an address, `message_id` that
    of the message it is about with its angle brackets, `diagnostic` at most 200 characters.
    """

    action: str
    status: str
    recipient: str
    message_id: str
    diagnostic: str

    def __repr__(self) -> str:
        return f"Report({self.action}, {self.status})"  # addresses must not reach a log


def read_reports(parts: Sequence[Part]) -> tuple[Report, ...]:
    """The groups of the first 50 recipients in the delivery reports of a letter; only a multipart/report has any."""
    told = [part for part in parts if part.in_report]
    about = _message_id(told)
    groups = [group for part in told if part.kind in _STATUS for group in _groups(part)]
    return tuple(_report(group, about) for group in groups[:_MOST_GROUPS])


def _groups(part: Part) -> list[Fields]:
    """RFC 3464 2.1: the first group is about the message, each further one about a recipient."""
    text = part.content(limit=LARGEST_HEADER).strip()
    blocks = [read_fields(block) for block in _GROUPS.split(text, maxsplit=_MOST_GROUPS + 1)]
    return [fields for fields in blocks if fields.first("action") or fields.first("final-recipient")]


def _report(group: Fields, message_id: str) -> Report:
    return Report(
        action=line(group.first("action"), limit=80).lower(),
        status=line(group.first("status"), limit=80),
        recipient=_recipient(group),
        message_id=message_id,
        diagnostic=line(group.first("diagnostic-code"), limit=_DIAGNOSTIC),
    )


def _recipient(group: Fields) -> str:
    """The address as we wrote it, if the report knows (RFC 3464 2.3.1), else where it went in the end (2.3.2)."""
    typed = (group.first("original-recipient"), group.first("final-recipient"))
    values = [value.partition(";")[2] for value in typed]
    return next(islice(addresses(values), 1), "")


def _message_id(parts: Sequence[Part]) -> str:
    for part in parts:
        if part.kind in _RETURNED:
            header, _ = split_header(part.content(limit=LARGEST_HEADER).lstrip(b"\r\n"))
            return next(iter(identifiers(read_fields(header).first("message-id"))), "")
    return ""
