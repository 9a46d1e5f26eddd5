"""A customer's calendar answers an invite by mail: what the letter does to the pickup, and what only staff may do.

From the letter's bytes in a real Maildir to the state, on both databases. RFC 5546 2.1.5 (order), 3.2.3 (REPLY), 3.2.6
(REFRESH), 3.2.7 and 3.2.8 (COUNTER, DECLINECOUNTER); RFC 6047 2.2.1 (only the respondent sets their status); RFC 8601
(Authentication-Results). What leaves is read by vobject, which shares no code with what wrote it.
"""

from __future__ import annotations

import base64
import re
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any

import pytest
import vobject

from notify.core.actors import Actor
from notify.core.calendar_choices import Choice
from notify.core.errors import Conflict, NotAllowed, NotFound
from notify.core.slots import Taken
from notify.flows import forget, handover, pickup, reach, set_up, view_calendar
from notify.flows.check_in_form import DeviceForm
from notify.flows.settle_answer import At, settle
from notify.inbox.maildir import MaildirMailbox
from notify.inbox.take import Post, take_letters
from notify.store import bookings, calendar_answers, events, visits
from notify.store import replies as reply_rows
from notify.store.bookings import Booking
from notify.store.calendar_answers import CalendarAnswer
from tests.flows.conftest import lines as lines
from tests.flows.conftest import words
from tests.parts import answers as shapes
from tests.parts.house import SHOP
from tests.parts.shelved import shelve, token_of

pytestmark = pytest.mark.long

PATTERN, SERVER, INES = "pickup-{token}@example.org", "mx.example.org", "ines@example.org"
PROVED = f"{SERVER}; dmarc=pass header.from=example.org"
REPLIES = Path(__file__).parents[1] / "vectors" / "replies"
THURSDAY = date(2026, 11, 26)
VECTOR_UID, VECTOR_TOKEN, VECTOR_ADDRESS = b"4b0c6f0e-2a0e-4d2b-9b1e-6f1f3d9a7c11", b"7f3k9q", b"pat@cust.example"


@dataclass
class Desk:
    """A house with one device ready and a pickup booked, its Maildir, and letters from calendars put into it."""

    lines: Any
    folder: Path
    visit_id: str = ""
    ticket_id: str = ""
    number: int = 0

    @property
    def house(self) -> Any:
        return self.lines.house

    @property
    def post(self) -> Post:
        return Post(self.house.ctx, self.house.services.shop_ids(), own=frozenset({"counter@example.org"}),
                    organizer=PATTERN, authserv_id=SERVER)  # fmt: skip

    def ready(self, *devices: DeviceForm, **whom: Any) -> tuple[str, str]:
        done = self.house.check_in(*devices, **whom)
        shelve(self.house, done.ticket_ids[0])
        return done.visit_id, done.ticket_ids[0]

    def booking(self, visit_id: str = "") -> Booking:
        """The visit's newest booking, whatever became of it."""
        with self.house.read() as unit:
            whole = bookings.bookings_since(unit, MOMENT)
            return max((b for b in whole if b.visit_id == (visit_id or self.visit_id)), key=lambda b: b.made_at)

    def put(self, raw: bytes) -> None:
        self.number += 1
        (self.folder / "new" / f"{self.number:06d}.test").write_bytes(raw)

    def take(self) -> dict[str, int]:
        return take_letters(self.post, MaildirMailbox(self.folder)).counts

    def says(
        self, partstat: str = "ACCEPTED", *, proved: bool = True, sender: str = INES, attendee: str = INES,
        sequence: int | None = None, booking: Booking | None = None, method: str = "REPLY", ago: int = 0,
        lines: tuple[str, ...] = (), text: bytes = b"An answer.", params: str = "", fields: bytes = b"", to: str = "",
    ) -> dict[str, int]:  # fmt: skip
        """One letter of a calendar about the pickup, taken."""
        booking = booking or self.booking()
        stamp = (self.house.clock() - timedelta(seconds=ago)).strftime("%Y%m%dT%H%M%SZ")
        organizer = PATTERN.replace("{token}", booking.organizer_token)
        calendar = shapes.calendar_object(
            *lines, method=method, uid=booking.uid, organizer=organizer, stamp=stamp,
            sequence=(booking.revision if sequence is None else sequence) if method != "REFRESH" else None,
            attendee=shapes.attendee_line(attendee, partstat, params),
        )  # fmt: skip
        raw = shapes.carrying(calendar, method=method, sender=sender, to=to or organizer,
                              results=PROVED if proved else "", key=f"k{self.number}")  # fmt: skip
        self.put(fields + raw.replace(b"An answer.", text))
        return self.take()

    def asks_for(self, start: datetime, **more: Any) -> dict[str, int]:
        """A proposal of another time."""
        return self.says("TENTATIVE", method="COUNTER", lines=(
            f"DTSTART:{start:%Y%m%dT%H%M%SZ}", f"DTEND:{start + timedelta(minutes=15):%Y%m%dT%H%M%SZ}",
            "SUMMARY:Pickup",
        ), **more)  # fmt: skip

    def answers(self, booking: Booking | None = None) -> list[CalendarAnswer]:
        with self.house.read() as unit:
            return list(calendar_answers.answers_of(unit, (booking or self.booking()).id))

    def decisions(self) -> list[tuple[str, str]]:
        return [(one.decision, one.state) for one in self.answers()]

    def questions(self) -> tuple[view_calendar.Question, ...]:
        return view_calendar.view(self.house.ctx, self.house.actor())

    def settle(self, choice: Choice, *, at: At | None = None, role: str = "counter", which: int = 0) -> None:
        settle(self.house.ctx, self.house.actor(role), self.questions()[which].id, choice, at=at)

    def replies(self) -> list[reply_rows.Reply]:
        with self.house.read() as unit:
            return list(reply_rows.list_replies(unit, limit=50))

    def told(self, *notices: str) -> list[tuple[str, str]]:
        """(notice, state) of the visit's messages of these kinds, in order."""
        return [(m.notice, str(m.state)) for m in self.lines.rows(self.visit_id) if m.notice in notices]

    def kinds(self) -> list[str]:
        with self.house.read() as unit:
            return [event.kind for event in events.story_of(unit, visit_id=self.visit_id)]

    def calendars(self, to: str = INES) -> list[Any]:
        """Every calendar object that went to an address, as vobject reads it."""
        found = []
        for outgoing in self.lines.mail.sent:
            mail = message_from_bytes(outgoing.payload, policy=policy.default)
            inside = [p for p in mail.walk() if p.get_content_type() == "text/calendar" and not p.get_filename()]
            found += [vobject.readOne(p.get_content()) for p in inside if outgoing.to == to]
        return found


