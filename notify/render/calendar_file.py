"""Pickups as a plain calendar file: one for the customer who has no e-mail, many for the shop's own calendar.

No METHOD, so nothing is asked and nobody answers (RFC 5545 3.7.2), and any calendar store takes each entry as it is
(RFC 4791 4.1); no ORGANIZER and no ATTENDEE, which stand in entries of a group only (RFC 5545 3.8.4.1, 3.8.4.3).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from icalendar import Event, vDuration

from notify.render import ical

# How often a reader may come again. Some take it as a wish, some keep a pace of their own (MS-OXCICAL 2.1.3.1.1.15).
REFRESH = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class Entry:
    """One pickup. `changed_at` is when it last changed (RFC 5545 3.8.7.2: the DTSTAMP of an entry without METHOD).

    `uid` as in render/invite; `sequence` never falls for one uid; times are aware instants.
    """

    uid: str
    sequence: int
    changed_at: datetime
    start: datetime
    end: datetime
    summary: str
    description: str = ""
    location: str = ""
    cancelled: bool = False


def entry_bytes(entry: Entry) -> bytes:
    """A file with this one entry. Raises Invalid as render/invite does."""
    return _file([entry])


def feed_bytes(name: str, entries: Iterable[Entry]) -> bytes:
    """A calendar called `name` with all of them, and how often to ask for it again (RFC 7986 5.1, 5.7).

    The X- twins are for readers older than RFC 7986.
    """
    name = ical.one_line(name)
    return _file(entries, (
        ("NAME", name), ("X-WR-CALNAME", name),
        ("REFRESH-INTERVAL", vDuration(REFRESH, params={"VALUE": "DURATION"})), ("X-PUBLISHED-TTL", vDuration(REFRESH)),
    ))  # fmt: skip


def _file(entries: Iterable[Entry], head: Iterable[tuple[str, object]] = ()) -> bytes:
    calendar = ical.new_calendar()
    for name, value in head:
        calendar.add(name, value)
    for entry in entries:
        calendar.add_component(_event(entry))
    return ical.as_bytes(calendar)


def _event(entry: Entry) -> Event:
    ical.check_uid(entry.uid)
    ical.check_span(entry.start, entry.end)
    ical.check_no_claim(summary=entry.summary, description=entry.description, location=entry.location)
    event = ical.new_event(entry.uid, entry.changed_at, entry.sequence)
    ical.add_times(event, entry.start, entry.end)
    ical.add_words(event, summary=entry.summary, description=entry.description, location=entry.location)
    event.add("status", "CANCELLED" if entry.cancelled else "CONFIRMED")
    event.add("class", "PRIVATE")
    return event
