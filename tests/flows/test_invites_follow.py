"""Invites follow the booking: in an order that calendars understand, to whoever had one before, and to nobody else."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date, time, timedelta
from email import policy
from email.generator import BytesGenerator
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from notify.channels.base import Receipt, Verdict
from notify.channels.memory import MemoryChannel
from notify.core.errors import NotifyError
from notify.core.planner import Planned
from notify.flows import feeds, handover, moves, pickup, reach, reminders, resend, set_up
from notify.flows.check_in_form import DeviceForm
from notify.store import bookings, messages, outbox, people, tickets
from notify.store.schema import metadata
from tests.flows.test_pickup import at, ready_visit
from tests.parts.calendar_mail import mails, objects, order_errors, parts
from tests.parts.clock import FakeClock
from tests.parts.house import make_house
from tests.parts.shelved import shelve, token_of

pytestmark = pytest.mark.long

NEW = "ines.farrow@example.net"


def book(house: Any, visit_id: str, *when: Any) -> Any:
    """A booking of the customer, or a move there; what is due leaves."""
    made = pickup.book(house.ctx, house.customer(), visit_id, at(*when))
    house.deliver(after=91)
    return made


def cancel(house: Any, visit_id: str) -> None:
    """The customer gives the time up; what is due leaves."""
    pickup.cancel(house.ctx, house.customer(), visit_id)
    house.deliver(after=91)


def person_of(house: Any, ticket_id: str) -> str:
    with house.read() as unit:
        return str(tickets.get_ticket(unit, ticket_id).person_id)


def kinds(house: Any, person: str = "") -> list[tuple[str, str, int]]:
    return [(one.to, one.method, one.sequence) for one in objects(house, person)]


def last_text(house: Any, person: str) -> str:
    """The words of the newest mail to somebody."""
    mail = mails(house, person)[-1][1]
    return str(next(part for part in mail.walk() if part.get_content_type() == "text/plain").get_content())


def test_after_a_corrected_address_the_new_one_gets_the_move_and_the_old_one_nothing(house: Any) -> None:
    visit_id, ticket_id = ready_visit(house)
    book(house, visit_id, 10)
    reach.set_contact(house.ctx, house.actor(), visit_id, person_of(house, ticket_id), channel="email", address=NEW)
    book(house, visit_id, 11)
    assert kinds(house) == [("ines@example.org", "REQUEST", 0), (NEW, "REQUEST", 1)]
    cancel(house, visit_id)
    assert kinds(house, NEW) == [(NEW, "REQUEST", 1), (NEW, "CANCEL", 2)]
    assert "delete the entry" not in last_text(house, NEW)


def test_a_cancellation_goes_to_no_address_that_never_had_the_invite_but_its_words_help(house: Any) -> None:
    visit_id, ticket_id = ready_visit(house)
    book(house, visit_id, 10)
    reach.set_contact(house.ctx, house.actor(), visit_id, person_of(house, ticket_id), channel="email", address=NEW)
    cancel(house, visit_id)
    assert kinds(house) == [("ines@example.org", "REQUEST", 0)]
    assert "Please delete the entry in your calendar" in last_text(house, NEW)


def test_when_mail_was_stopped_the_next_way_says_that_the_entry_stays(house: Any) -> None:
    visit_id, ticket_id = ready_visit(house)
    book(house, visit_id, 10)
    reach.set_use(house.ctx, house.actor(), visit_id, person_of(house, ticket_id), channel="email",
                  purposes=("repair", "pickup"), allowed=False, how="counter")  # fmt: skip
    book(house, visit_id, 11)
    cancel(house, visit_id)
    moved, gone = (one.payload.decode() for one in house.sent("sms")[-2:])
    assert "correct the entry in your calendar" in moved and "delete the entry in your calendar" in gone
    assert kinds(house) == [("ines@example.org", "REQUEST", 0)]


def test_whoever_was_told_by_text_message_only_reads_nothing_of_a_calendar(house: Any) -> None:
    visit_id, _ = ready_visit(house, email="")
    book(house, visit_id, 10)
    book(house, visit_id, 11)
    cancel(house, visit_id)
    texts = [one.payload.decode() for one in house.sent("sms")]
    assert len(texts) >= 3 and not any("calendar" in text for text in texts) and objects(house) == []


def test_a_move_before_the_first_invite_left_is_one_object_with_the_newest_sequence(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    for hour in (10, 11, 12):
        pickup.book(house.ctx, house.customer(), visit_id, at(hour))
    house.deliver(after=91)
    assert kinds(house) == [("ines@example.org", "REQUEST", 2)]
    assert objects(house)[0].start.hour == 12  # type: ignore[union-attr]


def test_a_clock_set_back_makes_no_update_look_old(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    book(house, visit_id, 10)
    first = objects(house)[0]
    house.clock.advance(-3 * 3600)
    book(house, visit_id, 11)
    cancel(house, visit_id)
    assert [one.stamp - first.stamp for one in objects(house)] == [timedelta(seconds=n) for n in range(3)]
    assert order_errors(objects(house)) == []


def test_the_stamp_that_is_kept_never_goes_back(house: Any) -> None:
    """RFC 5546 2.1.5: objects may be composed beside each other, and the older one may be kept last."""
    visit_id, _ = ready_visit(house)
    booking = pickup.book(house.ctx, house.customer(), visit_id, at(10))
    later = house.clock()
    with house.ctx.db.write(house.shop_id) as unit:
        for stamp in (later, later - timedelta(seconds=5)):
            bookings.keep_stamps(unit, {booking.id: stamp})
    with house.read() as unit:
        kept = bookings.get_booking(unit, booking.id)
    assert kept is not None and kept.invite_stamp == later


def test_a_call_taken_back_leaves_the_entry_and_the_next_object_is_newer(house: Any) -> None:
    visit_id, ticket_id = ready_visit(house)
    book(house, visit_id, 10)
    moves.move(house.ctx, house.actor(), ticket_id, "in_line", reason="fault_seen_again")
    moves.undo(house.ctx, house.actor(), ticket_id)
    house.deliver(after=91)
    book(house, visit_id, 11)
    assert kinds(house) == [("ines@example.org", "REQUEST", 0), ("ines@example.org", "REQUEST", 1)]
    with house.read() as unit:
        live = bookings.live_booking(unit, visit_id)
    assert live is not None and (live.revision, live.changes) == (1, 3)
    assert order_errors(objects(house)) == []


def test_the_no_to_a_proposal_is_a_declinecounter_for_the_entry_as_it_stands(house: Any) -> None:
    """RFC 5546 3.2.8: to whoever proposed, with the SEQUENCE of the event, which stays (2.1.4)."""
    visit_id, ticket_id = ready_visit(house)
    book(house, visit_id, 10)
    made = book(house, visit_id, 11)
    with house.ctx.db.write(house.shop_id) as unit:
        person = tickets.get_ticket(unit, ticket_id).person_id
        mine = next(one for one in people.contacts_of(unit, person) if one.channel == "email")
        no = Planned("proposal_declined", person, "email", mine.id, f"visit:{visit_id}", "no", house.clock(),
                     made.end_at)  # fmt: skip
        outbox.add(unit, (no,), visit_id=visit_id, sealed_for=person,
                   refs={"booking": made.id, "revision": made.revision}, now=house.clock())  # fmt: skip
    house.deliver(after=91)
    assert kinds(house)[-1] == ("ines@example.org", "DECLINECOUNTER", 1)
    assert order_errors(objects(house)) == [] and objects(house)[-1].start is None
    cancel(house, visit_id)
    assert kinds(house)[-1] == ("ines@example.org", "CANCEL", 2) and order_errors(objects(house)) == []


def test_a_retry_sends_the_same_octets_and_a_message_sent_again_is_a_newer_one(
    tmp_path: Path, clock: FakeClock, database_urls: Any, tzdata_only: None
) -> None:
    """RFC 5322 3.6.4 and RFC 1047: a retry is the same message, DTSTAMP and all."""
    answers = iter([Receipt(Verdict.UNKNOWN, "dropped"), Receipt(Verdict.TRY_LATER, "421")])
    ok = Receipt(Verdict.ACCEPTED, "kept")
    mail = MemoryChannel(lambda outgoing: next(answers, ok) if b"BEGIN:VCAL" in outgoing.payload or b"text/calendar"
                         in outgoing.payload else ok)  # fmt: skip
    ways = {"email": mail, "sms": MemoryChannel()}
    house: Any = make_house(tmp_path, database_urls("sqlite"), clock=clock, channels=ways)
    house = replace(house, channels=ways)
    try:
        visit_id, _ = ready_visit(house)
        pickup.book(house.ctx, house.customer(), visit_id, at(10))
        for _ in range(8):
            house.deliver(after=1800)
        tried = [one.payload for one in mail.offered if b"text/calendar" in one.payload]
        assert len(tried) == 3 and len(set(tried)) == 1
        with house.read() as unit:
            sent = next(m for m in messages.messages_of_visit(unit, visit_id) if m.notice == "pickup_confirmed")
        resend.resend(house.ctx, house.actor(), sent.id, reason="lost", look=house.services.dispatcher.look)
        house.deliver(after=91)
        first, again = objects(house)
        assert (again.sequence, again.uid) == (first.sequence, first.uid) and again.stamp > first.stamp
    finally:
        house.services.close()


def test_the_mail_has_the_shape_that_calendar_programs_act_on(house: Any) -> None:
    """facts of CalConnect's iMIP advice: alternative with text, page and calendar, and the same object as a file."""
    visit_id, _ = ready_visit(house)
    book(house, visit_id, 10)
    cancel(house, visit_id)
    shaped = [mail for _, mail in mails(house, "ines@example.org") if parts(mail)]
    assert len(shaped) == 2
    for mail, method in zip(shaped, ("REQUEST", "CANCEL"), strict=True):
        assert mail.get_content_type() == "multipart/mixed"
        alternative, file = mail.get_payload()
        shown = [part.get_content_type() for part in alternative.get_payload()]
        assert shown == ["text/plain", "text/html", "text/calendar"]
        wire = alternative.get_payload()[-1]
        assert (wire.get_param("method"), wire.get_param("charset").upper()) == (method, "UTF-8")
        assert wire["Content-Transfer-Encoding"] == "base64" and wire.get_content_disposition() is None
        octets = wire.get_payload(decode=True)
        assert octets == file.get_payload(decode=True) and octets.count(b"\n") == octets.count(b"\r\n")
        assert f"METHOD:{method}\r\n".encode() in octets
        assert (file.get_content_type(), file.get_filename()) == ("application/ics", "pickup.ics")
        # Answers go to ORGANIZER, or by hand to Reply-To: the same unguessable address, which has no plus sign.
        organizer = octets.decode().replace("\r\n ", "").split("ORGANIZER;")[1].split("mailto:")[1].split("\r\n")[0]
        assert mail["Reply-To"] == organizer and "+" not in organizer and len(organizer.partition("@")[0]) > 30


