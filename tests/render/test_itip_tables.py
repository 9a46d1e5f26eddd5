"""Every calendar object that we can produce keeps RFC 5546's method tables, whatever is in it and whatever changed."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.render.calendar_file import Entry, entry_bytes, feed_bytes
from notify.render.invite import METHODS, Invite, cancelled, invite_bytes, proposal_declined, revised
from tests.parts.content_lines import only, read_lines
from tests.parts.invites import UID, an_invite
from tests.parts.itip_tables import TABLES, breaches

NOON = datetime(2026, 11, 26, 12, tzinfo=UTC)
# RFC 5546 2.1.4 names them; a move to another branch is "other changes that may make people reconsider".
RISES = {"start", "end", "location"}
texts = st.text(max_size=60).map(lambda text: text.encode("utf-8", "ignore").decode())
moments = st.datetimes(datetime(2020, 1, 1), datetime(2039, 12, 31), timezones=st.just(UTC))


@st.composite
def invites(draw: Any) -> Invite:
    """Any invite of any method."""
    method = draw(st.sampled_from(sorted(METHODS)))
    start = draw(moments)
    return an_invite(
        method=method, sequence=draw(st.integers(method == "CANCEL", 10_000)), dtstamp=draw(moments), start=start,
        end=start + timedelta(seconds=draw(st.integers(1, 90_000))), summary=draw(texts), description=draw(texts),
        location=draw(texts), organizer_name=draw(texts), attendee_name=draw(texts), uid=str(draw(st.uuids())),
    )  # fmt: skip


@st.composite
def entries(draw: Any) -> Entry:
    """Any entry of a download or a feed."""
    start = draw(moments)
    return Entry(
        str(draw(st.uuids())), draw(st.integers(0, 10_000)), draw(moments), start,
        start + timedelta(seconds=draw(st.integers(1, 90_000))), draw(texts), draw(texts), draw(texts),
        cancelled=draw(st.booleans()),
    )  # fmt: skip


def wrong(octets: bytes) -> list[str]:
    """The breaches of one object."""
    return list(breaches(read_lines(octets)))


def test_every_object_keeps_the_table_of_its_method() -> None:
    seen: Counter[str] = Counter()

    @settings(max_examples=300, deadline=None)
    @given(invite=invites(), one=entries())
    def look(invite: Invite, one: Entry) -> None:
        assert wrong(invite_bytes(invite)) == []
        assert wrong(entry_bytes(one)) == []
        assert wrong(feed_bytes(one.summary, [one])) == []
        seen.update([invite.method, "", ""])

    look()
    print(f"FIGURE itip_tables objects={seen.total()} breaches=0 methods={len(seen)}")
    assert set(seen) == set(TABLES)


def test_the_whole_feed_has_many_events_and_no_method() -> None:
    feed = read_lines(feed_bytes("Pickups", [Entry(str(n), n, NOON, NOON, NOON + timedelta(hours=1), "x")
                                             for n in range(3)]))  # fmt: skip
    assert [line.value for line in feed if line.name == "UID"] == ["0", "1", "2"]
    assert not [line for line in feed if line.name == "METHOD"]
    assert only(feed, "REFRESH-INTERVAL").raw == "REFRESH-INTERVAL;VALUE=DURATION:PT15M"  # RFC 7986 5.7


changes = st.sampled_from(["start", "end", "location", "summary", "description", "nothing", "clock back"])


def changed(invite: Invite, what: str) -> dict[str, Any]:
    """One change of that kind."""
    if what in ("start", "end"):
        return {"end": invite.end + timedelta(minutes=15)} | ({"start": invite.end} if what == "start" else {})
    return {what: getattr(invite, what) + "!"} if what in ("location", "summary", "description") else {}


@settings(max_examples=100, deadline=None)
@given(story=st.lists(changes, max_size=12), ends=st.booleans())
def test_the_sequence_rises_with_what_makes_people_reconsider_and_only_then(story: list[str], ends: bool) -> None:
    """RFC 5546 2.1.4; DTSTAMP always rises (2.1.5), UID never changes."""
    invite, now = an_invite(), NOON
    for what in story:
        before, now = invite, now - timedelta(hours=2) if what == "clock back" else now
        invite = revised(invite, dtstamp=now, **changed(invite, what))
        assert invite.sequence == before.sequence + (what in RISES)
        declined = proposal_declined(invite, dtstamp=now)
        assert wrong(invite_bytes(declined)) == [] and declined.sequence == invite.sequence
        assert before.dtstamp < invite.dtstamp < declined.dtstamp and invite.uid == UID
    if ends:
        gone = cancelled(invite, dtstamp=now)
        assert wrong(invite_bytes(gone)) == [] and gone.sequence == invite.sequence + 1
        assert gone.dtstamp > invite.dtstamp


PLANTED = [
    ("REQUEST", b"SUMMARY:", b"COMMENT:", "SUMMARY"),
    ("REQUEST", b"STATUS:CONFIRMED", b"STATUS:CANCELLED", "STATUS"),
    ("REQUEST", b"CLASS:PRIVATE", b"REQUEST-STATUS:2.0", "REQUEST-STATUS"),
    ("REQUEST", b"CLASS:PRIVATE", b"DURATION:PT15M", "DURATION"),
    ("REQUEST", b"DTSTAMP:20261125T090000Z", b"DTSTAMP:20261125T090000", "DTSTAMP"),
    ("REQUEST", b"DTSTART:", b"DTSTART;TZID=Europe/London:", "VTIMEZONE"),
    ("CANCEL", b"SEQUENCE:", b"PRIORITY:", "SEQUENCE"),
    ("CANCEL", b"END:VEVENT", b"BEGIN:VALARM\r\nEND:VALARM\r\nEND:VEVENT", "VALARM"),
    ("CANCEL", b"ORGANIZER", b"CONTACT", "ORGANIZER"),
    ("DECLINECOUNTER", b"UID:", b"DTSTART:20261126T100000Z\r\nUID:", "DTSTART"),
    ("DECLINECOUNTER", b"ATTENDEE", b"CONTACT", "ATTENDEE"),
    ("REQUEST", b"METHOD:REQUEST\r\n", b"", "ATTENDEE"),
]


@pytest.mark.parametrize(("method", "was", "becomes", "found"), PLANTED)
def test_the_tables_find_what_is_missing_forbidden_or_too_many(
    method: Any, was: bytes, becomes: bytes, found: str
) -> None:
    octets = invite_bytes(an_invite(method=method, sequence=1))
    assert was in octets and any(found in one for one in breaches(read_lines(octets.replace(was, becomes, 1))))
