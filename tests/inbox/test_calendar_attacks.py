"""Calendar answers written to do harm: by somebody who was forwarded an invite, holds an old address, or only has time.

Each is a whole letter in a real Maildir, on both databases. RFC 5546 6.1 (spoofing, flooding), 2.1.5 (order).
"""

from __future__ import annotations

from typing import Any

import pytest

from notify.core.reply_limits import MOST_QUESTIONS, MOST_RINGS
from notify.flows import pickup, reach
from notify.store import tickets
from tests.flows.conftest import lines as lines
from tests.inbox.test_calendar_acts import INES, PATTERN, PROVED, Desk, at
from tests.inbox.test_calendar_acts import desk as desk
from tests.parts import answers as shapes

pytestmark = pytest.mark.long

LONG_AHEAD = 10 * 365 * 86400  # seconds


def rings(desk: Desk) -> int:
    desk.house.deliver(after=91)
    return len(desk.told("reply_shop"))


@pytest.mark.parametrize("step", [1, -1, 0])
@pytest.mark.parametrize(
    "how",
    [{"proved": False}, {"sender": "eve@example.net"}, {"attendee": "eve@example.net", "sender": "eve@example.net"},
     {"sequence": 7}, {"method": "COUNTER", "proved": False}],
)  # fmt: skip
def test_whoever_knows_an_invite_cannot_ring_the_shop_or_fill_its_list_without_end(
    desk: Desk, step: int, how: dict[str, Any]
) -> None:
    """Forty letters, their times rising, falling or equal: few rings, few questions."""
    for n in range(40):
        desk.says("DECLINED", ago=2000 + step * n * 10, **how)
    assert desk.booking().state == "booked"
    assert rings(desk) <= MOST_QUESTIONS + MOST_RINGS  # as questions, and as letters that nobody has read yet
    assert len(desk.questions()) <= MOST_QUESTIONS


@pytest.mark.parametrize("proved", [True, False])
def test_a_question_from_the_end_of_the_calendar_ends_with_the_next_proved_answer(desk: Desk, proved: bool) -> None:
    """RFC 5546 2.1.5 orders by DTSTAMP: one of the year 9999 would stand above every honest one."""
    desk.says("DECLINED", ago=-LONG_AHEAD, proved=proved)
    assert [one.asked for one in desk.questions()] == ["no_unproved"]
    desk.house.clock.advance(60)
    desk.says("ACCEPTED")
    assert desk.booking().partstat == "accepted" and desk.questions() == ()


@pytest.mark.parametrize("how", [
    {"sequence": 2**31}, {"sequence": 2**31 - 1}, {"sequence": "9" * 400}, {"sequence": -1}, {"partstat": "X" * 300},
    {"lines": ("REQUEST-STATUS:3.7;" + "x" * 3000,)}, {"attendee": "a" * 3000 + "@example.org"},
    {"attendee": "ines%40example.org%00"}, {"lines": ("COMMENT:" + "\u00fc" * 1900 + "\\n\x01",), "proved": False},
    {"attendee": "ines@example.org?cc=eve@example.net", "sender": "eve@example.net"},
    {"sender": "in\u212as@example.org"},
])  # fmt: skip
def test_what_fits_no_column_is_kept_for_a_person_and_frees_nothing(desk: Desk, how: dict[str, Any]) -> None:
    """PostgreSQL refuses what SQLite takes: numbers over 2**31 - 1, long codes, NUL."""
    how = {"partstat": "DECLINED"} | how
    assert desk.says(**how) in ({"reply": 1}, {"malformed": 1})
    assert desk.booking().state == "booked"
    desk.says("ACCEPTED")
    assert desk.booking().partstat == "accepted"


def test_after_the_address_was_corrected_the_old_ones_calendar_gives_nothing_up(desk: Desk) -> None:
    """The invite went to a stranger's address by mistake; it was corrected, and the stranger says no, proved."""
    with desk.house.read() as unit:
        person = tickets.tickets_of_visit(unit, desk.visit_id)[0].person_id
    reach.set_contact(desk.house.ctx, desk.house.actor("owner"), desk.visit_id, person, channel="email",
                      address="ines.farrow@example.net")  # fmt: skip
    desk.house.clock.advance(60)
    desk.says("DECLINED")
    assert desk.booking().state == "booked"
    assert [one.asked for one in desk.questions()] == ["no_unproved"]


def test_an_honest_letter_about_two_pickups_of_one_writer_decides_only_the_one_it_came_to(desk: Desk) -> None:
    """Two calendars in one letter: the second names another customer's pickup, whose UID was forwarded."""
    other, _ = desk.ready(name="Tam Okoro", email="tam@example.org", phone="")
    theirs = pickup.book(desk.house.ctx, desk.house.customer(), other, at(11))
    mine = desk.booking(desk.visit_id)
    for to in (mine, theirs):
        organizer = PATTERN.replace("{token}", to.organizer_token)
        parts = [
            shapes.calendar_object(uid=one.uid, organizer=PATTERN.replace("{token}", one.organizer_token),
                                   stamp=f"{desk.house.clock():%Y%m%dT%H%M%SZ}",
                                   attendee=shapes.attendee_line(INES, "DECLINED"))
            for one in (theirs, mine)
        ]  # fmt: skip
        raw = shapes.carrying(parts[0], sender=INES, to=organizer, results=PROVED, key=to.id)
        second = b"--b0\r\nContent-Type: text/calendar; method=REPLY\r\n\r\n" + parts[1] + b"\r\n--b0--\r\n"
        desk.put(raw.replace(b"--b0--\r\n", second))
        desk.take()
        assert desk.booking(other).state == "booked"
    assert desk.booking(desk.visit_id).state == "cancelled"
