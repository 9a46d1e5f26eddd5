"""One night, one message: what happens while people sleep is told in the morning, once, as it stands by then."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.flows import forget, handover, moves, parts, pickup, promises, questions, reach, set_up
from notify.flows.check_in_form import DeviceForm
from notify.store import tickets
from tests.flows.conftest import Lines, words
from tests.parts.shelved import shelve, token_of

pytestmark = pytest.mark.long

EVENING = datetime(2026, 11, 25, 22, 0, tzinfo=UTC)  # London, winter: UTC; decent hours are 08:00 to 21:00
MORNING = datetime(2026, 11, 26, 8, 0, tzinfo=UTC)


@pytest.fixture
def night(lines: Lines) -> Lines:
    """The same house at ten in the evening."""
    lines.house.clock.set(EVENING)
    return lines


def checked_in(lines: Lines, *devices: DeviceForm, **whom: Any) -> Any:
    """Taken in at noon, and told so; then it is ten in the evening."""
    lines.house.clock.set(EVENING.replace(hour=12))
    done = lines.house.check_in(*devices, **whom)
    lines.house.deliver(after=91)
    assert lines.states(done.visit_id, "checked_in")[0][1] == "sent"
    lines.house.clock.set(EVENING)
    return done


def sleep(lines: Lines, *, until: datetime = MORNING) -> None:
    """The dispatcher looks every ten minutes all night, and a little longer."""
    while lines.house.clock() < until:
        lines.house.deliver(after=600)
    for _ in range(4):
        lines.house.deliver(after=61)


def told(lines: Lines) -> list[str]:
    """What customers read since ten in the evening."""
    return [words(m) for m in (*lines.mail.sent, *lines.text.sent) if m.to != "bench@example.org"]


def since(lines: Lines, before: int) -> list[str]:
    """The customers' messages after the first `before` of them."""
    return told(lines)[before:]


def test_taken_in_by_night_and_ready_by_morning_is_one_message_that_says_it_is_ready(night: Lines) -> None:
    done = night.house.check_in(DeviceForm("Kestrel radio", price_agreed="30"), phone="")
    part = parts.need(night.house.ctx, night.house.actor(), done.ticket_ids[0], name="cone")
    parts.arrive(night.house.ctx, night.house.actor(), part)
    shelve(night.house, done.ticket_ids[0])
    sleep(night)
    (said,) = told(night)
    for whole in ("Kestrel radio", "ready to collect", "£30.00", "Choose a pickup time", "claim ticket"):
        assert whole in said
    states = {m.notice: (str(m.state), m.reason) for m in night.rows(done.visit_id) if m.person_id}
    assert states["checked_in"] == ("dropped", "overtaken") and states["part_arrived"][0] == "dropped"


def test_a_part_that_came_by_night_makes_the_order_of_it_needless(lines: Lines) -> None:
    done = checked_in(lines, phone="")
    house, before = lines.house, len(told(lines))
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern Parts", cutoff=None, delivers_at=None, days=1)
    part = parts.need(house.ctx, house.actor(), done.ticket_ids[0], name="cone", supplier="Lantern Parts")
    house.clock.advance(3600)
    parts.arrive(house.ctx, house.actor(), part)
    sleep(lines)
    (said,) = since(lines, before)
    assert "has arrived" in said and "ordered" not in said
    assert lines.states(done.visit_id, "part_ordered") == [("email", "dropped", "part_moved_on")]


def test_two_orders_of_one_night_are_one_message_that_names_both_parts_and_the_later_day(lines: Lines) -> None:
    done = checked_in(lines, phone="")
    house, before = lines.house, len(told(lines))
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern Parts", cutoff=None, delivers_at=None, days=1)
    for name, day in (("cone", 30), ("dial cord", 28)):
        parts.need(house.ctx, house.actor(), done.ticket_ids[0], name=name, supplier="Lantern Parts",
                   due=datetime(2026, 11, day, 10, tzinfo=UTC))  # fmt: skip
        house.clock.advance(600)
    sleep(lines)
    (said,) = since(lines, before)
    assert "cone, dial cord" in said and "30 November" in said and "28 November" not in said
    assert [s for _, *s in lines.states(done.visit_id, "part_ordered")] == [
        ["dropped", "joined_to_newer"],
        ["sent", ""],
    ]


