"""The invite as ical.js reads it: a parser in another language that shares nothing with ours."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from notify.render.invite import cancelled, invite_bytes
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


def test_ical_js_gives_the_jcal_that_the_vector_file_expects() -> None:
    """The reader itself, held against RFC 7265 before it judges us."""
    [case] = [case for case in read_cases(FOLDER / "calendar.json") if case.id == "X-01"]
    assert by_ical_js(case.given["ics"].encode())["jcal"] == case.expect["jcal"]