MOMENT = datetime(2026, 11, 20, tzinfo=UTC)


def at(hour: int, minute: int = 0, day: date = THURSDAY) -> datetime:
    """A shop-local wall time; in November the shop's clock is UTC."""
    return datetime.combine(day, time(hour, minute))


def utc(hour: int, minute: int = 0, day: date = THURSDAY) -> datetime:
    return at(hour, minute, day).replace(tzinfo=UTC)


@pytest.fixture
def desk(lines: Any, tmp_path: Path) -> Iterator[Desk]:
    for name in ("new", "cur", "tmp"):
        (tmp_path / "box" / name).mkdir(parents=True)
    made = Desk(lines, tmp_path / "box")
    made.visit_id, made.ticket_id = made.ready(DeviceForm("Kestrel pocket radio"))
    pickup.book(made.house.ctx, made.house.customer(), made.visit_id, at(10))
    made.house.deliver(after=91)
    made.house.clock.advance(60)
    yield made


def seats(desk: Desk, hour: int = 10) -> int:
    """Places left at that hour, as another customer is offered them."""
    visit_id, _ = desk.ready(DeviceForm("Vantage camera"), name="Tam Okoro", email="tam@example.org", phone="")
    offers = pickup.offers(desk.house.ctx, desk.house.actor(), visit_id)
    return next((one.free for one in offers if one.slot.local == at(hour)), 0)


# What is only noted ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("partstat", "stored"), [("ACCEPTED", "accepted"), ("TENTATIVE", "tentative")])
@pytest.mark.parametrize("proved", [True, False])
def test_a_yes_is_noted_and_bothers_nobody(desk: Desk, partstat: str, stored: str, proved: bool) -> None:
    before = len(desk.lines.rows(desk.visit_id))
    desk.says(partstat, proved=proved)
    booking = desk.booking()
    assert (booking.state, booking.partstat, booking.reply_sequence) == ("booked", stored, 0)
    assert booking.reply_stamp == desk.house.clock().replace(microsecond=0)
    assert desk.decisions() == [("apply" if proved else "apply_unverified", "noted")]
    assert desk.questions() == () and [one.state for one in desk.replies()] == ["seen"]
    assert len(desk.lines.rows(desk.visit_id)) == before  # no mail to anybody, not even to the shop
    with desk.house.read() as unit:
        assert calendar_answers.proved_among(unit, [booking.id]) == {booking.id: proved}


def test_a_change_of_mind_counts_and_what_came_late_does_not(desk: Desk) -> None:
    """RFC 5546 2.1.5 rule 4 and 3.2.3: of the same SEQUENCE the newest DTSTAMP."""
    desk.says("TENTATIVE", ago=60)
    desk.says("ACCEPTED", ago=30)
    desk.says("DECLINED", ago=45)
    assert desk.booking().partstat == "accepted" and desk.booking().state == "booked"
    assert [one for one, _ in desk.decisions()] == ["apply", "apply", "ignore_stale"]


