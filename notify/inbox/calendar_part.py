"""Reads what a customer's calendar sent back (RFC 5546 3.2) as one checked answer, or says why it does not.

A reply's own times are not used: calendars write them in zones of their own, and the slot is ours. A counter-proposal's
are, where their zone is known.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime

from icalendar.parser import unescape_backslash
from icalendar.timezone.windows_to_olson import WINDOWS_TO_OLSON

from notify.core.claim_number import hide_tokens
from notify.core.durations import add, parse_duration
from notify.core.errors import Invalid
from notify.core.instants import reading, zone
from notify.core.itip import PERMITTED, Answer, Decision, Partstat, Unread, address_of
from notify.core.one_click import hide_stop_links
from notify.core.text import clean_block
from notify.inbox.content_lines import LARGEST as LARGEST
from notify.inbox.content_lines import Outline, Property, Refused, malformed, outline

LONGEST_COMMENT = 1000  # characters
_LONGEST_UID = 255  # octets: RFC 5545 3.8.4.7
_HIGHEST = 2**31 - 1  # RFC 5545 3.3.8
_MOST_COMMENTS = 5
_DIGITS = re.compile(r"\+?[0-9]{1,10}")
_TIME = re.compile(r"([0-9]{8}T[0-9]{4})([0-5][0-9]|60)(Z?)")
_CODE = re.compile(r"([0-9](?:\.[0-9]{1,3}){1,2})(?:;|\Z)")  # RFC 5545 3.8.8.3
_WORDS = {each.value.upper().replace("_", "-"): each for each in Partstat}
_METHOD_LINE = re.compile(rb"^METHOD:(?:REPLY|COUNTER|REFRESH)[ \t]*\r?$", re.MULTILINE | re.IGNORECASE)


def read_answer(raw: bytes, *, method: str) -> Answer | Unread:
    """The answer in a calendar part without its transfer encoding; never raises.

    `method` is the Content-Type's parameter, "" without one: then METHOD alone says it (Apple's shape; RFC 6047 2.4
    wants both). Line ends may be LF.
    """
    try:
        return _answer(raw, method.strip().upper())
    except Refused as refused:
        return Unread(refused.decision, refused.why)
    except Exception:  # whatever a stranger thought of: the next one must be read
        return Unread(Decision.REJECT_MALFORMED, "unreadable")


def may_be_answer(raw: bytes) -> bool:
    """Whether a part without a method parameter says by its METHOD that it is an answer."""
    return bool(_METHOD_LINE.search(raw[:LARGEST]))


def _answer(raw: bytes, method: str) -> Answer:
    found = outline(raw)
    _check_method(found, method)
    if "RECURRENCE-ID" in found.event:
        raise malformed("RECURRENCE-ID")
    attendee = _attendee(found)
    start, end = _times(found) if found.methods == ["COUNTER"] else (None, None)
    return Answer(
        method=found.methods[0],
        uid=_uid(found),
        attendee=address_of(attendee.value) or _no("ATTENDEE"),
        partstat=_WORDS.get(attendee.param("PARTSTAT").upper(), Partstat.NEEDS_ACTION),
        organizer=_mailbox(found.at_most_one("ORGANIZER")),
        sequence=_sequence(found),
        stamp=_stamp(found),
        start=start,
        end=end,
        delegated_to=_delegate(attendee),
        comment=_comment(found, attendee),
        request_status=_status(found),
    )


def _no(name: str) -> str:
    raise malformed(name)


def _check_method(found: Outline, method: str) -> None:
    """RFC 5545 3.7.2, RFC 6047 2.4: METHOD and the parameter stand there once and are equal. RFC 5546 1.4: who may."""
    if len(found.methods) > 1:
        raise malformed("two METHOD")
    if not found.methods or (method and [method] != found.methods):
        raise Refused(Decision.REJECT_METHOD_MISMATCH, "METHOD")
    if found.methods[0] == "REQUEST" and any(_delegates(one) for one in found.all("ATTENDEE")):
        raise Refused(Decision.ROUTE_TO_HUMAN, "delegates")
    if found.methods[0] not in PERMITTED:
        raise Refused(Decision.REJECT_NOT_PERMITTED, "METHOD")


def _attendee(found: Outline) -> Property:
    """RFC 5546 3.2.3 and 3.2.6: exactly one. A counter-proposal may name others (3.2.7); then a person looks."""
    if found.methods == ["COUNTER"] and len(found.event.get("ATTENDEE", ())) != 1:
        raise Refused(Decision.ROUTE_TO_HUMAN, "attendees")
    return found.one("ATTENDEE")


def _uid(found: Outline) -> str:
    uid = str(unescape_backslash(found.one("UID").value)).strip()
    if not 1 <= len(uid.encode()) <= _LONGEST_UID:
        raise malformed("UID")
    return uid


def _sequence(found: Outline) -> int:
    """0 if absent (RFC 5545 3.8.7.4); Exchange has it in a field of its own as well."""
    held = found.at_most_one("SEQUENCE") or found.at_most_one("X-MICROSOFT-CDO-APPT-SEQUENCE")
    if held is None:
        return 0
    if not _DIGITS.fullmatch(held.value) or int(held.value) > _HIGHEST:
        raise malformed("SEQUENCE")
    return int(held.value)


def _stamp(found: Outline) -> datetime | None:
    """RFC 5545 3.8.7.2: in UTC. Asking anew changes nothing, so it may lack one."""
    held = found.at_most_one("DTSTAMP")
    if held is None and found.methods == ["REFRESH"]:
        return None
    wall = _wall(held.value) if held else None
    if held is None or wall is None or held.params or not held.value.endswith("Z"):
        raise malformed("DTSTAMP")
    return wall.replace(tzinfo=UTC)


def _mailbox(held: Property | None) -> str:
    return (address_of(held.value) or "?") if held else ""


def _delegates(attendee: Property) -> bool:
    return any(attendee.param(name) for name in ("DELEGATED-TO", "DELEGATED-FROM"))


def _delegate(attendee: Property) -> str:
    given = attendee.param("DELEGATED-TO")
    return (address_of(given) or "?") if given else ""


def _status(found: Outline) -> str:
    codes = [_CODE.match(one.value) for one in found.all("REQUEST-STATUS")]
    return max((code[1] if code else "?" for code in codes), default="2.0")


def _comment(found: Outline, attendee: Property) -> str:
    """Their words, without claim secrets and hidden signs; some calendars write them beside the attendee (memory)."""
    said = [str(unescape_backslash(one.value)) for one in found.all("COMMENT")[:_MOST_COMMENTS]]
    text = "\n".join(said or attendee.params.get("X-RESPONSE-COMMENT", ()))[:LONGEST_COMMENT]
    try:
        return clean_block(hide_stop_links(hide_tokens(text)), field="", limit=4 * LONGEST_COMMENT)
    except Invalid:  # what becomes a claim secret only by cleaning
        return ""


def _times(found: Outline) -> tuple[datetime | None, datetime | None]:
    """A proposed start and end in UTC; None where they have no known zone, are whole days, or end before they start."""
    start = _instant(found.at_most_one("DTSTART"))
    end, length = found.at_most_one("DTEND"), found.at_most_one("DURATION")
    if start is None or (end and length):
        return start, None
    until = _instant(end) if end or not length else _quietly(lambda: _after(start, length.value))
    return start, until if until and until > start else None


def _after(start: datetime, length: str) -> datetime:
    return add(start, parse_duration(length), zone_name="UTC")


def _instant(held: Property | None) -> datetime | None:
    """RFC 5545 3.3.5: UTC, or local with a TZID of the IANA list or one of Windows; floating is no instant."""
    wall = _wall(held.value) if held else None
    if held is None or wall is None:
        return None
    name, in_utc = held.param("TZID"), held.value.endswith("Z")
    if bool(name) == in_utc:
        return None
    return wall.replace(tzinfo=UTC) if in_utc else _quietly(lambda: _in_zone(wall, name))


def _in_zone(wall: datetime, name: str) -> datetime:
    return reading(wall, zone(WINDOWS_TO_OLSON.get(name, name)))


def _wall(value: str) -> datetime | None:
    """The digits of a DATE-TIME; a leap second is the one before it (RFC 5545 3.3.5)."""
    found = _TIME.fullmatch(value)
    try:
        return datetime.strptime(found[1] + min(found[2], "59"), "%Y%m%dT%H%M%S") if found else None  # noqa: DTZ007
    except ValueError:
        return None


def _quietly(make: Callable[[], datetime]) -> datetime | None:
    try:
        return make()
    except (Invalid, OverflowError, ValueError):
        return None