def told_elsewhere(house: Any, visit: Any) -> set[str]:
    """Everything that a calendar elsewhere must not learn: secrets, numbers, faults, devices, prices, people."""
    found = {"hums badly", "Kestrel", "45.00", "45,00", "sticky dial", "07700", "+447700900123", "Ada owner"}
    with house.read() as unit:
        for ticket in tickets.tickets_of_visit(unit, visit.visit_id):
            found |= {
                ticket.token,
                ticket.number,
                f"{ticket.number[:3]}-{ticket.number[3:]}",
                ticket.id,
                ticket.person_id,
            }
        booking = bookings.live_booking(unit, visit.visit_id)
        assert booking is not None
        hashes = [row for table in metadata.sorted_tables if "token_hash" in table.c
                  for row in unit.connection.execute(select(table.c.token_hash)).scalars()]  # fmt: skip
    return found | {booking.id, visit.visit_id, *(one for one in hashes if one)}


def test_no_invite_holds_a_secret_a_number_a_fault_or_a_price(house: Any) -> None:
    made = feeds.make_feed(house.ctx, house.actor(), "Phone")
    done = house.check_in(DeviceForm("Kestrel radio", fault="hums badly", price_agreed="45"))
    shelve(house, done.ticket_ids[0])
    book(house, done.visit_id, 10)
    secret = told_elsewhere(house, done) | {made.path, made.path[7:-4]}
    book(house, done.visit_id, 11)
    cancel(house, done.visit_id)
    found = objects(house)
    leaks = [(one.method, word) for one in found for word in secret if word and word in _unfolded(one.octets)]
    print(f"FIGURE invite_secrets invites={len(found)} secrets={len(secret)} found={len(leaks)}")
    assert [one.method for one in found] == ["REQUEST", "REQUEST", "CANCEL"] and len(secret) > 12 and not leaks
    # The search finds what is there: the mail around the invite carries the link.
    assert any(word in _plain(mail) for _, mail in mails(house, "ines@example.org") for word in secret)