def test_the_letters_of_four_calendars_reach_the_pickup_they_speak_of(desk: Desk) -> None:
    """tests/vectors/replies, written in the shapes of public letters, with the names of a real booking put in."""
    seen: dict[str, str] = {}
    for name, proved in (
        ("gmail-like-accept", True), ("outlook-like-accept-no-organizer", True),
        ("apple-like-decline-nested-no-method", False), ("counter-proposal", True),
    ):  # fmt: skip
        desk.house.clock.advance(60)
        desk.put(_vector(desk, name, proved=proved))
        desk.take()
        seen[name] = desk.answers()[-1].decision
    assert seen == {
        "gmail-like-accept": "apply", "outlook-like-accept-no-organizer": "apply",
        "apple-like-decline-nested-no-method": "flag_unverified", "counter-proposal": "record_proposal",
    }  # fmt: skip
    assert desk.booking().partstat == "accepted" and desk.booking().state == "booked"
    print(f"FIGURE calendar_shapes letters={len(seen)} lost=0")


def _vector(desk: Desk, name: str, *, proved: bool) -> bytes:
    """The letter about our booking, answered now; base64 parts are opened, changed and closed again."""
    booking, now = desk.booking(), desk.house.clock().strftime("%Y%m%dT%H%M%SZ").encode()
    raw = (REPLIES / f"{name}.eml").read_bytes().replace(b"\r\n", b"\n")
    if b"quoted-printable" in raw:
        raw = raw.replace(b"=\n", b"")
    raw = re.sub(rb"(Content-Transfer-Encoding: base64\n(?:.+\n)*\n)([A-Za-z0-9+/=\n]+?)(?=\n--)", _opened, raw)
    raw = raw.replace(VECTOR_UID, booking.uid.encode()).replace(VECTOR_ADDRESS, INES.encode())
    raw = re.sub(
        rb"pickup-" + VECTOR_TOKEN + rb"@shop\.example",
        PATTERN.replace("{token}", booking.organizer_token).encode(),
        raw,
    )
    raw = re.sub(rb"DTSTAMP:[0-9TZ]+", b"DTSTAMP:" + now, raw)
    raw = re.sub(rb"SEQUENCE:[0-9]+", b"SEQUENCE:0", raw)
    return (f"Authentication-Results: {PROVED}\n".encode() if proved else b"") + raw


def _opened(found: re.Match[bytes]) -> bytes:
    text = base64.b64decode(found[2]).replace(b"\r\n", b"\n").replace(b"\n ", b"")
    return found[1].replace(b"base64", b"8bit") + text


# What a proved no does -------------------------------------------------------------------------------------------


def test_a_proved_no_frees_the_place_for_somebody_else_and_says_so(desk: Desk) -> None:
    set_up.change_settings(desk.house.ctx, desk.house.actor(), {"name": "Tramstop Bench"})
    desk.says("DECLINED")
    booking = desk.booking()
    assert (booking.state, booking.revision, booking.partstat) == ("cancelled", 1, "declined")
    assert seats(desk) == 2
    desk.house.deliver(after=91)
    assert desk.told("pickup_cancelled", "pickup_given_up_shop") == [
        ("pickup_cancelled", "sent"), ("pickup_given_up_shop", "sent")]  # fmt: skip
    (said,) = [words(out) for out in desk.lines.mail.sent if out.to == INES and "cancelled" in words(out)]
    assert "Your calendar said no, so the time is free again." in said and "/c/" in said
    request, cancel = desk.calendars()
    assert (request.method.value, cancel.method.value, cancel.vevent.sequence.value) == ("REQUEST", "CANCEL", "1")
    with desk.house.read() as unit:
        (event,) = [e for e in events.story_of(unit, visit_id=desk.visit_id) if e.kind == "pickup_cancelled"]
    assert (event.actor_kind, event.codes["how"]) == ("customer", "calendar")
    again = pickup.book(desk.house.ctx, desk.house.customer(), desk.visit_id, at(11))  # and they may choose anew
    assert again.uid != booking.uid and again.organizer_token != booking.organizer_token


def test_two_customers_of_a_full_slot_trade_its_place_through_a_calendar(desk: Desk) -> None:
    other, _ = desk.ready(name="Tam Okoro", email="tam@example.org", phone="")
    third, _ = desk.ready(name="Ula Berg", email="ula@example.net", phone="")
    pickup.book(desk.house.ctx, desk.house.customer(), other, at(10))
    with pytest.raises(Taken):
        pickup.book(desk.house.ctx, desk.house.customer(), third, at(10))
    desk.says("DECLINED")
    assert pickup.book(desk.house.ctx, desk.house.customer(), third, at(10)).state == "booked"


