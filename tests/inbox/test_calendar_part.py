"""Calendar parts are read strictly and cheaply, found wherever they stand, and believed as far as they are proved.

RFC 5545 3.1 to 3.8 (lines, parameters, values), RFC 5546 3.2 (what each method holds), RFC 6047 2.4 and 2.6 (which part
it is), RFC 3464 (a report gives our own invite back).
"""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from icalendar import Calendar

from notify.core.claim_number import new_token
from notify.core.itip import Answer, Decision, Partstat, Unread
from notify.inbox.calendar_part import LARGEST, read_answer
from notify.inbox.content_lines import LONGEST, MOST_LINES
from notify.inbox.letter import read_letter
from notify.inbox.take import calendar_answers, organizer_tokens
from tests.parts.answers import ATTENDEE, ORGANIZER, attendee_line, calendar_object, carrying, only_answer
from tests.parts.calendar_bombs import BOMBS, Bomb
from tests.parts.letters import delivery_report, group, letter, multipart

REPLIES = Path(__file__).parents[1] / "vectors" / "replies"
CPU_MS = 50.0  # what a hostile one may cost at most


def read(*lines: str, method: str = "REPLY", **changes: object) -> Answer:
    found = read_answer(calendar_object(*lines, method=method, **changes), method=method)  # type: ignore[arg-type]
    assert isinstance(found, Answer), found
    return found


def refused(raw: bytes, *, method: str = "REPLY") -> Unread:
    found = read_answer(raw, method=method)
    assert isinstance(found, Unread), found
    return found


# One answer ----------------------------------------------------------------------------------------------------


def test_every_field_of_an_answer_is_what_icalendars_own_reader_finds() -> None:
    """The whole of icalendar against our few lines of it."""
    for file in sorted(REPLIES.glob("*.eml")):
        for raw, _ in read_letter(file.read_bytes()).calendars:
            event: Any = Calendar.from_ical(raw).walk("VEVENT")[0]
            found = read_answer(raw, method="")
            assert isinstance(found, Answer)
            assert (found.uid, found.sequence) == (event["UID"], event["SEQUENCE"])
            assert found.stamp == event["DTSTAMP"].dt
            assert found.attendee == event["ATTENDEE"].lower().removeprefix("mailto:")
            assert found.partstat.upper() == event["ATTENDEE"].params["PARTSTAT"]


@pytest.mark.parametrize("word", ["ACCEPTED", "accepted", "Tentative", "DECLINED", "DELEGATED", "NEEDS-ACTION"])
def test_what_they_say_is_read_in_any_case(word: str) -> None:
    assert read(attendee=attendee_line(partstat=word)).partstat == Partstat(word.lower().replace("-", "_"))


@pytest.mark.parametrize("word", ["X-LATER", "COMPLETED", ""])
def test_a_word_for_no_answer_to_an_event_says_nothing(word: str) -> None:
    """RFC 5545 3.2.12: other tokens count as NEEDS-ACTION; COMPLETED is a to-do's."""
    assert read(attendee=attendee_line(partstat=word)).partstat is Partstat.NEEDS_ACTION


