"""One pickup as an iCalendar object: the request, its updates and its cancellation, in UTC."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Literal
from urllib.parse import quote

from icalendar import Calendar, Event, vCalAddress, vText

from notify.core.errors import Invalid
from notify.core.instants import need_aware

PRODID = "-//Shelfbell//Pickup 1//EN"
# RFC 5546 2.1.4: these changes make people reconsider, so the sequence must rise; another place does too.
RECONSIDER = frozenset({"DTSTART", "DTEND", "DURATION", "DUE", "RRULE", "RDATE", "EXDATE", "STATUS", "LOCATION"})
_PROPERTY = {
    "start": "DTSTART",
    "end": "DTEND",
    "summary": "SUMMARY",
    "description": "DESCRIPTION",
    "location": "LOCATION",
}
_NO_PLUS = "!$'*-._~"
_PLAIN = _NO_PLUS + "+"
_CLAIM = re.compile(r"[/:]c/[A-Za-z0-9]{8,}")
# RFC 5545 3.1: no control character stands inside a value; Unicode's own line ends are line ends too.
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_UNWANTED = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f]+")
_LINE_ENDS = re.compile("\r\n|[\r\u2028\u2029]")
_ADDRESS = re.compile(r"[!-?A-~]+@[A-Za-z0-9.-]+")


@dataclass(frozen=True, slots=True)
class Invite:
    """What one message says about one pickup.

    `uid` is random and fixed for the life of the pickup; `sequence` and `dtstamp` (when this message was
    made) put messages in order; times are aware instants. It has no room for a claim link: calendars are
    copied to third parties.
    """

    uid: str
    sequence: int
    dtstamp: datetime
    start: datetime
    end: datetime
    summary: str
    description: str
    location: str
    organizer_name: str
    organizer_address: str
    attendee_name: str
    attendee_address: str
    method: Literal["REQUEST", "CANCEL"] = "REQUEST"


def invite_bytes(invite: Invite) -> bytes:
    """The invite as UTF-8 iCalendar (RFC 5545, 5546), lines folded, CRLF; same invite, same bytes.

    Raises Invalid for a naive time, an end not after the start, a bad address, uid, sequence or method,
    and for a claim link in a text.
    """
    _check(invite)
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("method", invite.method)
    calendar.add_component(_event(invite))
    return bytes(calendar.to_ical(sorted=False))


def next_sequence(sequence: int, *, changed: Iterable[str] = (), cancel: bool = False) -> int:
    """The SEQUENCE after `sequence` when those properties changed, by RFC 5546 2.1.4 and 3.2.5.

    A reworded text or a renewed question for an answer leaves it as it is.
    """
    return sequence + 1 if cancel or not RECONSIDER.isdisjoint(changed) else sequence


def revised(invite: Invite, *, dtstamp: datetime, **changes: Any) -> Invite:
    """The next REQUEST of the same pickup; `changes` are fields such as start, end or description.

    Raises Invalid after a cancellation (a new pickup gets a new uid) and for a change of identity.
    """
    if not _PROPERTY.keys() >= changes.keys():
        raise Invalid("An update may change time, place and words only", "Make a new invite instead.")
    _check_live(invite)
    changed = {_PROPERTY[name] for name, value in changes.items() if value != getattr(invite, name)}
    sequence = next_sequence(invite.sequence, changed=changed)
    return replace(invite, sequence=sequence, dtstamp=_later(dtstamp, invite.dtstamp), **changes)


def cancelled(invite: Invite, *, dtstamp: datetime) -> Invite:
    """The CANCEL of that pickup. Raises Invalid as `revised` does."""
    _check_live(invite)
    sequence = next_sequence(invite.sequence, cancel=True)
    return replace(invite, sequence=sequence, dtstamp=_later(dtstamp, invite.dtstamp), method="CANCEL")


def _event(invite: Invite) -> Event:
    is_cancel = invite.method == "CANCEL"
    event = Event()
    event.add("uid", invite.uid)
    event.add("dtstamp", _whole_seconds(invite.dtstamp))
    event.add("sequence", invite.sequence)
    event.add("dtstart", _whole_seconds(invite.start))
    event.add("dtend", _whole_seconds(invite.end))
    event.add("summary", _one_line(invite.summary))
    if invite.location:
        event.add("location", _one_line(invite.location))
    if invite.description:
        event.add("description", _lines(invite.description))
    event.add("status", "CANCELLED" if is_cancel else "CONFIRMED")
    event.add("class", "PRIVATE")
    # Some servers drop a bare plus sign from an organizer (apple/ccs-calendarserver#541).
    event.add("organizer", _who(invite.organizer_name, invite.organizer_address, safe=_NO_PLUS))
    event.add("attendee", _attendee(invite, wants_answer=not is_cancel))
    return event


def _attendee(invite: Invite, *, wants_answer: bool) -> vCalAddress:
    who = _who(invite.attendee_name, invite.attendee_address)
    who.params["CUTYPE"] = vText("INDIVIDUAL")
    who.params["ROLE"] = vText("REQ-PARTICIPANT")
    who.params["PARTSTAT"] = vText("NEEDS-ACTION")
    if wants_answer:
        who.params["RSVP"] = vText("TRUE")
    return who


def _who(name: str, address: str, *, safe: str = _PLAIN) -> vCalAddress:
    """A mailto URI (RFC 6068) with its name; what has a meaning of its own in a URI is percent-encoded."""
    local, _, domain = address.rpartition("@")
    who = vCalAddress("mailto:" + quote(local, safe=safe) + "@" + domain)
    if name := _one_line(name):
        who.params["CN"] = vText(name)
    return who


def _whole_seconds(moment: datetime) -> datetime:
    return need_aware(moment).replace(microsecond=0)


def _one_line(text: str) -> str:
    return _CONTROL.sub(" ", text).strip()


def _lines(text: str) -> str:
    return _UNWANTED.sub(" ", _LINE_ENDS.sub("\n", text)).strip()


def _check(invite: Invite) -> None:
    if invite.method not in ("REQUEST", "CANCEL"):
        raise Invalid(f"An invite cannot be sent as {str(invite.method)[:20]!r}", "Use REQUEST or CANCEL.")
    if invite.sequence < (invite.method == "CANCEL"):
        raise Invalid("The sequence of an invite starts at 0, that of a cancellation at 1")
    if not 1 <= len(invite.uid.encode()) <= 255 or _CONTROL.search(invite.uid) or "@" in invite.uid:
        raise Invalid("The uid of an invite is 1 to 255 octets and holds no address", "Use a random UUID.")
    if _whole_seconds(invite.end) <= _whole_seconds(invite.start):
        raise Invalid("A pickup must end after it starts", "Correct the times.", field="end")
    for field in ("organizer_address", "attendee_address"):
        if not _ADDRESS.fullmatch(getattr(invite, field)):
            raise Invalid("An invite needs a plain e-mail address on both sides", "Correct it.", field=field)
    for field in ("summary", "description", "location"):
        if _CLAIM.search(getattr(invite, field)):
            raise Invalid(
                "An invite must not hold a claim link, because calendars are copied to third parties",
                f"Take it out of the {field}; the mail itself may carry it.",
                field=field,
            )


def _check_live(invite: Invite) -> None:
    if invite.method == "CANCEL":
        raise Invalid("A cancelled invite cannot be changed any more", "A new pickup gets a new uid.")


def _later(dtstamp: datetime, than: datetime) -> datetime:
    """`dtstamp`, or the second after `than`: a clock set back must not make an update look old."""
    return max(_whole_seconds(dtstamp), _whole_seconds(than) + timedelta(seconds=1))