@pytest.mark.parametrize(
    ("why", "how"),
    [
        ("nothing proves the sender", {"proved": False}),
        ("another address wrote it", {"sender": "spoof@example.net"}),
        ("the proof is a stranger's", {"fields": b"Authentication-Results: mx.example.net; dmarc=pass "
                                                 b"header.from=example.org\r\n", "proved": False}),
    ],
)  # fmt: skip
def test_any_less_than_a_proved_no_keeps_the_place_until_somebody_decides(
    desk: Desk, why: str, how: dict[str, Any]
) -> None:
    """RFC 6047 2.2.1: a decline sent by somebody else must be ignored."""
    desk.says("DECLINED", **how)
    assert desk.booking().state == "booked" and desk.booking().partstat == "", why
    (asked,) = desk.questions()
    assert (asked.asked, asked.can) == ("no_unproved", (Choice.FREE, Choice.KEEP))
    desk.house.deliver()
    assert desk.told("reply_shop") == [("reply_shop", "sent")]
    (bell,) = [words(out) for out in desk.lines.mail.sent if out.to == "bench@example.org" and "said no" in words(out)]
    assert "The place is kept; ask them." in bell
    desk.settle(Choice.FREE)
    assert desk.booking().state == "cancelled" and desk.questions() == ()
    desk.house.deliver(after=91)
    assert desk.told("pickup_cancelled") == [("pickup_cancelled", "sent")]


def test_a_place_that_is_kept_tells_nobody_and_the_same_tap_again_changes_nothing(desk: Desk) -> None:
    desk.says("DECLINED", proved=False)
    before, answer = len(desk.lines.rows(desk.visit_id)), desk.questions()[0].id
    for _ in range(2):
        settle(desk.house.ctx, desk.house.actor("counter"), answer, Choice.KEEP)
    assert desk.booking().state == "booked" and len(desk.lines.rows(desk.visit_id)) == before
    assert desk.kinds().count("calendar_settled") == 1
    with pytest.raises(Conflict, match="Somebody has decided"):
        settle(desk.house.ctx, desk.house.actor("counter"), answer, Choice.FREE)
    with pytest.raises(NotAllowed):
        settle(
            desk.house.ctx,
            Actor(desk.house.shop_id, "source", "s"),
            answer,
            Choice.KEEP,
        )
    with pytest.raises(NotFound):
        settle(desk.house.ctx, desk.house.actor("counter"), "nothing", Choice.KEEP)


# Another time ----------------------------------------------------------------------------------------------------


def test_a_proposal_is_taken_with_one_tap_and_arrives_as_the_next_revision(desk: Desk) -> None:
    """RFC 5546 3.2.7: accepting a COUNTER is a REQUEST with SEQUENCE raised by one."""
    desk.asks_for(utc(16, 5))
    assert desk.booking().revision == 0 and desk.booking().start_at == utc(10)  # a letter alone moves nothing
    (asked,) = desk.questions()
    assert (asked.asked, asked.can, asked.wants_at) == ("proposal", (Choice.TAKE, Choice.NO), utc(16, 5))
    assert asked.fits is not None and asked.fits.slot.start == utc(16)
    desk.settle(Choice.TAKE)
    desk.house.deliver(after=91)
    assert (desk.booking().start_at, desk.booking().revision) == (utc(16), 1)
    assert desk.told("pickup_moved") == [("pickup_moved", "sent")]
    request, update = desk.calendars()
    assert (update.method.value, update.vevent.sequence.value) == ("REQUEST", "1")
    assert update.vevent.uid.value == request.vevent.uid.value and update.vevent.dtstart.value == utc(16)


def test_a_proposal_that_does_not_suit_is_declined_to_whoever_asked_and_the_pickup_stays(desk: Desk) -> None:
    """RFC 5546 3.2.8: DECLINECOUNTER to the counter-proposer; 2.1.4: SEQUENCE must not rise."""
    with desk.house.read() as unit:
        people = visits.visit_people(unit, desk.visit_id)["tell"]
    desk.asks_for(utc(16))
    desk.settle(Choice.NO)
    desk.house.deliver(after=91)
    assert desk.told("proposal_declined") == [("proposal_declined", "sent")] and len(people) == 1
    assert (desk.booking().start_at, desk.booking().revision) == (utc(10), 0)
    *_, refused = desk.calendars()
    assert (refused.method.value, refused.vevent.sequence.value) == ("DECLINECOUNTER", "0")
    (said,) = [words(out) for out in desk.lines.mail.sent if "does not work for us" in words(out)]
    assert "your pickup time stays on Thursday" in said
    desk.asks_for(utc(15))  # another proposal of the same revision is refused as well, in a message of its own
    desk.settle(Choice.NO)
    desk.house.deliver(after=91)
    assert desk.told("proposal_declined") == [("proposal_declined", "sent")] * 2