def test_a_part_that_came_and_another_one_needed_and_unpacked_that_night_are_one_message(lines: Lines) -> None:
    done = checked_in(lines, phone="")
    house, before = lines.house, len(told(lines))
    for name in ("cone", "dial cord"):
        parts.arrive(house.ctx, house.actor(), parts.need(house.ctx, house.actor(), done.ticket_ids[0], name=name))
        house.clock.advance(600)
    sleep(lines)
    (said,) = since(lines, before)
    assert "has arrived" in said
    assert [s for _, *s in lines.states(done.visit_id, "part_arrived")] == [
        ["dropped", "joined_to_newer"],
        ["sent", ""],
    ]


def test_a_new_time_and_the_part_behind_it_are_one_message_about_the_newest_time(lines: Lines) -> None:
    done = checked_in(lines, DeviceForm("radio", promise="2026-11-26T11:30"), phone="")
    house, before, ticket = lines.house, len(told(lines)), done.ticket_ids[0]
    part = parts.need(house.ctx, house.actor(), ticket, name="cone")
    promises.promise(house.ctx, house.actor(), ticket, datetime(2026, 11, 27, 12, tzinfo=UTC), why="part_late")
    house.clock.advance(3600)
    parts.arrive(house.ctx, house.actor(), part)  # after the new time was noted, before it was told
    promises.promise(house.ctx, house.actor(), ticket, datetime(2026, 11, 26, 16, tzinfo=UTC), why="earlier")
    sleep(lines)
    (said,) = since(lines, before)
    assert "26 November, by 16:00" in said and "27 November" not in said and "11:30" in said
    assert lines.states(done.visit_id, "part_arrived") == [("email", "dropped", "overtaken")]


def test_with_two_devices_the_first_message_is_not_lost_to_news_of_one_of_them(night: Lines) -> None:
    done = night.house.check_in(DeviceForm("Kestrel radio"), DeviceForm("Vantage camera"), phone="")
    shelve(night.house, done.ticket_ids[0])
    sleep(night)
    first, second = told(night)
    assert "Vantage camera" in first and "Vantage" not in second and "ready to collect" in second