def _unfolded(octets: bytes) -> str:
    return octets.decode().replace("\r\n ", "")


def _plain(mail: Any) -> str:
    whole = BytesIO()
    BytesGenerator(whole, policy=policy.default).flatten(mail)
    return whole.getvalue().decode("ascii", "replace").replace("=\r\n", "").replace("=\n", "")


CHAPTER = 20  # moves of one visit, whose messages all are looked at again and again
ACTS = (*["book"] * 7, "cancel", "call back", "undo", "hand back", "undo handover", "clock back", "resend",
        "correct", "hours", "let pass", "deliver", "deliver")  # fmt: skip


def act(house: Any, dice: random.Random, kind: str, visit_id: str, ticket_id: str) -> bool:
    """One thing that happens to a booking; True when it was a move of a booking that stands."""
    ctx, owner, day = house.ctx, house.actor(), house.clock().date() + timedelta(days=1 + dice.randrange(5))
    if kind == "book":
        with house.read() as unit:
            before = bookings.live_booking(unit, visit_id)
        made = pickup.book(ctx, house.customer(), visit_id, at(9 + dice.randrange(8), 15 * dice.randrange(4), day))
        if dice.random() < 0.6:
            house.deliver(after=dice.choice((1, 91)))
        return before is not None and made.revision > before.revision
    if kind == "cancel":
        pickup.cancel(ctx, house.customer(), visit_id)
    elif kind == "call back":
        moves.move(ctx, owner, ticket_id, "in_line", reason="fault_seen_again")
    elif kind == "undo":
        moves.undo(ctx, owner, ticket_id, reason="by mistake")
    elif kind == "hand back":
        handover.hand_back(ctx, owner, ticket_ids=[ticket_id], token=token_of(house, ticket_id), checked="saw the pass")
    elif kind == "undo handover":
        handover.undo_handover(ctx, owner, ticket_id, reason="wrong_device")
    elif kind == "clock back":
        house.clock.advance(-dice.choice((1, 60, 4000)))
    elif kind == "resend":
        with house.read() as unit:
            told = [m for m in messages.messages_of_visit(unit, visit_id) if m.notice in ("pickup_confirmed",
                    "pickup_moved") and m.state == "sent"]  # fmt: skip
        resend.resend(ctx, owner, told[-1].id, reason="lost", look=house.services.dispatcher.look) if told else None
    elif kind == "correct":
        reach.set_contact(ctx, owner, visit_id, person_of(house, ticket_id), channel="email",
                          address=f"ines{dice.randrange(3)}@example.org")  # fmt: skip
    elif kind == "hours":
        set_up.add_hours(ctx, owner, weekday=day.weekday(), opens=time(9), closes=time(18),
                         capacity=dice.choice((1, 3)), valid_from=day)  # fmt: skip
    elif kind == "let pass":
        house.clock.advance(dice.choice((3600, 30 * 3600)))
        reminders.note_missed(ctx, house.system())
    else:
        house.deliver(after=dice.choice((1, 30, 91, 600)))
    return False