def test_a_full_or_impossible_time_is_answered_with_the_nearest_free_ones(desk: Desk) -> None:
    for name in ("Tam Okoro", "Ula Berg"):
        other, _ = desk.ready(name=name, email=f"{name[:3].lower()}@example.net", phone="")
        pickup.book(desk.house.ctx, desk.house.customer(), other, at(16))
    desk.asks_for(utc(16))
    (asked,) = desk.questions()
    starts = [one.slot.start for one in asked.near]
    assert asked.fits is None and len(starts) == 3
    assert utc(16) not in starts and max(abs(one - utc(16)) for one in starts) <= timedelta(minutes=45)
    with pytest.raises(Taken, match="no free pickup time"):
        desk.settle(Choice.TAKE)
    assert desk.booking().start_at == utc(10) and len(desk.questions()) == 1  # nothing was half done
    desk.settle(Choice.TAKE, at=At(asked.near[0].slot.local))
    assert desk.booking().start_at == starts[0]


def test_a_time_in_the_night_or_without_a_known_zone_offers_times_that_can_be_had(desk: Desk) -> None:
    desk.asks_for(utc(3))
    (asked,) = desk.questions()
    assert (
        asked.fits is None and len(asked.near) == 3 and all(one.slot.start >= desk.house.clock() for one in asked.near)
    )
    desk.says("TENTATIVE", method="COUNTER", lines=("DTSTART:20261126T160000", "SUMMARY:Pickup"))
    (again,) = desk.questions()
    assert (again.wants_at, again.fits, len(again.near)) == (None, None, 3)


@pytest.mark.parametrize("minute", [0, 5])
def test_a_time_within_the_pickup_as_it_is_needs_no_change(desk: Desk, minute: int) -> None:
    desk.asks_for(utc(10, minute))
    (asked,) = desk.questions()
    assert asked.is_own and asked.can == (Choice.SEEN,)
    desk.settle(Choice.SEEN)
    assert desk.booking().start_at == utc(10)


def test_a_comment_typed_into_a_calendar_is_quoted_with_its_question_and_kept_for_a_reader_beside_a_yes(
    desk: Desk,
) -> None:
    desk.says("TENTATIVE", method="COUNTER", lines=(
        "DTSTART:20261126T160000Z", "SUMMARY:Pickup", "COMMENT:After work would suit me better"))  # fmt: skip
    assert "After work would suit me better" in desk.questions()[0].words
    assert [one.state for one in desk.replies()] == ["seen"]
    desk.house.clock.advance(60)
    desk.says("ACCEPTED", lines=("COMMENT:My sister may come",))
    assert [(one.state, "sister" in one.text) for one in desk.replies()] == [("new", True), ("seen", False)]


# Asked for again -------------------------------------------------------------------------------------------------


def test_a_calendar_that_asks_again_gets_the_invite_at_the_stored_address_three_times_a_day(desk: Desk) -> None:
    """RFC 5546 3.2.6, 6.1.6 and 6.2.2: to the stored address whoever asks, and no flood."""
    for n in range(5):
        desk.house.clock.advance(60)
        desk.says("", method="REFRESH", sender="spoof@example.net" if n == 1 else INES)
        desk.house.deliver(after=91)
    sent = desk.calendars()
    assert [one.method.value for one in sent] == ["REQUEST"] * 4 and desk.calendars("spoof@example.net") == []
    assert {one.vevent.sequence.value for one in sent} == {"0"} and len({one.vevent.uid.value for one in sent}) == 1
    stamps = [one.vevent.dtstamp.value for one in sent]
    assert stamps == sorted(set(stamps))  # each object is newer than the one before: RFC 5545 3.8.7.2
    assert [one.settled_how for one in desk.answers()] == ["sent"] * 3 + ["enough"] * 2
    desk.house.clock.advance(86_400 - 400)
    assert desk.told("pickup_confirmed") == [("pickup_confirmed", "sent")] * 4
    print("FIGURE refresh asked=5 sent=3 to_strangers=0")


def test_whoever_is_written_to_by_text_message_only_gets_no_invite_again(desk: Desk) -> None:
    with desk.house.read() as unit:
        person = visits.visit_people(unit, desk.visit_id)["tell"][0]
    reach.set_use(desk.house.ctx, desk.house.actor(), desk.visit_id, person, channel="email", purposes=("pickup",),
                  allowed=False, how="counter")  # fmt: skip
    desk.says("", method="REFRESH")
    desk.house.deliver(after=91)
    assert [one.settled_how for one in desk.answers()] == ["no_mail"]
    assert desk.told("pickup_confirmed") == [("pickup_confirmed", "sent")]


# Somebody else, and what is out of order -------------------------------------------------------------------------


def test_a_delegate_of_the_calendar_may_not_collect(desk: Desk) -> None:
    """Vector I-10: collector_authorised is false."""
    desk.says("DELEGATED", params=';DELEGATED-TO="mailto:jo@example.net"')
    (asked,) = desk.questions()
    assert (asked.asked, asked.can, desk.booking().partstat) == ("delegated", (Choice.SEEN,), "")
    with desk.house.read() as unit:
        assert "collector" not in visits.visit_people(unit, desk.visit_id)
    desk.settle(Choice.SEEN)
    assert desk.questions() == ()


