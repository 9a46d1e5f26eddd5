"""What every calendar object of ours shares: its head, its texts made harmless, its times in UTC (RFC 5545)."""

from __future__ import annotations

import re
from datetime import datetime

from icalendar import Calendar, Event

from notify.core.errors import Invalid
from notify.core.instants import need_aware

PRODID = "-//Shelfbell//Pickup 1//EN"
LONGEST_UID = 255  # octets: what everybody has to keep (RFC 5545 3.8.4.7)
_CLAIM = re.compile(r"[/:]c/[A-Za-z0-9]{8,}")
# RFC 5545 3.1: no control character stands inside a value; Unicode's own line ends are line ends too.
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_UNWANTED = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f]+")
_LINE_ENDS = re.compile("\r\n|[\r\u2028\u2029]")


def new_calendar(*, method: str = "") -> Calendar:
    """An empty object with what RFC 5545 3.6 asks for; without a method it has no meaning for scheduling."""
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    if method:
        calendar.add("method", method)
    return calendar


def new_event(uid: str, dtstamp: datetime, sequence: int) -> Event:
    """An event with its identity and its place in the order of what is said about it (RFC 5546 2.1.5)."""
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", whole_seconds(dtstamp))
    event.add("sequence", sequence)
    return event


def add_times(event: Event, start: datetime, end: datetime) -> None:
    """Start and end in UTC, so that nobody needs a time zone's rules to read them (RFC 5545 3.3.5, form 2)."""
    event.add("dtstart", whole_seconds(start))
    event.add("dtend", whole_seconds(end))


def add_words(event: Event, *, summary: str, description: str = "", location: str = "") -> None:
    """The texts, as far as there are any; a summary may be empty (RFC 5546 3.2.2) but is always there."""
    event.add("summary", one_line(summary))
    if location:
        event.add("location", one_line(location))
    if description:
        event.add("description", _lines(description))


def as_bytes(calendar: Calendar) -> bytes:
    """UTF-8, lines folded, CRLF; the same object gives the same bytes."""
    return bytes(calendar.to_ical(sorted=False))


def whole_seconds(moment: datetime) -> datetime:
    """The instant without its fraction. Raises Invalid for a time without a zone."""
    return need_aware(moment).replace(microsecond=0)


def one_line(text: str) -> str:
    """The text in one line: nothing in it begins a line of its own."""
    return _CONTROL.sub(" ", text).strip()


def _lines(text: str) -> str:
    return _UNWANTED.sub(" ", _LINE_ENDS.sub("\n", text)).strip()


def check_uid(uid: str) -> None:
    """Raises Invalid for a uid that is empty, too long or holds an address (RFC 7986 5.3) or a line end."""
    if not 1 <= len(uid.encode()) <= LONGEST_UID or _CONTROL.search(uid) or "@" in uid:
        raise Invalid("The uid of an invite is 1 to 255 octets and holds no address", "Use a random UUID.")


def check_span(start: datetime, end: datetime) -> None:
    """Raises Invalid unless it ends after it starts (RFC 5545 3.8.2.2)."""
    if whole_seconds(end) <= whole_seconds(start):
        raise Invalid("A pickup must end after it starts", "Correct the times.", field="end")


def check_no_claim(**texts: str) -> None:
    """Raises Invalid when one of the texts holds a claim link: calendars are copied to third parties."""
    for field, text in texts.items():
        if _CLAIM.search(text):
            raise Invalid(
                "A calendar entry must not hold a claim link, because calendars are copied to third parties",
                f"Take it out of the {field}; the mail itself may carry it.",
                field=field,
            )