def follow(house: Any, wanted: int, *, seed: int) -> tuple[int, list[Any]]:
    """Long random stories of one visit after the other until `wanted` moves: (moves, what arrived, in order)."""
    dice, moved = random.Random(seed), 0
    while moved < wanted:
        moved += chapter(house, dice, ready_visit(house))
    return moved, objects(house)


def chapter(house: Any, dice: random.Random, visit: tuple[str, str]) -> int:
    """The story of one visit: how often its booking moved."""
    moved = 0
    for _ in range(CHAPTER * 8):
        try:
            moved += act(house, dice, dice.choice(ACTS), *visit)
        except NotifyError:
            if dice.random() < 0.2:
                shelve_again(house, visit[1])
        if moved >= CHAPTER:
            break
    house.deliver(after=91)
    return moved


def shelve_again(house: Any, ticket_id: str) -> None:
    """Back onto the shelf from wherever the story left the device."""
    with house.read() as unit:
        phase = tickets.get_ticket(unit, ticket_id).phase
    if phase.value == "handed_back":
        handover.undo_handover(house.ctx, house.actor(), ticket_id, reason="wrong_device")
    else:
        shelve(house, ticket_id)


def judge(house: Any, moved: int, arrived: list[Any]) -> None:
    methods = {method: sum(1 for one in arrived if one.method == method) for method in ("REQUEST", "CANCEL")}
    errors = order_errors(arrived)
    print(f"FIGURE C5 database={house.ctx.db.engine.dialect.name} moves={moved} objects={len(arrived)} "
          f"requests={methods['REQUEST']} cancels={methods['CANCEL']} uids={len({one.uid for one in arrived})} "
          f"sequence_errors={len(errors)}")  # fmt: skip
    assert not errors, errors[:3]
    assert methods["REQUEST"] > moved / 3 and methods["CANCEL"] > moved / 40