def test_somebody_who_was_not_invited_changes_nothing_and_learns_nothing(desk: Desk) -> None:
    """Vector I-08; RFC 5546 3.2.3. No mail goes to whoever wrote it, and the customer's own answer stays."""
    desk.says("ACCEPTED", ago=30)
    for _ in range(3):
        desk.says("DECLINED", attendee="jo@example.net", sender="jo@example.net")
    assert desk.booking().state == "booked" and desk.booking().partstat == "accepted"
    assert [one.asked for one in desk.questions()] == ["somebody_else"]  # the same question stands there once
    desk.house.deliver(after=91)
    assert {out.to for out in desk.lines.mail.sent} <= {INES, "bench@example.org"}
    assert desk.told("reply_shop") == [("reply_shop", "sent")]  # and rings once


def test_an_answer_to_the_time_before_a_move_is_asked_about(desk: Desk) -> None:
    """RFC 5546 2.1.4, 2.1.5 rule 3: it must not count for the new revision."""
    pickup.book(desk.house.ctx, desk.house.customer(), desk.visit_id, at(17, 30))
    desk.house.clock.advance(60)
    desk.says("DECLINED", sequence=0)
    assert desk.booking().state == "booked" and [one.asked for one in desk.questions()] == ["no_stale"]


def test_a_yes_after_the_time_was_given_up_revives_nothing_and_is_shown(desk: Desk) -> None:
    """Vector I-13."""
    pickup.cancel(desk.house.ctx, desk.house.customer(), desk.visit_id)
    desk.house.clock.advance(60)
    desk.says("ACCEPTED", sequence=0)
    assert desk.booking().state == "cancelled"
    (asked,) = desk.questions()
    assert (asked.asked, asked.is_live, asked.can) == ("yes_stale", False, (Choice.SEEN,))


def test_a_pickup_that_changes_ends_what_was_asked_about_it(desk: Desk) -> None:
    desk.says("DECLINED", proved=False)
    answer = desk.questions()[0].id
    pickup.book(desk.house.ctx, desk.house.customer(), desk.visit_id, at(17, 30))
    assert desk.questions() == () and desk.answers()[0].settled_how == "moved_on"
    with pytest.raises(Conflict, match="changed after"):
        settle(desk.house.ctx, desk.house.actor(), answer, Choice.FREE)
    assert desk.booking().start_at == utc(17, 30)


def test_a_yes_belongs_to_the_time_it_was_said_about(desk: Desk) -> None:
    desk.says("ACCEPTED")
    pickup.book(desk.house.ctx, desk.house.customer(), desk.visit_id, at(17, 30))
    assert desk.booking().partstat == ""


def test_a_newer_answer_ends_the_older_question_and_a_weaker_or_older_one_does_not(desk: Desk) -> None:
    desk.asks_for(utc(16), ago=30)
    desk.says("ACCEPTED", proved=False, ago=20)
    assert [one.asked for one in desk.questions()] == ["proposal"]  # what is not proved ends nothing that is
    desk.says("DECLINED", proved=False, ago=15)
    desk.says("ACCEPTED", ago=40)  # an older one that came late
    assert [one.asked for one in desk.questions()] == ["proposal", "no_unproved"]
    desk.says("ACCEPTED")
    assert desk.questions() == ()
    assert {one.settled_how for one in desk.answers() if one.state == "settled"} == {"superseded"}


def test_a_yes_that_was_said_before_a_proposal_and_came_after_it_leaves_the_proposal_open(desk: Desk) -> None:
    """RFC 5546 2.1.5: by DTSTAMP, not by when the letters came."""
    desk.asks_for(utc(16), ago=30)
    desk.says("ACCEPTED", ago=40)
    assert desk.booking().partstat == "accepted" and [one.asked for one in desk.questions()] == ["proposal"]


def test_what_no_calendar_may_send_changes_nothing_and_is_read_by_somebody(desk: Desk) -> None:
    """RFC 5546 1.4: CANCEL is the organizer's. Vector I-14."""
    desk.says("DECLINED", method="CANCEL")
    assert desk.booking().state == "booked" and desk.decisions() == [("reject_not_permitted", "noted")]
    assert [one.state for one in desk.replies()] == ["new"]


@pytest.mark.parametrize("sender", [INES, "nobody@example.net"])
def test_an_unknown_pickup_is_no_crash_and_gets_no_answer(desk: Desk, sender: str) -> None:
    """Vector I-07: mail_sent is 0."""
    before = len(desk.lines.mail.sent)
    calendar = shapes.calendar_object(
        organizer="pickup-2345abcdefgh@example.org", attendee=shapes.attendee_line(sender)
    )
    desk.put(shapes.carrying(calendar, sender=sender, to="pickup-2345abcdefgh@example.org", results=PROVED))
    assert desk.take() == {"reply": 1}
    desk.house.deliver(after=91)
    assert desk.answers() == [] and desk.booking().state == "booked"
    assert {out.to for out in desk.lines.mail.sent[before:]} <= {"bench@example.org"}
    assert [(one.kind, one.state) for one in desk.replies()] == [("calendar", "new")]


