"""RFC 5546's method tables for an event, as data: what must stand in an object, how often at most, and what must not.

Written from RFC 5546 3.2.1 to 3.2.8 and RFC 5545 3.6.1. For DECLINECOUNTER the narrower of two is taken: RFC 2446 3.2.8
forbids nearly everything that RFC 5546 leaves open, and RFC 5546 wants the attendee who proposed.
"""

from __future__ import annotations

from collections.abc import Iterator

from tests.parts.content_lines import Line

MANY = 1_000_000
Counts = dict[str, tuple[int, int]]  # property or component -> least, most
_ONCE_AT_MOST = (
    "CLASS", "CREATED", "DESCRIPTION", "DTEND", "DURATION", "GEO", "LAST-MODIFIED", "LOCATION", "PRIORITY",
    "RECURRENCE-ID", "RRULE", "SEQUENCE", "STATUS", "TRANSP", "URL",
)  # fmt: skip
_ANY = ("ATTACH", "CATEGORIES", "COMMENT", "CONTACT", "EXDATE", "RDATE", "RELATED-TO", "RESOURCES")
_OTHERS = {"VTODO": (0, 0), "VJOURNAL": (0, 0), "VFREEBUSY": (0, 0), "VEVENT": (1, MANY)}
_OPEN: Counts = {**dict.fromkeys(_ONCE_AT_MOST, (0, 1)), **dict.fromkeys(_ANY, (0, MANY)), **_OTHERS}
_ONE, _NONE, _SOME, _MAY = (1, 1), (0, 0), (1, MANY), (0, 1)
TABLES: dict[str, Counts] = {
    # 3.2.2
    "REQUEST": {
        **_OPEN, "METHOD": _ONE, "ATTENDEE": _SOME, "DTSTAMP": _ONE, "DTSTART": _ONE, "ORGANIZER": _ONE,
        "SUMMARY": _ONE, "UID": _ONE, "REQUEST-STATUS": _NONE, "VALARM": (0, MANY),
    },
    # 3.2.5; the whole event is cancelled, so all of its attendees are named
    "CANCEL": {
        **_OPEN, "METHOD": _ONE, "UID": _ONE, "DTSTAMP": _ONE, "ORGANIZER": _ONE, "SEQUENCE": _ONE, "ATTENDEE": _SOME,
        "DTSTART": _MAY, "SUMMARY": _MAY, "REQUEST-STATUS": _NONE, "VALARM": _NONE,
    },
    # 3.2.8
    "DECLINECOUNTER": {
        **dict.fromkeys((*_ONCE_AT_MOST, *_ANY, "DTSTART", "SUMMARY", "VALARM"), _NONE), **_OTHERS,
        "COMMENT": (0, MANY), "RECURRENCE-ID": _MAY, "SEQUENCE": _MAY, "REQUEST-STATUS": (0, MANY),
        "METHOD": _ONE, "DTSTAMP": _ONE, "ORGANIZER": _ONE, "UID": _ONE, "ATTENDEE": _ONE,
    },
    # No method: RFC 5545 3.6.1, 3.8.4.1 and 3.8.4.3 for an entry of one calendar; RFC 4791 4.1 for METHOD
    "": {
        **_OPEN, "METHOD": _NONE, "UID": _ONE, "DTSTAMP": _ONE, "DTSTART": _ONE, "SUMMARY": _MAY, "ATTENDEE": _NONE,
        "ORGANIZER": _NONE, "REQUEST-STATUS": (0, MANY), "VALARM": (0, MANY),
    },
}  # fmt: skip
STATUSES = {"REQUEST": {"TENTATIVE", "CONFIRMED"}, "CANCEL": {"CANCELLED"}, "DECLINECOUNTER": set[str](),
            "": {"TENTATIVE", "CONFIRMED", "CANCELLED"}}  # fmt: skip


def breaches(lines: list[Line]) -> Iterator[str]:
    """What a calendar object of one event does against the table of its method; nothing when it keeps it."""
    methods = [line.value for line in lines if line.name == "METHOD"]
    table = TABLES[methods[0] if methods else ""]
    count: dict[str, int] = {}
    for line in lines:
        name = line.value if line.name == "BEGIN" else line.name
        count[name] = count.get(name, 0) + 1
    for name, (least, most) in table.items():
        if not least <= count.get(name, 0) <= most:
            yield f"{name} is there {count.get(name, 0)} times, not {least} to {most}"
    for name in ("PRODID", "VERSION", "VCALENDAR"):  # 3.1.1; RFC 5545 3.6
        if count.get(name) != 1:
            yield f"{name} is not there once"
    yield from _meaning(lines, methods[0] if methods else "", count)


def _meaning(lines: list[Line], method: str, count: dict[str, int]) -> Iterator[str]:
    values = {line.name: line.value for line in lines}
    if values.get("VERSION") != "2.0":
        yield "VERSION is not 2.0"
    if "STATUS" in values and values["STATUS"] not in STATUSES[method]:
        yield f"STATUS {values['STATUS']} is not for {method or 'no method'}"
    if "DTEND" in count and "DURATION" in count:
        yield "DTEND with DURATION"
    if method and "SEQUENCE" not in count:  # present if it is greater than 0: ours always is written
        yield "SEQUENCE is missing"
    if not values.get("DTSTAMP", "").endswith("Z"):  # RFC 5545 3.8.7.2
        yield "DTSTAMP is not UTC"
    if any("TZID" in line.params for line in lines) and "VTIMEZONE" not in count:  # 3.1.2
        yield "TZID without its VTIMEZONE"