def test_a_comment_is_kept_without_claim_secrets_and_signs_that_turn_the_reading() -> None:
    token = new_token(lambda limit: limit // 2)
    text = f"COMMENT:Not today\\, sorry\\nmy code {token}\u202e!"
    said = read(text).comment
    assert said.startswith("Not today, sorry\nmy code") and token not in said and "\u202e" not in said


def test_words_beside_the_attendee_count_where_there_is_no_comment() -> None:
    assert read(attendee=attendee_line(params=';X-RESPONSE-COMMENT="After work"')).comment == "After work"


@pytest.mark.parametrize(
    ("lines", "sequence", "wanted"),
    [((), None, 0), ((), 3, 3), (("X-MICROSOFT-CDO-APPT-SEQUENCE:4",), None, 4),
     (("X-MICROSOFT-CDO-APPT-SEQUENCE:4",), 2, 2)],
)  # fmt: skip
def test_the_revision_stands_in_its_own_field_or_in_exchanges(
    lines: tuple[str, ...], sequence: int | None, wanted: int
) -> None:
    assert read(*lines, sequence=sequence).sequence == wanted


@pytest.mark.parametrize(
    ("lines", "wanted"),
    [((), "2.0"), (("REQUEST-STATUS:2.0;Success",), "2.0"), (("REQUEST-STATUS:3.7;Invalid calendar user",), "3.7"),
     (("REQUEST-STATUS:2.8;Success;x", "REQUEST-STATUS:5.1;Service unavailable"), "5.1"),
     (("REQUEST-STATUS:all well",), "?")],
)  # fmt: skip
def test_the_worst_of_all_states_is_the_state(lines: tuple[str, ...], wanted: str) -> None:
    """RFC 5546 3.6: none is 2.0."""
    assert read(*lines).request_status == wanted


def test_who_is_to_come_instead_is_read_and_not_believed() -> None:
    one = read(attendee=attendee_line(partstat="DELEGATED", params=';DELEGATED-TO="mailto:Jo@other.example"'))
    assert (one.partstat, one.delegated_to) == (Partstat.DELEGATED, "jo@other.example")
    assert read(attendee=attendee_line(params=';DELEGATED-TO="tel:123"')).delegated_to == "?"


NINE = datetime(2026, 11, 5, 9, 30, tzinfo=UTC)
OSLO = datetime(2026, 11, 5, 10, 30, tzinfo=ZoneInfo("Europe/Oslo")).astimezone(UTC)


@pytest.mark.parametrize(
    ("lines", "start", "end"),
    [
        (("DTSTART:20261105T093000Z", "DTEND:20261105T094500Z"), NINE, NINE.replace(minute=45)),
        (("DTSTART:20261105T093000Z", "DURATION:PT15M"), NINE, NINE.replace(minute=45)),
        (("DTSTART:20261105T093060Z",), NINE.replace(second=59), None),  # RFC 5545 3.3.5: a leap second
        (("DTSTART;TZID=Europe/Oslo:20261105T103000",), OSLO, None),
        (("DTSTART;TZID=W. Europe Standard Time:20261105T103000",), OSLO, None),  # CLDR windowsZones.xml: Berlin
        (('DTSTART;TZID="(UTC+01:00) Amsterdam":20261105T103000',), None, None),
        (("DTSTART:20261105T103000",), None, None),  # floating
        (("DTSTART;TZID=Europe/Oslo:20261105T103000Z",), None, None),  # RFC 5545 3.2.19: not both
        (("DTSTART;VALUE=DATE:20261105",), None, None),
        (("DTSTART:20261305T093000Z",), None, None),
        (("DTSTART;TZID=../../etc/passwd:20261105T103000",), None, None),
        (("DTSTART;TZID=Europe/Oslo:00010101T000000",), None, None),  # before all calendars
        (("DTSTART:20261105T093000Z", "DTEND:20261105T093000Z"), NINE, None),
        (("DTSTART:20261105T093000Z", "DTEND:20261105T094500Z", "DURATION:PT1H"), NINE, None),
        (("DTSTART:20261105T093000Z", "DURATION:P99999999999D"), NINE, None),
        ((), None, None),
    ],
)
def test_a_proposed_time_is_an_instant_or_left_to_people(
    tzdata_only: None, lines: tuple[str, ...], start: datetime | None, end: datetime | None
) -> None:
    one = read(*lines, method="COUNTER")
    assert (one.start, one.end) == (start, end)


def test_the_times_of_a_reply_are_not_read() -> None:
    assert read("DTSTART:20261105T093000Z", "DTSTART:nonsense").start is None


# What is refused -----------------------------------------------------------------------------------------------

GOOD = calendar_object()
MALFORMED = {
    "two calendars": GOOD + GOOD,
    "two calendars, one without an event": GOOD + b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n",
    "two events": GOOD.replace(b"END:VEVENT\r\n", b"END:VEVENT\r\nBEGIN:VEVENT\r\nUID:2\r\nEND:VEVENT\r\n"),
    "no event": b"BEGIN:VCALENDAR\r\nMETHOD:REPLY\r\nEND:VCALENDAR\r\n",
    "an event in an event": GOOD.replace(b"END:VEVENT\r\n", b"BEGIN:VEVENT\r\nEND:VEVENT\r\nEND:VEVENT\r\n"),
    "an event in a zone": GOOD.replace(b"BEGIN:VEVENT", b"BEGIN:VTIMEZONE\r\nBEGIN:VEVENT").replace(
        b"END:VEVENT", b"END:VEVENT\r\nEND:VTIMEZONE"),
    "a to-do": GOOD.replace(b"VEVENT", b"VTODO"),
    "a to-do beside it": GOOD.replace(b"END:VCAL", b"BEGIN:VTODO\r\nEND:VTODO\r\nEND:VCAL"),
    "no end": GOOD.removesuffix(b"END:VCALENDAR\r\n"),
    "a wrong end": GOOD.replace(b"END:VEVENT", b"END:VTODO"),
    "components too deep": GOOD.replace(
        b"END:VEVENT", b"BEGIN:X-A\r\n" * 9 + b"END:X-A\r\n" * 9 + b"END:VEVENT"),
    "a line before": b"UID:1\r\n" + GOOD,
    "a line after": GOOD + b"UID:1\r\n",
    "two methods": GOOD.replace(b"METHOD:REPLY", b"METHOD:REPLY\r\nMETHOD:REPLY"),
    "a method in the event": calendar_object("METHOD:REPLY"),
    "two UIDs": calendar_object("UID:other"),
    "no UID": GOOD.replace(b"UID:", b"X-UID:"),
    "an empty UID": calendar_object(uid=""),
    "a UID too long": calendar_object(uid="u" * 256),
    "two attendees": calendar_object(attendee_line("x@y.example")),
    "no attendee": calendar_object(attendee="X-A:b"),
    "an attendee that is no mailbox": calendar_object(attendee="ATTENDEE:tel:+441632960123"),
    "an attendee with two words": calendar_object(attendee=attendee_line(params=";PARTSTAT=DECLINED")),
    "an attendee with two words in two cases": calendar_object(attendee=attendee_line(params=";partstat=DECLINED")),
    "an attendee without a colon": calendar_object(attendee="ATTENDEE;PARTSTAT=ACCEPTED"),
    "an attendee with an open quote": calendar_object(attendee='ATTENDEE;CN="x;PARTSTAT=ACCEPTED:mailto:a@b.example'),
    "two organizers": calendar_object(f"ORGANIZER:mailto:{ORGANIZER}"),
    "two revisions": calendar_object("SEQUENCE:0"),
    "a revision that is none": calendar_object("SEQUENCE:0.5", sequence=None),
    "a revision in other digits": calendar_object("SEQUENCE:\u0661", sequence=None),
    "a revision over 31 bits": calendar_object(sequence=2**31),
    "two times": calendar_object("DTSTAMP:20261101T120000Z"),
    "no time": GOOD.replace(b"DTSTAMP", b"X-DTSTAMP"),
    "a floating time": calendar_object(stamp="20261101T120000"),
    "a time with an offset": calendar_object(stamp="20261101T120000-0800"),
    "a time in a zone": GOOD.replace(b"DTSTAMP:", b"DTSTAMP;TZID=Europe/Oslo:"),
    "a time that is none": calendar_object(stamp="20261301T120000Z"),
    "a day": GOOD.replace(b"DTSTAMP:20261101T120000Z", b"DTSTAMP;VALUE=DATE:20261101"),
    "one of several": calendar_object("RECURRENCE-ID:20261103T100000Z"),
    "a zero": GOOD.replace(b"PRODID:", b"PRODID:\0"),
    "a bare CR": GOOD.replace(b"PRODID:-", b"PRODID:\r-"),
    "a control sign in the UID": calendar_object(uid="a\x0bb"),
}  # fmt: skip


@pytest.mark.parametrize("name", MALFORMED)
def test_what_is_not_one_answer_about_one_event_is_refused(name: str) -> None:
    assert isinstance(read_answer(GOOD, method="REPLY"), Answer), "the comparison must be able to fail"
    assert refused(MALFORMED[name]).decision is Decision.REJECT_MALFORMED


@pytest.mark.parametrize(
    ("raw", "method", "wanted"),
    [
        (calendar_object(method="COUNTER"), "REPLY", Decision.REJECT_METHOD_MISMATCH),
        (calendar_object(method="CANCEL"), "CANCEL", Decision.REJECT_NOT_PERMITTED),
        (calendar_object(method="REQUEST"), "request", Decision.REJECT_NOT_PERMITTED),
        (calendar_object(method="PUBLISH"), "", Decision.REJECT_NOT_PERMITTED),
        (GOOD.replace(b"METHOD:REPLY\r\n", b""), "REPLY", Decision.REJECT_METHOD_MISMATCH),
        (GOOD.replace(b"METHOD:REPLY\r\n", b""), "", Decision.REJECT_METHOD_MISMATCH),
        (calendar_object(attendee_line("x@y.example", params=";DELEGATED-FROM=\"mailto:a@b.example\""),
                         method="REQUEST"), "REQUEST", Decision.ROUTE_TO_HUMAN),
        (calendar_object(attendee_line("x@y.example"), method="COUNTER"), "COUNTER", Decision.ROUTE_TO_HUMAN),
        (calendar_object(*["X-A:b"] * MOST_LINES), "REPLY", Decision.REJECT_TOO_LARGE),
        (calendar_object("X-A:" + "b" * LARGEST), "REPLY", Decision.REJECT_TOO_LARGE),
        (calendar_object("COMMENT:" + "b" * LONGEST), "REPLY", Decision.REJECT_TOO_LARGE),
    ],
)  # fmt: skip
def test_the_wrong_method_and_too_much_are_refused_for_their_reason(raw: bytes, method: str, wanted: Decision) -> None:
    assert refused(raw, method=method).decision is wanted


def test_what_is_not_used_may_be_odd_and_long() -> None:
    """Real calendars write vertical tabs into descriptions, long ones at that, and lines that are none."""
    odd = ("DESCRIPTION:a\x0bb" + "c" * 9000, "no line at all", "BEGIN:VALARM", "TRIGGER:x", "END:VALARM")
    assert read(*odd).partstat is Partstat.ACCEPTED


def test_a_strangers_zone_and_rule_are_looked_at_by_nobody() -> None:
    """icalendar remembers a VTIMEZONE for the life of the process: the next letter would be read by it (7.3.2)."""
    zone = ("BEGIN:VTIMEZONE\r\nTZID:Quillhaven Time\r\nBEGIN:STANDARD\r\nDTSTART:16010101T000000\r\n"
            "TZOFFSETFROM:+0000\r\nTZOFFSETTO:+1200\r\nRRULE:FREQ=SECONDLY\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n"
            )  # fmt: skip
    start = "DTSTART;TZID=Quillhaven Time:20261105T093000"
    raw = calendar_object(start, "RRULE:FREQ=SECONDLY", method="COUNTER")
    poisoned = raw.replace(b"BEGIN:VEVENT", zone.encode() + b"BEGIN:VEVENT")
    for each in (poisoned, raw):
        one = read_answer(each, method="COUNTER")
        assert isinstance(one, Answer) and one.start is None


@given(st.binary(max_size=400), st.sampled_from(["", "REPLY", "COUNTER"]))
@settings(max_examples=300, deadline=None)
def test_any_octets_give_an_answer_or_a_reason(raw: bytes, method: str) -> None:
    assert isinstance(read_answer(raw, method=method), Unread)


@given(st.lists(st.tuples(st.integers(0, 400), st.binary(max_size=5)), max_size=5))
@settings(max_examples=200, deadline=None)
def test_an_answer_with_octets_put_in_anywhere_gives_an_answer_or_a_reason(changes: list[tuple[int, bytes]]) -> None:
    raw = calendar_object("COMMENT:later", "DTSTART:20261105T093000Z", method="COUNTER")
    for at, octets in changes:
        raw = raw[:at] + octets + raw[at + len(octets) // 2 :]
    found = read_answer(raw, method="COUNTER")
    if isinstance(found, Answer):
        assert found.method == "COUNTER" and 0 <= found.sequence < 2**31 and found.stamp
        assert found.attendee.count("@") == 1 and "\r" not in found.uid + found.attendee + found.organizer
    else:
        assert found.decision.startswith(("reject_", "route_")) and ATTENDEE not in found.why


@pytest.mark.parametrize("bomb", BOMBS, ids=lambda bomb: bomb.name.replace(" ", "_"))
def test_a_calendar_bomb_is_refused_or_harmless_within_its_time(bomb: Bomb) -> None:
    raw = bomb.make()
    read_answer(GOOD, method="REPLY")  # what is imported on first use is not the bomb's
    decision, spent = _defused(raw)
    assert decision == bomb.decision
    assert spent < CPU_MS


def _defused(raw: bytes) -> tuple[str, float]:
    """What is decided, and the CPU in ms: the least of three, as the machine's other work is not the bomb's."""
    spent = []
    for _ in range(3):
        began = time.process_time()
        found = read_answer(raw, method="REPLY")
        spent.append((time.process_time() - began) * 1000)
    return (str(found.decision) if isinstance(found, Unread) else "answer"), min(spent)


def test_all_calendar_bombs_together_cost_next_to_nothing() -> None:
    spent = {bomb.name: _defused(bomb.make())[1] for bomb in BOMBS}
    worst = max(spent, key=lambda name: spent[name])
    print(
        f"FIGURE calendar_bombs bombs={len(BOMBS)} worst={worst.replace(' ', '_')} cpu_ms={spent[worst]:.2f} limit=50"
    )
    assert len(BOMBS) >= 30 and spent[worst] < CPU_MS


# Where the part stands -----------------------------------------------------------------------------------------


def test_the_public_shapes_are_found_and_read() -> None:
    said = {file.stem: calendar_answers(read_letter(file.read_bytes())) for file in sorted(REPLIES.glob("*.eml"))}
    assert {name: [one.partstat for one in found if isinstance(one, Answer)] for name, found in said.items()} == {
        "apple-like-decline-nested-no-method": ["declined"], "counter-proposal": ["tentative"],
        "dsn-failed-5.1.1": [], "gmail-like-accept": ["accepted"], "outlook-like-accept-no-organizer": ["accepted"],
    }  # fmt: skip
    print(f"FIGURE reply_shapes letters={len(said)} read={sum(map(len, said.values()))}")


def _part(calendar: bytes = GOOD, kind: str = "text/calendar; method=REPLY") -> str:
    return f"Content-Type: {kind}\n\n{calendar.decode()}".replace("\r\n", "\n")


def test_the_same_object_twice_is_one_answer_and_two_are_two() -> None:
    other = calendar_object(attendee=attendee_line(partstat="DECLINED"))
    twice = multipart(_part(), _part(), _part(kind="text/calendar"))
    assert len(calendar_answers(read_letter(twice))) == 1
    assert len(calendar_answers(read_letter(multipart(_part(), _part(other))))) == 2


@pytest.mark.parametrize(
    "kind", ["application/ics; name=invite.ics", "application/octet-stream; name=reply.ics", "text/plain; name=a.ics"]
)
def test_a_file_that_is_only_called_a_calendar_decides_nothing(kind: str) -> None:
    assert calendar_answers(read_letter(multipart("Content-Type: text/plain\n\nYes\n", _part(kind=kind)))) == ()


@pytest.mark.parametrize("method", ["REQUEST", "CANCEL", "PUBLISH"])
def test_a_part_without_a_method_parameter_counts_only_as_an_answer(method: str) -> None:
    raw = multipart(_part(calendar_object(method=method), kind="text/calendar"))
    assert calendar_answers(read_letter(raw)) == ()


def test_our_own_invite_in_a_delivery_report_or_a_forwarded_letter_is_no_answer() -> None:
    report = delivery_report(group()).decode().replace("\r\n", "\n")
    with_ours = report.replace("--b0--", f"--b0\n{_part()}\n--b0--").encode()
    assert b"METHOD:REPLY" in with_ours and read_letter(with_ours).calendars == ()
    inner = f"Content-Type: message/rfc822\n\nFrom: a@example.org\n{_part()}"
    assert read_letter(multipart("Content-Type: text/plain\n\nSee below.\n", inner)).calendars == ()


def test_an_answer_in_outlooks_own_wrapping_is_for_people_unless_a_readable_one_is_beside_it() -> None:
    tnef = "Content-Type: application/ms-tnef; name=winmail.dat\nContent-Disposition: attachment\n\nx\n"
    [alone] = calendar_answers(read_letter(multipart("Content-Type: text/plain\n\nYes\n", tnef)))
    assert isinstance(alone, Unread) and alone.decision is Decision.ROUTE_TO_HUMAN
    assert isinstance(only_answer(read_letter(multipart(_part(), tnef))), Answer)


def test_a_letter_without_a_calendar_says_nothing_to_one() -> None:
    assert calendar_answers(read_letter(letter())) == ()


@pytest.mark.parametrize(
    ("pattern", "to", "wanted"),
    [
        ("pickup-{token}@shop.example", "pickup-abcdefgh23@shop.example", ("abcdefgh23",)),
        ("Pickup-{token}@Shop.Example", "PICKUP-ABCDEFGH23@shop.example", ("abcdefgh23",)),
        ("pickup-{token}@shop.example", "pickup-abcdefgh23@shop.example.org", ()),
        ("pickup-{token}@shop.example", "xpickup-abcdefgh23@shop.example", ()),
        ("pickup-{token}@shop.example", "pickup-abc@shop.example", ()),
        ("pickup-{token}@shop.example", "pickup-abcdefgh23@shopxexample", ()),
        ("", "pickup-abcdefgh23@shop.example", ()),
        ("counter@shop.example", "counter@shop.example", ()),
    ],
)
def test_the_token_is_found_only_in_an_address_of_the_pattern(pattern: str, to: str, wanted: tuple[str, ...]) -> None:
    assert organizer_tokens(pattern, read_letter(carrying(GOOD, to=to))) == wanted