def test_a_message_made_needless_is_told_after_all_when_the_newer_one_is_withdrawn(night: Lines) -> None:
    house, done = night.house, night.house.check_in(phone="")
    for phase in ("in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    sleep(night, until=EVENING + timedelta(hours=3))
    assert night.states(done.visit_id, "checked_in") == [("email", "waiting", "waits_for_newer")]
    moves.undo(house.ctx, house.actor("owner"), done.ticket_ids[0], reason="hums again")
    sleep(night)
    (said,) = told(night)
    assert "we have your Kestrel pocket radio" in said
    assert night.states(done.visit_id, "ready") == [("email", "dropped", "undone")]


def test_ready_and_called_back_in_one_night_is_silence(lines: Lines) -> None:
    done = checked_in(lines)
    before = len(told(lines))
    shelve(lines.house, done.ticket_ids[0])
    lines.house.clock.advance(3600)
    moves.move(lines.house.ctx, lines.house.actor(), done.ticket_ids[0], "in_line", reason="fault_seen_again")
    sleep(lines)
    assert since(lines, before) == []
    assert lines.states(done.visit_id, "ready") == [("sms", "dropped", "no_longer_on_shelf")]
    assert lines.states(done.visit_id, "called_back") == [("sms", "dropped", "never_heard")]


def test_called_back_is_told_to_whoever_heard_ready_or_booked_a_pickup(lines: Lines) -> None:
    done, booked = checked_in(lines), checked_in(lines, DeviceForm("Otter camera"), email="o@example.org")
    house = lines.house
    house.clock.set(EVENING.replace(hour=19))
    shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    house.clock.set(EVENING)
    shelve(house, booked.ticket_ids[0])
    slot = pickup.offers(house.ctx, house.customer(), booked.visit_id)[5].slot
    pickup.book(house.ctx, house.customer(), booked.visit_id, slot.local)
    house.deliver(after=61)
    for one in (done, booked):
        moves.move(house.ctx, house.actor(), one.ticket_ids[0], "in_line", reason="fault_seen_again")
    sleep(lines)
    assert [lines.states(one.visit_id, "called_back") for one in (done, booked)] == [[("sms", "sent", "")]] * 2


def test_ready_is_not_told_again_because_another_device_was_on_the_shelf_for_an_hour(lines: Lines) -> None:
    done = checked_in(lines, DeviceForm("Kestrel radio"), DeviceForm("Vantage camera"))
    house = lines.house
    house.clock.set(EVENING.replace(hour=18))
    shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    house.clock.set(EVENING)
    before = len(told(lines))
    shelve(house, done.ticket_ids[1])
    house.clock.advance(3600)
    moves.move(house.ctx, house.actor(), done.ticket_ids[1], "in_line", reason="fault_seen_again")
    sleep(lines)
    assert [s for _, *s in lines.states(done.visit_id, "ready")] == [["sent", ""], ["dropped", "told_already"]]
    assert all("do not come yet" in said for said in since(lines, before))


def test_a_pickup_booked_at_half_past_eleven_is_confirmed_at_once_and_ready_becomes_needless(lines: Lines) -> None:
    done = checked_in(lines, phone="")
    house = lines.house
    shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    house.clock.set(EVENING + timedelta(minutes=90))
    before = len(told(lines))
    slot = pickup.offers(house.ctx, house.customer(), done.visit_id)[5].slot
    pickup.book(house.ctx, house.customer(), done.visit_id, slot.local)
    house.deliver(after=2)
    (said,) = since(lines, before)
    assert "your pickup time is" in said
    sleep(lines)
    assert len(since(lines, before)) == 1
    assert lines.states(done.visit_id, "ready") == [("email", "dropped", "overtaken")]


def test_a_pickup_cancelled_by_the_bench_and_taken_anew_by_night_is_not_cancelled_in_the_morning(lines: Lines) -> None:
    done = checked_in(lines, email="")
    house, ctx = lines.house, lines.house.ctx
    house.clock.set(EVENING.replace(hour=18))
    shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    pickup.book(ctx, house.customer(), done.visit_id, pickup.offers(ctx, house.customer(), done.visit_id)[5].slot.local)
    house.deliver(after=1)
    house.clock.set(EVENING)
    pickup.cancel(ctx, house.actor(), done.visit_id, why="closed")
    house.clock.advance(3600)
    before = len(told(lines))
    pickup.book(ctx, house.customer(), done.visit_id, pickup.offers(ctx, house.customer(), done.visit_id)[9].slot.local)
    sleep(lines)
    (said,) = since(lines, before)
    assert "see you on" in said
    assert lines.states(done.visit_id, "pickup_cancelled") == [("sms", "dropped", "overtaken")]


def test_a_pickup_that_staff_book_by_night_waits_for_the_morning_and_says_that_it_comes_back_unrepaired(
    lines: Lines,
) -> None:
    done = checked_in(lines, phone="")
    house, before = lines.house, len(told(lines))
    moves.move(house.ctx, house.actor(), done.ticket_ids[0], "on_shelf", reason="not_repairable")
    slot = pickup.offers(house.ctx, house.actor(), done.visit_id)[5].slot
    pickup.book(house.ctx, house.actor(), done.visit_id, slot.local)
    house.deliver(after=120)
    assert since(lines, before) == []
    sleep(lines)
    (said,) = since(lines, before)
    assert "your pickup time is" in said and "unrepaired" in said


def test_each_truth_is_looked_at_again_in_the_morning(night: Lines) -> None:
    """Handed back, answered, stopped, forgotten, of no use: each between the evening and the morning."""
    house, ctx, owner = night.house, night.house.ctx, night.house.actor()
    visits = {name: checked_in(night, email=f"{name}@example.org", phone="") for name in
              ("back", "answered", "stopped", "gone", "late", "moved")}  # fmt: skip
    before = len(told(night))

    def ticket(name: str) -> str:
        return str(visits[name].ticket_ids[0])

    def person(name: str) -> str:
        with house.read() as unit:
            return tickets.get_ticket(unit, ticket(name)).person_id

    for name in ("back", "stopped", "gone"):
        shelve(house, ticket(name))
    asked = {name: questions.ask(ctx, owner, ticket(name), kind="price", wording="Go on?", price="45",
                                 until=house.clock() + timedelta(hours=3 if name == "late" else 30))
             for name in ("answered", "late", "moved")}  # fmt: skip
    house.deliver(after=91)
    handover.hand_back(ctx, owner, ticket_ids=[ticket("back")], token=token_of(house, ticket("back")))
    questions.answer(ctx, owner, asked["answered"], answer="accept", said_by="Ines, by phone")
    reach.set_use(ctx, house.customer(), visits["stopped"].visit_id, person("stopped"), channel="email",
                  purposes=("repair", "pickup"), allowed=False, how="claim_page")  # fmt: skip
    reach.set_contact(ctx, owner, visits["moved"].visit_id, person("moved"), channel="email", address="new@example.net")
    forget.erase_person(ctx, owner, person("gone"))
    sleep(night)
    got = {name: [(m.notice, str(m.state), m.reason) for m in night.rows(visits[name].visit_id)
                  if m.notice in ("ready", "question")] for name in visits}  # fmt: skip
    assert got["back"] == [("ready", "dropped", "no_longer_on_shelf")]
    assert got["answered"] == [("question", "dropped", "question_closed")]
    assert got["stopped"] == [("ready", "to_call", "")]  # a person may still be phoned
    assert got["gone"] == [("ready", "dropped", "forgotten")]
    assert got["late"][0][1:] in {("to_call", ""), ("dropped", "question_closed"), ("dropped", "expired")}
    asked_whom = [m.to for m in night.mail.sent if "Go on?" in words(m) and m.to != "bench@example.org"]
    assert asked_whom == ["new@example.net"]
    # The question, that the first device was handed back, and to the address before that another one was noted.
    assert len(since(night, before)) == 3


def test_an_address_corrected_between_two_tries_gets_a_text_and_a_message_id_of_its_own(lines: Lines) -> None:
    """RFC 5322 3.6.4: another text is another message; the first one may have arrived where it should not be read."""
    house, done = lines.house, lines.house.check_in(phone="")
    lines.mail_line.answer = Receipt(Verdict.UNKNOWN, "dot-lost", "The line broke.")
    house.deliver(after=91)
    lines.mail_line.answer = None
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
    reach.set_contact(house.ctx, house.actor(), done.visit_id, person, channel="email", address="new@example.net")
    house.deliver(after=3600)
    first, *warned, second = (m for m in lines.mail.offered if m.to != "bench@example.org")
    assert all(m.to == first.to and "another address or number was noted" in words(m) for m in warned)
    assert [first.to, second.to] == ["ines@example.org", "new@example.net"]
    assert first.message_id != second.message_id and b"ines@example.org" not in second.payload


def test_an_unknown_end_is_tried_with_the_same_bytes_and_counted(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in(phone="")
    answers = iter([Receipt(Verdict.UNKNOWN, "dot-lost", "The line broke."), Receipt(Verdict.ACCEPTED, "250")])

    def answer(outgoing: Outgoing) -> Receipt:
        return next(answers)

    lines.mail_line.answer = answer
    house.deliver(after=91)
    house.deliver(after=3600)
    first, second = lines.mail.offered
    assert first == second
    (row,) = lines.rows(done.visit_id, "checked_in")
    assert (row.ambiguous, row.attempts, str(row.state)) == (1, 2, "sent")


def test_a_shops_own_hours_by_weekday_hold_over_those_of_the_installation(lines: Lines) -> None:
    house = lines.house
    set_up.change_settings(house.ctx, house.actor(), {"telling_hours": "mon-sat 10:00-18:00; sun 12:00-14:00"})
    house.clock.set(datetime(2026, 11, 28, 18, 30, tzinfo=UTC))  # a Saturday evening
    done = house.check_in(phone="")
    house.deliver(after=91)
    (row,) = lines.rows(done.visit_id, "checked_in")
    assert (row.reason, row.due_at) == ("quiet_hours", datetime(2026, 11, 29, 12, tzinfo=UTC))
    sleep(lines, until=datetime(2026, 11, 29, 12, tzinfo=UTC))
    assert lines.states(done.visit_id, "checked_in") == [("email", "sent", "")]


def test_a_number_of_another_continent_makes_its_owner_wait_for_an_hour_that_suits_both(lines: Lines) -> None:
    """08:00 in New York is 13:00 in London, in winter; the mail address alone would be written to at once."""
    house = lines.house
    abroad = house.check_in(phone="+1 212 555 0123", email="a@example.org")
    house.deliver(after=91)
    (row,) = lines.rows(abroad.visit_id, "checked_in")
    assert (row.reason, row.due_at) == ("quiet_elsewhere", datetime(2026, 11, 25, 13, tzinfo=UTC))
    sleep(lines, until=datetime(2026, 11, 25, 13, tzinfo=UTC))
    (row,) = lines.rows(abroad.visit_id, "checked_in")
    assert (str(row.state), row.waited) == ("sent", "quiet_elsewhere")


def test_a_text_gateway_that_is_down_gives_way_to_the_next_way_within_the_hour(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in()
    shelve(house, done.ticket_ids[0])
    lines.text_line.answer = Receipt(Verdict.TRY_LATER, "connect-refused", "Nobody answers.")
    began = house.clock()
    while not any("ready to collect" in said for said in told(lines)) and house.clock() < began + timedelta(hours=3):
        house.deliver(after=60)
    assert house.clock() - began <= timedelta(hours=1, minutes=4)
    assert [(c, s) for c, s, _ in lines.states(done.visit_id, "ready")] == [("sms", "given_up"), ("email", "sent")]
