"""The lines of a calendar part (RFC 5545 3.1): bounded before anything is parsed, unfolded, and only those of use kept.

Nothing else reaches icalendar: its `from_ical` takes seconds for a hundred thousand lines, keeps one of several
METHODs without a word, and remembers a stranger's VTIMEZONE for the life of the process (measured, 7.3.2).
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, field

from icalendar.parser import Contentline

from notify.core.itip import Decision

LARGEST = 64 * 1024  # octets, decoded
MOST_LINES, DEEPEST = 500, 8  # content lines; components within components
LONGEST = 4000  # characters of a line that is used; what is not used may be longer
_BROKEN = re.compile(rb"\0|\r(?!\n)")  # NUL and bare CR end lines for some readers and not for others
_FOLD = re.compile(rb"\r?\n[ \t]")
_NAME = re.compile(r"([A-Za-z0-9-]{1,60})[;:]")
_QUOTED = re.compile(r'"[^"]*"')
# RFC 5545 3.1, CONTROL: none may stand in a value. A comment is cleaned instead.
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")
_USED = frozenset({
    "METHOD", "UID", "DTSTAMP", "SEQUENCE", "X-MICROSOFT-CDO-APPT-SEQUENCE", "ORGANIZER", "ATTENDEE", "REQUEST-STATUS",
    "COMMENT", "RECURRENCE-ID", "DTSTART", "DTEND", "DURATION",
})  # fmt: skip


class Refused(Exception):
    """It is not read: `decision` and, in one word, why."""

    def __init__(self, decision: Decision, why: str) -> None:
        super().__init__(why)
        self.decision, self.why = decision, why


def malformed(why: str) -> Refused:
    """What is not as RFC 5545 or 5546 wants it."""
    return Refused(Decision.REJECT_MALFORMED, why)


@dataclass(frozen=True, slots=True, repr=False)
class Property:
    """One content line: its parameters by their capital names, and its value as it stands there."""

    params: dict[str, list[str]]
    value: str

    def param(self, name: str) -> str:
        """The first value of a parameter, "" without it."""
        return next(iter(self.params.get(name, ())), "")


@dataclass(frozen=True, slots=True, repr=False)
class Outline:
    """The METHODs of the one VCALENDAR, and the lines of its one VEVENT that are of use, by their capital names."""

    methods: list[str] = field(default_factory=list)
    event: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))

    def all(self, name: str) -> list[Property]:
        """Every property of that name. Raises Refused for one that cannot be read."""
        return [split(name, line) for line in self.event.get(name, ())]

    def at_most_one(self, name: str) -> Property | None:
        """RFC 5545 3.6.1: what must not occur more than once. Raises Refused."""
        lines = self.event.get(name, ())
        if len(lines) > 1:
            raise malformed(f"two {name}")
        return split(name, lines[0]) if lines else None

    def one(self, name: str) -> Property:
        """What must occur exactly once. Raises Refused."""
        found = self.at_most_one(name)
        if found is None:
            raise malformed(f"no {name}")
        return found


def outline(raw: bytes) -> Outline:
    """What is of use in one calendar object. Raises Refused when it is too large or not one event in one calendar."""
    if len(raw) > LARGEST:
        raise Refused(Decision.REJECT_TOO_LARGE, "octets")
    if _BROKEN.search(raw):
        raise malformed("line ends")
    lines = _FOLD.sub(b"", raw.removeprefix(b"\xef\xbb\xbf")).decode("utf-8", "replace").split("\n")
    if len(lines) > MOST_LINES:
        raise Refused(Decision.REJECT_TOO_LARGE, "lines")
    return _gathered([line.rstrip("\r") for line in lines])


def split(name: str, line: str) -> Property:
    """Parameters and value of one line, by icalendar; a parameter that stands there twice is refused (RFC 5545 3.2)."""
    if name != "COMMENT" and _CONTROL.search(line):
        raise malformed(f"{name} control")
    try:
        _, params, value = Contentline(line).raw_parts()  # type: ignore[no-untyped-call]
    except ValueError:
        raise malformed(f"{name} line") from None
    held = {key.upper(): [str(one) for one in _listed(given)] for key, given in params.items()}
    bare = _QUOTED.sub("", line[: len(line) - len(value)])
    if bare.count(";") != len(held):
        raise malformed(f"{name} parameters")
    return Property(held, value)


def _listed(given: object) -> list[object]:
    return given if isinstance(given, list) else [given]


def _gathered(lines: list[str]) -> Outline:
    found, stack, calendars, events = Outline(), [], 0, 0
    for line in filter(str.strip, lines):
        name = named[1].upper() if (named := _NAME.match(line)) else ""
        if name == "BEGIN":
            stack.append(line[6:].strip().upper())
            calendars += stack == ["VCALENDAR"]
            events += stack == ["VCALENDAR", "VEVENT"]
            _check_place(stack)
        elif name == "END":
            if not stack or stack.pop() != line[4:].strip().upper():
                raise malformed("END")
        else:
            _keep(found, stack, name, line)
    if stack or (calendars, events) != (1, 1):
        raise malformed("not one event in one calendar")
    return found


def _check_place(stack: list[str]) -> None:
    """RFC 5546 3.1.2: one component besides time zones, and ours is an event; an event stands in a calendar only."""
    if stack[0] != "VCALENDAR" or len(stack) > DEEPEST:
        raise malformed("component")
    if "VCALENDAR" in stack[1:] or "VEVENT" in stack[2:] or stack[1:2] in (["VTODO"], ["VJOURNAL"], ["VFREEBUSY"]):
        raise malformed("component")


def _keep(found: Outline, stack: list[str], name: str, line: str) -> None:
    if not stack:
        raise malformed("line outside")
    if name not in _USED or stack[1:2] not in ([], ["VEVENT"]) or len(stack) > 2:
        return
    if len(line) > LONGEST:
        raise Refused(Decision.REJECT_TOO_LARGE, name)
    if len(stack) == 1:
        if name == "METHOD":
            found.methods.append(line.partition(":")[2].strip().upper())
    elif name == "METHOD":  # it does nothing there, for some readers (ical4j/ical4j#423)
        raise malformed("METHOD in VEVENT")
    else:
        found.event[name].append(line)
