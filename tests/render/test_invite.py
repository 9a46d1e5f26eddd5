"""The calendar object of a pickup, by RFC 5545 and 5546 and by independent readers."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st

from notify.core.errors import Invalid
from notify.render.invite import Invite, cancelled, invite_bytes, next_sequence, revised
from tests.parts.content_lines import Line, only, read_lines
from tests.parts.invites import UID, an_invite

LATER = datetime(2026, 11, 25, 10, 0, tzinfo=UTC)
AWKWARD = 'Ünïcode 📻; a, b \\ c: "d" ^e\r\nATTENDEE:mailto:eve@example.net\x00\u2028BEGIN:VALARM'


def lines(invite: Invite) -> list[Line]:
    return read_lines(invite_bytes(invite))


def test_the_first_request_holds_what_rfc_5546_3_2_2_asks_and_nothing_else() -> None:
    read = lines(an_invite())
    assert [line.name for line in read] == [
        "BEGIN", "PRODID", "VERSION", "METHOD", "BEGIN", "UID", "DTSTAMP", "SEQUENCE", "DTSTART", "DTEND",
        "SUMMARY", "LOCATION", "DESCRIPTION", "STATUS", "CLASS", "ORGANIZER", "ATTENDEE", "END", "END",
    ]  # fmt: skip
    assert only(read, "UID").value == UID
    assert only(read, "DTSTART").value == "20261126T100000Z" and only(read, "DTEND").value == "20261126T101500Z"
    assert only(read, "DTSTAMP").value == "20261125T090000Z"
    assert only(read, "ORGANIZER").raw == 'ORGANIZER;CN="Tramstop Bench":mailto:pickup-7f3k9q@example.org'
    assert only(read, "ATTENDEE").params == {
        "CN": "Pat Moss", "CUTYPE": "INDIVIDUAL", "ROLE": "REQ-PARTICIPANT", "PARTSTAT": "NEEDS-ACTION", "RSVP": "TRUE"
    }  # fmt: skip


def test_a_cancellation_says_so_three_times_over_and_asks_for_no_answer() -> None:
    first = an_invite()
    read = lines(cancelled(first, dtstamp=LATER))
    values = {name: only(read, name).value for name in ("METHOD", "STATUS", "SEQUENCE", "UID")}
    assert values == {"METHOD": "CANCEL", "STATUS": "CANCELLED", "SEQUENCE": "1", "UID": UID}
    assert only(read, "ORGANIZER").raw == only(lines(first), "ORGANIZER").raw
    assert "RSVP" not in only(read, "ATTENDEE").params
    assert [line.value for line in read if line.name == "BEGIN"] == ["VCALENDAR", "VEVENT"]  # no VALARM


def test_200_moves_keep_the_uid_and_raise_the_sequence_each_time() -> None:
    """RFC 5546 2.1.4, and 2.1.5: newest by SEQUENCE, then DTSTAMP."""
    invite, errors, moves = an_invite(), 0, 200
    for n in range(moves):
        before = invite
        start = before.start + timedelta(minutes=15)
        # Two moves within one second, and a clock set back now and then.
        stamp = LATER + timedelta(seconds=n // 2 - (3600 if n % 50 == 49 else 0))
        invite = revised(before, dtstamp=stamp, start=start, end=start + timedelta(minutes=15))
        old, new = lines(before), lines(invite)
        errors += only(new, "UID").value != UID
        errors += int(only(new, "SEQUENCE").value) != int(only(old, "SEQUENCE").value) + 1
        errors += only(new, "DTSTAMP").value <= only(old, "DTSTAMP").value
    final = lines(cancelled(invite, dtstamp=LATER))
    errors += only(final, "SEQUENCE").value != str(moves + 1) or only(final, "UID").value != UID
    assert errors == 0
    print(f"FIGURE C5_invite moves={moves} sequence_errors={errors}")


@pytest.mark.parametrize(
    ("changes", "rise"),
    [
        ({"start": datetime(2026, 11, 26, 9, 45, tzinfo=UTC)}, 1),
        ({"end": datetime(2026, 11, 26, 10, 30, tzinfo=UTC)}, 1),
        ({"location": "Our other branch"}, 1),
        ({"description": "Please ring."}, 0),
        ({"summary": "Pickup"}, 0),
        ({"start": datetime(2026, 11, 26, 10, 0, tzinfo=UTC)}, 0),
        ({}, 0),
    ],
)
def test_only_what_makes_people_reconsider_raises_the_sequence(changes: dict[str, Any], rise: int) -> None:
    assert revised(an_invite(sequence=3), dtstamp=LATER, **changes).sequence == 3 + rise


@pytest.mark.parametrize("changed", ["DTSTART", "DTEND", "DURATION", "DUE", "RRULE", "RDATE", "EXDATE", "STATUS"])
def test_every_property_that_rfc_5546_2_1_4_names_raises_the_sequence(changed: str) -> None:
    assert next_sequence(0, changed=[changed, "SUMMARY"]) == 1


def test_a_cancelled_pickup_cannot_be_opened_again_nor_change_its_identity() -> None:
    gone = cancelled(an_invite(), dtstamp=LATER)
    for change in (lambda: revised(gone, dtstamp=LATER), lambda: cancelled(gone, dtstamp=LATER)):
        with pytest.raises(Invalid, match="cannot be changed any more"):
            change()
    for field in ("uid", "sequence", "attendee_address", "method"):
        with pytest.raises(Invalid, match="time, place and words only"):
            revised(an_invite(), dtstamp=LATER, **{field: "x"})


def test_the_same_invite_gives_the_same_bytes() -> None:
    assert invite_bytes(an_invite(summary=AWKWARD)) == invite_bytes(an_invite(summary=AWKWARD))


def test_times_of_any_zone_leave_in_utc_with_whole_seconds() -> None:
    kathmandu = timezone(timedelta(hours=5, minutes=45))
    start = datetime(2026, 11, 26, 15, 45, 0, 999_999, tzinfo=kathmandu)
    read = lines(an_invite(start=start, end=start + timedelta(minutes=15)))
    assert only(read, "DTSTART").raw == "DTSTART:20261126T100000Z"


@pytest.mark.parametrize("field", ["summary", "description", "location", "organizer_name", "attendee_name"])
def test_awkward_text_starts_no_line_of_its_own(field: str) -> None:
    plain, read = lines(an_invite()), lines(an_invite(**{field: AWKWARD}))
    assert [line.name for line in read] == [line.name for line in plain]
    held = next(line for line in read if "eve@example.net" in line.raw)
    assert held.name in (field.upper(), field.split("_")[0].upper())


@given(text=st.text(max_size=200), name=st.text(max_size=60))
def test_any_text_folds_within_75_octets_and_comes_back(text: str, name: str) -> None:
    text = text.encode("utf-8", "ignore").decode()
    read = lines(an_invite(description=f"x{text}x", attendee_name=name.encode("utf-8", "ignore").decode()))
    kept = [c for c in f"x{text}x" if c.isprintable() and c != " "]
    assert [c for c in only(read, "DESCRIPTION").text if c.isprintable() and c != " "] == kept


def test_a_plus_sign_is_encoded_for_the_organizer_only() -> None:
    read = lines(an_invite(organizer_address="shop+a@example.org", attendee_address="pat+b@example.com"))
    assert only(read, "ORGANIZER").value == "mailto:shop%2Ba@example.org"
    assert only(read, "ATTENDEE").value == "mailto:pat+b@example.com"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"start": datetime(2026, 11, 26, 10, 0)}, "without a zone"),
        ({"dtstamp": datetime(2026, 11, 25, 9, 0)}, "without a zone"),
        ({"end": datetime(2026, 11, 26, 10, 0, tzinfo=UTC)}, "end after it starts"),
        ({"sequence": -1}, "starts at 0"),
        ({"method": "CANCEL"}, "cancellation at 1"),
        ({"method": "PUBLISH"}, "REQUEST, CANCEL or DECLINECOUNTER"),
        ({"uid": ""}, "uid"),
        ({"uid": "x" * 256}, "uid"),
        ({"uid": "pat@example.com"}, "uid"),
        ({"uid": "a\r\nMETHOD:CANCEL"}, "uid"),
        ({"attendee_address": "pat"}, "plain e-mail address"),
        ({"attendee_address": "pat@example.com\r\nX:y"}, "plain e-mail address"),
        ({"organizer_address": "Pat <pat@example.com>"}, "plain e-mail address"),
        ({"organizer_address": "päd@example.com"}, "plain e-mail address"),
        ({"description": "See https://example.org/c/k3t9x2v5b8n4"}, "claim link"),
        ({"location": "shelfbell:c/k3t9x2v5b8n4"}, "claim link"),
    ],
)
def test_an_invite_that_would_mislead_is_refused(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(Invalid, match=words):
        invite_bytes(an_invite(**changes))


def test_a_refusal_never_repeats_an_address() -> None:
    with pytest.raises(Invalid) as refused:
        invite_bytes(an_invite(attendee_address="pat moss@example.com"))
    assert "pat" not in str(refused.value) and refused.value.field == "attendee_address"


def test_an_independent_parser_reads_the_same_pickup() -> None:
    """vobject shares no code with the library that writes the invite."""
    sent = an_invite(summary="Pickup; counter 2, left", description="One\nTwo \\ three")
    event = vobject.readOne(invite_bytes(sent).decode()).vevent
    assert event.dtstart.value == sent.start and event.dtend.value == sent.end
    assert event.summary.value == sent.summary and event.description.value == sent.description
    assert event.uid.value == UID and event.sequence.value == "0"
    assert event.organizer.value == "mailto:pickup-7f3k9q@example.org"
    assert event.attendee.params["PARTSTAT"] == ["NEEDS-ACTION"] and event.attendee.params["CN"] == ["Pat Moss"]