# Letters ---------------------------------------------------------------------------------------------------------


def test_the_same_answer_twice_and_from_two_mailboxes_frees_the_place_once(desk: Desk, tmp_path: Path) -> None:
    """TESTPLAN D15: acts once per letter."""
    desk.says("DECLINED")
    (letter,) = (desk.folder / "cur").iterdir()
    other = Desk(desk.lines, tmp_path / "other", desk.visit_id)
    for name in ("new", "cur", "tmp"):
        (other.folder / name).mkdir(parents=True)
    other.put(
        b"Received: from a.example.net by b.example.org; Wed, 25 Nov 2026 09:30:00 +0000\r\n" + letter.read_bytes()
    )
    desk.put(letter.read_bytes())
    other.take()
    desk.take()
    desk.house.deliver(after=91)
    assert desk.told("pickup_cancelled") == [("pickup_cancelled", "sent")]
    assert desk.kinds().count("pickup_cancelled") == 1 and len(desk.answers()) == 1
    print("FIGURE calendar_letters copies=3 acted=1")


def test_an_answer_that_a_program_marked_as_automatic_counts_like_any_other(desk: Desk) -> None:
    """RFC 3834 5: the field says that no automatic answer may go back; what is believed is the ladder's to say."""
    desk.says("DECLINED", fields=b"Auto-Submitted: auto-generated\r\n")
    assert desk.booking().state == "cancelled"


def test_the_words_of_a_calendar_are_no_wish_but_a_stop_typed_by_a_person_is(desk: Desk) -> None:
    desk.says("ACCEPTED", text=b"Ines Farrow has accepted this invitation. Cancel your participation in the calendar.")
    assert [(one.kind, one.state) for one in desk.replies()] == [("calendar", "seen")]
    desk.house.clock.advance(60)
    desk.says("ACCEPTED", text=b"STOP")
    assert desk.replies()[0].kind == "stop" and "consent_withdrawn" in desk.kinds()
    desk.house.clock.advance(60)
    desk.says("ACCEPTED", text=b"START")  # a start is a whole message that says nothing else
    assert "consent_given" not in desk.kinds() and desk.replies()[0].state == "new"
    desk.house.clock.advance(60)
    desk.says("ACCEPTED", text=b"HELP")
    assert "help_heard" not in desk.kinds() and desk.replies()[0].state == "new"  # nothing is answered by itself
    assert desk.booking().partstat == "accepted"


def test_a_question_typed_beside_a_yes_is_read_by_somebody(desk: Desk) -> None:
    desk.says("ACCEPTED", text=b"Can my sister collect it instead?")
    assert [(one.kind, one.state) for one in desk.replies()] == [("calendar", "new")]
    assert desk.booking().partstat == "accepted"


def test_a_letter_from_another_account_of_theirs_stands_beside_the_right_visit(desk: Desk) -> None:
    """Vector S-05: a calendar may answer from an account that was not invited; it is not lost and not believed."""
    desk.says("ACCEPTED", sender="ines.private@example.net")
    assert [one.asked for one in desk.questions()] == ["yes_unproved"] and desk.booking().partstat == ""
    assert [one.visit_id for one in desk.replies()] == [desk.visit_id]


def test_only_the_shop_whose_booking_is_named_hears_of_it(desk: Desk) -> None:
    other = set_up.make_shop(
        desk.house.ctx, settings=SHOP | {"name": "Ferry Slip Repairs", "email": "slip@example.net"}
    )
    desk.says("DECLINED", sender="nobody@example.net")
    with desk.house.ctx.db.read(other) as unit:
        assert reply_rows.list_replies(unit, limit=9) == () and calendar_answers.open_answers(unit) == ()
    assert len(desk.questions()) == 1
    desk.house.clock.advance(60)
    desk.says("DECLINED", to="counter@example.org")  # without the token the UID says whose it is
    assert desk.booking().state == "cancelled"


def test_nobody_is_given_a_device_because_of_a_calendar(desk: Desk) -> None:
    """A reply alone does nothing that cannot be taken back: the phase, the contacts and the collectors stay."""
    with desk.house.read() as unit:
        before = visits.visit_people(unit, desk.visit_id), visits.company(unit, desk.visit_id).device_with_us
    for partstat, method in (("ACCEPTED", "REPLY"), ("DELEGATED", "REPLY"), ("DECLINED", "REPLY"), ("", "REFRESH")):
        desk.house.clock.advance(60)
        desk.says(partstat, method=method)
    with desk.house.read() as unit:
        assert (visits.visit_people(unit, desk.visit_id), visits.company(unit, desk.visit_id).device_with_us) == before


