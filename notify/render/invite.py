"""One pickup as an iTIP message (RFC 5546): the request, its updates, its cancellation, and the no to a proposal."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Literal
from urllib.parse import quote

from icalendar import Event, vCalAddress, vText

from notify.core.errors import Invalid
from notify.render import ical

# RFC 5546 2.1.4: these changes make people reconsider, so the sequence must rise; another place does too.
RECONSIDER = frozenset({"DTSTART", "DTEND", "DURATION", "DUE", "RRULE", "RDATE", "EXDATE", "STATUS", "LOCATION"})
_PROPERTY = {
    "start": "DTSTART",
    "end": "DTEND",
    "summary": "SUMMARY",
    "description": "DESCRIPTION",
    "location": "LOCATION",
}
# What of it a method writes: whether it is the whole event, its status, and whether an answer is wanted.
_WRITES: dict[str, tuple[bool, str, bool]] = {
    "REQUEST": (True, "CONFIRMED", True),
    "CANCEL": (True, "CANCELLED", False),
    "DECLINECOUNTER": (False, "", False),
}
METHODS = frozenset(_WRITES)
_NO_PLUS = "!$'*-._~"
_PLAIN = _NO_PLUS + "+"
_ADDRESS = re.compile(r"[!-?A-~]+@[A-Za-z0-9.-]+")


@dataclass(frozen=True, slots=True)
class Invite:
    """What one message says about one pickup.

    `uid` is random and fixed for the life of the pickup; `sequence` and `dtstamp` (when this message was
    made) put messages in order; times are aware instants. It has no room for a claim link: calendars are
    copied to third parties. `method` DECLINECOUNTER says no to another time that the attendee proposed (3.2.8): the
    event stays as it was, so it names that event and nothing more.
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
    method: Literal["REQUEST", "CANCEL", "DECLINECOUNTER"] = "REQUEST"


def invite_bytes(invite: Invite) -> bytes:
    """The invite as UTF-8 iCalendar (RFC 5545, 5546), lines folded, CRLF; same invite, same bytes.

    Raises Invalid for a naive time, an end not after the start, a bad address, uid, sequence or method,
    and for a claim link in a text.
    """
    _check(invite)
    calendar = ical.new_calendar(method=invite.method)
    calendar.add_component(_event(invite))
    return ical.as_bytes(calendar)


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
    stamp = later_stamp(dtstamp, invite.dtstamp)
    return replace(invite, sequence=sequence, dtstamp=stamp, **{"method": "REQUEST", **changes})


def cancelled(invite: Invite, *, dtstamp: datetime) -> Invite:
    """The CANCEL of that pickup. Raises Invalid as `revised` does."""
    _check_live(invite)
    sequence = next_sequence(invite.sequence, cancel=True)
    return replace(invite, sequence=sequence, dtstamp=later_stamp(dtstamp, invite.dtstamp), method="CANCEL")


def proposal_declined(invite: Invite, *, dtstamp: datetime) -> Invite:
    """The DECLINECOUNTER: the pickup stays as `invite` has it, SEQUENCE too (RFC 5546 2.1.4, 3.2.8)."""
    _check_live(invite)
    return replace(invite, dtstamp=later_stamp(dtstamp, invite.dtstamp), method="DECLINECOUNTER")


def later_stamp(dtstamp: datetime, than: datetime | None) -> datetime:
    """`dtstamp`, or the second after `than`: a clock set back must not make an update look old (RFC 5546 2.1.5)."""
    stamp = ical.whole_seconds(dtstamp)
    return stamp if than is None else max(stamp, ical.whole_seconds(than) + timedelta(seconds=1))


def _event(invite: Invite) -> Event:
    is_whole, status, wants_answer = _WRITES[invite.method]
    event = ical.new_event(invite.uid, invite.dtstamp, invite.sequence)
    if is_whole:
        ical.add_times(event, invite.start, invite.end)
        ical.add_words(event, summary=invite.summary, description=invite.description, location=invite.location)
        event.add("status", status)
        event.add("class", "PRIVATE")
    # Some servers drop a bare plus sign from an organizer (apple/ccs-calendarserver#541).
    event.add("organizer", _who(invite.organizer_name, invite.organizer_address, safe=_NO_PLUS))
    event.add("attendee", _attendee(invite, is_whole=is_whole, wants_answer=wants_answer))
    return event


def _attendee(invite: Invite, *, is_whole: bool, wants_answer: bool) -> vCalAddress:
    """The customer; what they are to the event stands where the event itself does."""
    who = _who(invite.attendee_name, invite.attendee_address)
    if not is_whole:
        return who
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
    if name := ical.one_line(name):
        who.params["CN"] = vText(name)
    return who


def _check(invite: Invite) -> None:
    if invite.method not in METHODS:
        raise Invalid(
            f"An invite cannot be sent as {str(invite.method)[:20]!r}", "Use REQUEST, CANCEL or DECLINECOUNTER."
        )
    if invite.sequence < (invite.method == "CANCEL"):
        raise Invalid("The sequence of an invite starts at 0, that of a cancellation at 1")
    ical.check_uid(invite.uid)
    ical.check_span(invite.start, invite.end)
    for field in ("organizer_address", "attendee_address"):
        if not _ADDRESS.fullmatch(getattr(invite, field)):
            raise Invalid("An invite needs a plain e-mail address on both sides", "Correct it.", field=field)
    ical.check_no_claim(summary=invite.summary, description=invite.description, location=invite.location)


def _check_live(invite: Invite) -> None:
    if invite.method == "CANCEL":
        raise Invalid("A cancelled invite cannot be changed any more", "A new pickup gets a new uid.")
