"""The invite as ical.js reads it: a parser in another language that shares nothing with ours."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import vobject

from notify.render.calendar_file import Entry, entry_bytes, feed_bytes
from notify.render.invite import cancelled, invite_bytes, proposal_declined, revised
from tests.parts.ical_js import by_ical_js
from tests.parts.invites import UID, an_invite
from tests.vectors.cases import FOLDER, read_cases

pytestmark = pytest.mark.real


def test_ical_js_reads_the_request_as_it_was_meant() -> None:
    sent = an_invite(
        summary="Pickup; counter 2, left",
        description="Zwölf Uhr 📻\n" * 12 + "C:\\end",
        attendee_name='Max "Mo" Muster; Jr., x',
    )
    read = by_ical_js(invite_bytes(sent))
    assert (read["version"], read["method"], read["calendarUid"]) == ("2.0", "REQUEST", None)
    [event] = read["events"]
    assert event["uid"] == UID and event["sequence"] == 0 and event["status"] == "CONFIRMED"
    assert (event["start"], event["end"]) == ("2026-11-26T10:00:00Z", "2026-11-26T10:15:00Z")
    assert event["startEpoch"] == sent.start.timestamp()
    assert (event["summary"], event["description"]) == (sent.summary, sent.description)
    [organizer], [attendee] = event["organizer"], event["attendee"]
    assert organizer == {"address": "mailto:pickup-7f3k9q@example.org", "params": {"cn": "Tramstop Bench"}}
    assert attendee["address"] == "mailto:pat@example.com"
    assert attendee["params"] == {
        "cn": sent.attendee_name,
        "cutype": "INDIVIDUAL",
        "role": "REQ-PARTICIPANT",
        "partstat": "NEEDS-ACTION",
        "rsvp": "TRUE",
    }


def test_ical_js_reads_the_cancellation_of_the_same_event() -> None:
    read = by_ical_js(invite_bytes(cancelled(an_invite(), dtstamp=datetime(2026, 11, 25, 10, tzinfo=UTC))))
    [event] = read["events"]
    assert read["method"] == "CANCEL" and event["status"] == "CANCELLED" and event["alarms"] == 0
    assert (event["uid"], event["sequence"], event["dtstamp"]) == (UID, 1, "2026-11-25T10:00:00Z")


LATER = datetime(2026, 11, 25, 10, tzinfo=UTC)
AWKWARD = 'Größe 📻; a, b \\ c: "d"'


def an_entry(n: int = 0, **changes: Any) -> Entry:
    """A pickup in a plain calendar file."""
    sent = an_invite()
    plain = Entry(f"{UID[:-2]}{n:02}", n, LATER, sent.start, sent.end, AWKWARD, "One\nTwo", "Rope Walk")
    return replace(plain, **changes)


def test_ical_js_reads_a_move_as_the_same_event_at_its_new_time() -> None:
    start = datetime(2026, 11, 27, 16, 30, tzinfo=UTC)
    moved = revised(an_invite(), dtstamp=LATER, start=start, end=start + timedelta(minutes=15))
    [event] = by_ical_js(invite_bytes(moved))["events"]
    assert (event["uid"], event["sequence"], event["status"]) == (UID, 1, "CONFIRMED")
    assert (event["start"], event["end"]) == ("2026-11-27T16:30:00Z", "2026-11-27T16:45:00Z")


def test_ical_js_reads_the_no_to_a_proposal_as_no_change_of_the_event() -> None:
    read = by_ical_js(invite_bytes(proposal_declined(an_invite(sequence=3), dtstamp=LATER)))
    [event] = read["events"]
    assert read["method"] == "DECLINECOUNTER" and event["sequence"] == 3 and event["uid"] == UID
    assert sorted(event["properties"]) == ["attendee", "dtstamp", "organizer", "sequence", "uid"]
    assert event["attendee"][0]["address"] == "mailto:pat@example.com"


def test_ical_js_and_vobject_read_a_download_and_a_feed_as_plain_entries() -> None:
    whole = feed_bytes(f"Pickups, {AWKWARD}", [an_entry(n, cancelled=n == 2) for n in range(3)])
    for wire, count in ((entry_bytes(an_entry()), 1), (whole, 3)):
        read = by_ical_js(wire)
        assert read["method"] is None and len(read["events"]) == count
        other = vobject.readOne(wire.decode())
        for event, twin in zip(read["events"], other.vevent_list, strict=True):
            assert (event["summary"], event["description"]) == (AWKWARD, "One\nTwo")
            assert (twin.summary.value, twin.description.value) == (AWKWARD, "One\nTwo")
            assert event["startEpoch"] == twin.dtstart.value.timestamp() == an_entry().start.timestamp()
            assert event["organizer"] == event["attendee"] == [] and event["alarms"] == 0
    assert by_ical_js(whole)["name"] == f"Pickups, {AWKWARD}"
    assert [one["status"] for one in by_ical_js(whole)["events"]] == ["CONFIRMED", "CONFIRMED", "CANCELLED"]
    assert [one["sequence"] for one in by_ical_js(whole)["events"]] == [0, 1, 2]


def test_ical_js_gives_the_jcal_that_the_vector_file_expects() -> None:
    """The reader itself, held against RFC 7265 before it judges us."""
    [case] = [case for case in read_cases(FOLDER / "calendar.json") if case.id == "X-01"]
    assert by_ical_js(case.given["ics"].encode())["jcal"] == case.expect["jcal"]