def test_what_was_asked_about_a_pickup_ends_with_the_handover(desk: Desk) -> None:
    desk.says("DECLINED", proved=False)
    handover.hand_back(desk.house.ctx, desk.house.actor(), ticket_ids=[desk.ticket_id],
                       token=token_of(desk.house, desk.ticket_id))  # fmt: skip
    assert desk.booking().state == "kept" and desk.questions() == ()


def test_what_does_not_fit_the_question_is_refused_and_changes_nothing(desk: Desk) -> None:
    desk.asks_for(utc(16))
    for choice in (Choice.FREE, Choice.KEEP):
        with pytest.raises(Conflict, match="cannot be settled"):
            desk.settle(choice)
    assert desk.booking().state == "booked" and [one.asked for one in desk.questions()] == ["proposal"]


def test_a_proved_yes_does_not_end_what_somebody_else_s_calendar_said(desk: Desk) -> None:
    desk.says("ACCEPTED", attendee="jo@example.net", sender="jo@example.net", ago=30)
    desk.says("ACCEPTED")
    assert [one.asked for one in desk.questions()] == ["somebody_else"] and desk.booking().partstat == "accepted"


def test_a_letter_that_says_no_twice_gives_the_place_up_once(desk: Desk) -> None:
    """The second answer is judged by what the first one made of the pickup."""
    booking, moment = desk.booking(), desk.house.clock()
    organizer = PATTERN.replace("{token}", booking.organizer_token)
    first, second = (
        shapes.calendar_object(uid=booking.uid, organizer=organizer,
                               stamp=f"{moment - timedelta(seconds=ago):%Y%m%dT%H%M%SZ}",
                               attendee=shapes.attendee_line(INES, "DECLINED"))
        for ago in (5, 2)
    )  # fmt: skip
    raw = shapes.carrying(first, sender=INES, to=organizer, results=PROVED)
    more = b"\r\n--b0\r\nContent-Type: text/calendar; charset=UTF-8; method=REPLY\r\n\r\n"
    desk.put(raw.replace(b"\r\n--b0--", more + second + b"\r\n--b0--"))
    desk.take()
    assert desk.booking().state == "cancelled" and desk.kinds().count("pickup_cancelled") == 1
    assert [one[0] for one in desk.decisions()] == ["apply", "flag_stale"]


def test_the_calendar_of_somebody_who_was_forgotten_is_a_stranger_and_asks_nothing(desk: Desk) -> None:
    house, booking = desk.house, desk.booking()
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[desk.ticket_id], token=token_of(house, desk.ticket_id))
    forget.erase_person(house.ctx, house.actor(), booking.person_id)
    before = desk.decisions()
    assert desk.says("DECLINED", booking=booking) == {"reply": 1}  # a letter like any other, and no crash
    assert desk.decisions() == before and desk.questions() == ()


@pytest.mark.long
def test_a_no_and_a_move_at_the_same_moment_end_in_one_of_two_legal_ways(desk: Desk) -> None:
    """Either the no came first: that place is free and the move is a new booking; or the move did: the no is asked
    about. Never a place that is lost, and never the moved pickup cancelled by a no to the time before."""
    ends: dict[str, int] = {}
    for n in range(12):
        booking = desk.booking()
        if booking.state != "booked":
            booking = pickup.book(desk.house.ctx, desk.house.customer(), desk.visit_id, at(10))
        desk.house.clock.advance(60)
        target = at(14, 0) if booking.start_at != utc(14) else at(15, 0)
        start = threading.Barrier(2)

        def move(target: datetime = target, start: threading.Barrier = start) -> None:
            start.wait()
            pickup.book(desk.house.ctx, desk.house.customer(), desk.visit_id, target)

        mover = threading.Thread(target=move)
        mover.start()
        start.wait()
        desk.says("DECLINED", booking=booking)
        mover.join()
        with desk.house.read() as unit:
            live = bookings.live_booking(unit, desk.visit_id)
            old = bookings.get_booking(unit, booking.id)
            said = calendar_answers.answers_of(unit, booking.id)[-1]
        assert live is not None and live.local_start == target.strftime("%Y-%m-%dT%H:%M"), n
        assert old is not None
        end = "asked" if said.decision == "flag_stale" else "freed"
        ends[end] = ends.get(end, 0) + 1
        assert (old.state, said.state) == (("booked", "open") if end == "asked" else ("cancelled", "noted"))
        if end == "asked":
            desk.settle(Choice.KEEP)
    print(f"FIGURE no_against_move rounds={sum(ends.values())} freed={ends.get('freed', 0)} "
          f"asked={ends.get('asked', 0)} lost=0")  # fmt: skip