@pytest.mark.long
def test_whatever_happens_no_object_is_older_than_one_before_it(house: Any) -> None:
    moved, arrived = follow(house, 200, seed=5)
    assert moved >= 200
    judge(house, moved, arrived)


@pytest.mark.deep
def test_two_thousand_moves_make_no_object_older_than_one_before_it(house: Any) -> None:
    moved, arrived = follow(house, 2000, seed=11)
    assert moved >= 2000
    judge(house, moved, arrived)


def test_the_search_for_wrong_orders_finds_each_kind(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    book(house, visit_id, 10)
    book(house, visit_id, 11)
    cancel(house, visit_id)
    one, two, gone = objects(house)
    assert order_errors([one, two, gone]) == []
    assert len(order_errors([two, one])) == 2  # SEQUENCE and DTSTAMP
    assert order_errors([one, replace(two, sequence=0)]) == [
        "another time, the same SEQUENCE: REQUEST 0 then REQUEST 0"
    ]
    assert order_errors([two, replace(gone, sequence=1)]) == ["a CANCEL with the SEQUENCE of the REQUEST: REQUEST 1 "
                                                              "then CANCEL 1"]  # fmt: skip
    assert order_errors([gone, replace(two, sequence=3, stamp=gone.stamp + timedelta(1))])
    assert date(2026, 11, 26) == one.start.date()  # type: ignore[union-attr]
