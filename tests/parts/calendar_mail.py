"""What arrives in customers' calendars: every calendar object of every mail, and whether their order keeps RFC 5546."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from email import message_from_bytes, policy
from typing import Any

import vobject


@dataclass(frozen=True, slots=True)
class Arrived:
    """One calendar object as vobject reads it, which shares no code with the writer; `to` is who got it."""

    to: str
    method: str
    uid: str
    sequence: int
    stamp: datetime
    start: datetime | None
    octets: bytes


def mails(house: Any, person: str = "") -> list[tuple[str, Any]]:
    """(recipient, mail) of everything sent by e-mail, in order; to one person only if one is named."""
    sent = [one for one in house.sent("email") if person in ("", one.to)]
    return [(one.to, message_from_bytes(one.payload, policy=policy.default)) for one in sent]


def objects(house: Any, person: str = "") -> list[Arrived]:
    """Every calendar object that left, in order."""
    return [_read(to, part.get_payload(decode=True)) for to, mail in mails(house, person) for part in parts(mail)]


def parts(mail: Any) -> list[Any]:
    """The parts of a mail that calendar programs act on; the same object beside them as a file is left out."""
    return [part for part in mail.walk() if part.get_content_type() == "text/calendar"]


def _read(to: str, octets: bytes) -> Arrived:
    calendar = vobject.readOne(octets.decode())
    event = calendar.vevent
    start = event.dtstart.value if hasattr(event, "dtstart") else None
    return Arrived(to, calendar.method.value, event.uid.value, int(event.sequence.value), event.dtstamp.value, start,
                   octets)  # fmt: skip


def order_errors(arrived: Iterable[Arrived]) -> list[str]:
    """What in the order of objects would mislead a calendar that goes by RFC 5546 2.1.4 and 2.1.5.

    For one UID, in the order of leaving: SEQUENCE never falls, DTSTAMP always rises, another time has a higher
    SEQUENCE, a CANCEL has a higher one than every REQUEST, and after it nothing comes any more.
    """
    newest: dict[str, Arrived] = {}
    wrong = []
    for one in arrived:
        before = newest.get(one.uid)
        if before is not None:
            wrong += [f"{what}: {before.method} {before.sequence} then {one.method} {one.sequence}"
                      for what in _between(before, one)]  # fmt: skip
        newest[one.uid] = one
    return wrong


def _between(before: Arrived, one: Arrived) -> Iterable[str]:
    if one.sequence < before.sequence:
        yield "SEQUENCE falls"
    if one.stamp <= before.stamp:
        yield "DTSTAMP does not rise"
    if one.method == "REQUEST" and one.start != before.start and one.sequence == before.sequence:
        yield "another time, the same SEQUENCE"
    if one.method == "CANCEL" and one.sequence == before.sequence:
        yield "a CANCEL with the SEQUENCE of the REQUEST"
    if before.method == "CANCEL":
        yield "something after the CANCEL"
