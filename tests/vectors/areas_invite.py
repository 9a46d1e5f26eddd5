"""Adapters for invites that we write: the message for each change, folding, escaping, parameters."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from email import message_from_bytes
from email.policy import default
from typing import Any

from notify.render.email import Mailbox, compose_mail
from notify.render.invite import Invite, cancelled, invite_bytes, next_sequence, revised
from tests.parts.content_lines import Line, only, physical_lines, read_lines
from tests.parts.invites import an_invite
from tests.vectors.areas_calendar import read_escape, read_fold, read_param

Given = dict[str, Any]
_LATER = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
_CHANGES: dict[str, dict[str, Any]] = {
    "DTSTART": {"start": datetime(2026, 11, 27, 15, 0, tzinfo=UTC)},
    "DTEND": {"end": datetime(2026, 11, 27, 15, 15, tzinfo=UTC)},
    "DESCRIPTION": {"description": "Please ring at the side door."},
}


def outgoing(given: Given, expect: Given) -> None:
    """The message that each action sends, compared with the one before it; no expectation is passed over."""
    if "smtp" in given:
        _same_again(expect)
    elif given.get("change") == ["STATUS"]:
        assert next_sequence(given["from_sequence"], changed=given["change"]) == expect["SEQUENCE"]
    else:
        old = an_invite(sequence=given.get("from_sequence", 0))
        new = _next(old, given)
        checks = _Outgoing(old, new)
        for key, wanted in expect.items():
            checks.check(key, wanted)


def _next(old: Invite, given: Given) -> Invite:
    if given.get("action") == "offer slot":
        return old
    if "change" not in given:
        return cancelled(old, dtstamp=_LATER)
    changes = {name: value for change in given["change"] for name, value in _CHANGES[change].items()}
    return revised(old, dtstamp=_LATER, **changes)


class _Outgoing:
    """What was sent, set beside what had been sent before."""

    def __init__(self, old: Invite, new: Invite) -> None:
        self.new = new
        self.before, self.lines = read_lines(invite_bytes(old)), read_lines(invite_bytes(new))
        self.names = {line.name for line in self.lines}
        self.components = {line.value for line in self.lines if line.name == "BEGIN"}

    def check(self, key: str, wanted: Any) -> None:
        """Assert one line of an expectation; one that is not understood fails."""
        if key == "must_have":
            assert {name.removesuffix("(UTC)") for name in wanted} <= self.names
            assert "DTSTAMP(UTC)" not in wanted or self.one("DTSTAMP").value.endswith("Z")
        elif key == "must_not_have":
            assert self.names.isdisjoint(wanted) and self.components.isdisjoint(wanted)
        elif key == "ATTENDEE_params":
            assert self.one("ATTENDEE").params.items() >= wanted.items()
        elif key in ("PARTSTAT", "RSVP"):
            assert self.one("ATTENDEE").params[key] == wanted
        elif key == "DTEND_xor_DURATION":
            assert ("DTEND" in self.names) != ("DURATION" in self.names)
        elif key == "MIME_method":
            assert _mime_method(self.new) == wanted
        elif wanted == "later than before":
            assert self.one(key).value > only(self.before, key).value
        elif wanted in ("unchanged", "same as in the REQUEST"):
            assert self.one(key).raw == only(self.before, key).raw
        elif wanted == "present":
            assert self.one(key).value
        else:
            assert self.one(key).value == str(wanted), f"{key} is {self.one(key).value}"

    def one(self, name: str) -> Line:
        return only(self.lines, name)


def _mail(invite: Invite) -> bytes:
    return compose_mail(
        sender=Mailbox("Tramstop Bench", invite.organizer_address),
        to=invite.attendee_address,
        reply_to=None,
        subject="Your pickup",
        text="Your pickup time.",
        html=None,
        message_id="<6f1d3c@example.org>",
        date=invite.dtstamp,
        language="en",
        invite=invite_bytes(invite),
        method=invite.method,
    )


def _mime_method(invite: Invite) -> Any:
    parts = message_from_bytes(_mail(invite), policy=default).walk()
    methods = {part.get_param("method") for part in parts if part.get_content_type() == "text/calendar"}
    assert len(methods) == 1, f"methods {methods}"
    return methods.pop()


def _same_again(expect: Given) -> None:
    """A retry has only what was stored before the first try; making it again gives the same bytes, too."""
    assert set(expect) == {"same_message_id", "same_dtstamp", "same_sequence", "same_bytes"}
    assert all(expect.values())
    assert _mail(an_invite()) == _mail(an_invite())
    moved = revised(an_invite(), dtstamp=_LATER, start=_LATER, end=_LATER + timedelta(hours=1))
    assert _mail(moved) != _mail(an_invite()), "the comparison must be able to fail"


def fold(given: Given, expect: Given) -> None:
    """A long text on the wire and back again."""
    if "wire" in given:
        read_fold(given, expect)
        return
    name, text = given["property"], given["value_unescaped"]
    wire = invite_bytes(an_invite(**{name.lower(): text}))
    assert max(map(len, physical_lines(wire))) <= expect["every_physical_line_max_octets"]
    line = only(read_lines(wire), name)
    assert line.text == expect["unfold_then_unescape_equals"]
    assert line.physical >= expect["min_physical_lines"]


def escape(given: Given, expect: Given) -> None:
    """Text with characters that mean something to the format."""
    if "text" not in given:
        read_escape(given, expect)
        return
    lines = read_lines(invite_bytes(an_invite(description=given["text"])))
    line = only(lines, "DESCRIPTION")
    assert line.value == expect.get("wire_value", line.value), f"on the wire {line.value}"
    assert line.text == expect.get("round_trip_equals", line.text)
    evil = [each for each in lines if each.name == "ATTENDEE" and "evil" in each.raw]
    assert len(evil) == expect.get("content_lines_starting_with_ATTENDEE", 0)


def param(given: Given, expect: Given) -> None:
    """A customer's name as a parameter."""
    if "CN" not in given:
        read_param(given, expect)
        return
    line = only(read_lines(invite_bytes(an_invite(attendee_name=given["CN"]))), "ATTENDEE")
    assert expect.get("wire_contains", "") in line.raw
    if expect.get("raw_DQUOTE_inside_value") is False:
        inside = line.params["CN"]
        assert inside in (given["CN"].replace('"', "^'"), given["CN"].replace('"', ""))
    assert line.params["PARTSTAT"] == expect.get("PARTSTAT", "NEEDS-ACTION")


AREAS = {"outgoing": outgoing, "fold": fold, "escape": escape, "param": param}
