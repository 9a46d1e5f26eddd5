"""A message sent once more: only what is still true, as a row of its own, and the story says who wanted it."""

from __future__ import annotations

from typing import Any

import pytest

from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound
from notify.flows import calls, handover, moves, pickup, reach, view_calls
from notify.flows.resend import REASONS, resend
from notify.store import events, tickets
from tests.flows.conftest import DOWN, Lines, words
from tests.parts.shelved import token_of

pytestmark = pytest.mark.long


def again(lines: Lines, message: Any, reason: str = "not_seen") -> Any:
    house = lines.house
    return resend(house.ctx, house.actor(), message.id, reason=reason, look=house.services.dispatcher.look)


def ready(lines: Lines, **whom: Any) -> Any:
    """A visit whose device is on the shelf, told."""
    done = lines.house.check_in(**whom)
    lines.house.deliver(after=91)
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(lines.house.ctx, lines.house.actor(), done.ticket_ids[0], phase)
    lines.house.deliver(after=91)
    return done


def the(lines: Lines, done: Any, notice: str) -> Any:
    return lines.rows(done.visit_id, notice)[-1]


def test_it_leaves_as_a_row_of_its_own_with_another_message_id_and_the_first_stays_as_it_was(lines: Lines) -> None:
    done = ready(lines)
    first = the(lines, done, "ready")
    made = again(lines, first)
    assert made.channel == first.channel == "sms" and made.until is None
    lines.house.deliver()
    old, new = lines.rows(done.visit_id, "ready")
    assert old == first and (new.id, new.resend, str(new.state)) == (made.message_id, 1, "sent")
    assert old.message_id != new.message_id and words(lines.text.sent[-1]) == words(lines.text.sent[-2])
    with lines.house.read() as unit:
        told = events.story_of(unit, visit_id=done.visit_id)[-1]
    assert told.kind == "message_resent" and told.actor_id == "staff-owner"
    assert dict(told.codes) == {"message": new.id, "before": old.id, "notice": "ready", "reason": "not_seen"}
    third = again(lines, old, reason="lost")  # from the first once more: the numbers go on
    lines.house.deliver()
    assert [m.resend for m in lines.rows(done.visit_id, "ready")] == [0, 1, 2] and third.message_id


def test_what_is_no_longer_true_is_refused_with_its_reason_and_nothing_is_written(lines: Lines) -> None:
    house, done = lines.house, ready(lines)
    first = the(lines, done, "ready")
    token = token_of(house, done.ticket_ids[0])
    handover.hand_back(house.ctx, house.actor(), ticket_ids=list(done.ticket_ids), token=token)
    before = lines.rows(done.visit_id)
    with pytest.raises(Conflict, match="no_longer_on_shelf"):
        again(lines, first)
    assert lines.rows(done.visit_id) == before


def test_a_pickup_whose_time_is_over_is_not_confirmed_again_but_one_to_come_is(lines: Lines) -> None:
    house, done = lines.house, ready(lines)
    pickup.book(
        house.ctx, house.customer(), done.visit_id, pickup.offers(house.ctx, house.actor(), done.visit_id)[0].slot.local
    )
    house.deliver()
    confirmed = the(lines, done, "pickup_confirmed")
    again(lines, confirmed)
    house.deliver()
    assert [str(m.state) for m in lines.rows(done.visit_id, "pickup_confirmed")] == ["sent", "sent"]
    house.clock.advance(3 * 86400)
    with pytest.raises(Conflict, match="expired"):
        again(lines, confirmed)


def test_it_goes_to_the_corrected_address_and_never_where_the_customer_said_stop(lines: Lines) -> None:
    house, done = lines.house, ready(lines, phone="")
    first = the(lines, done, "ready")
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
    reach.set_contact(house.ctx, house.actor(), done.visit_id, person, channel="email", address="new@example.net")
    again(lines, first, reason="address_corrected")
    house.deliver()
    assert lines.mail.sent[-1].to == "new@example.net"
    reach.set_use(house.ctx, house.customer(), done.visit_id, person, channel="email", purposes=("repair",),
                  allowed=False, how="claim_page")  # fmt: skip
    assert again(lines, first).channel == "call"  # nothing may be written: somebody has to phone
    with pytest.raises(Conflict, match=r"no_contact|not_allowed"):
        again(lines, the(lines, done, "checked_in"))


def test_whoever_had_to_be_called_and_can_be_written_to_by_now_is_written_to(lines: Lines) -> None:
    house, done = lines.house, ready(lines, phone="", email="", name="Noor Vale")
    first = the(lines, done, "ready")
    assert str(first.state) == "to_call"
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
    reach.set_contact(house.ctx, house.actor(), done.visit_id, person, channel="email", address="noor@example.net")
    (call,) = view_calls.view(house.ctx, house.actor()).calls
    assert call.why == view_calls.REACHABLE  # never "we know no address", which is true no more
    with pytest.raises(Conflict, match="no longer needed"):
        again(lines, first)
    calls.log_call(house.ctx, house.actor(), first.id, result="not_needed")
    assert again(lines, first, reason="address_corrected").channel == "email"
    house.deliver()
    assert lines.mail.sent[-1].to == "noor@example.net" and not view_calls.view(house.ctx, house.actor()).calls


def test_what_waits_or_is_being_resent_or_is_a_call_is_not_sent_beside_itself(lines: Lines) -> None:
    house = lines.house
    lines.mail_line.answer = DOWN
    done = house.check_in(phone="")
    with pytest.raises(Conflict, match="has not left yet"):
        again(lines, the(lines, done, "checked_in"))
    lines.mail_line.answer = None
    house.deliver(after=91)
    first = the(lines, done, "checked_in")
    again(lines, first)
    with pytest.raises(Conflict, match="being sent again already"):
        again(lines, first)
    called = ready(lines, phone="", email="", name="Noor Vale")
    with pytest.raises(Conflict, match="has not left yet"):
        again(lines, the(lines, called, "ready"))


def test_what_was_never_planned_for_want_of_an_address_can_be_sent_once_there_is_one(lines: Lines) -> None:
    house = lines.house
    done = house.check_in(phone="", email="")
    skipped = the(lines, done, "checked_in")
    assert (str(skipped.state), skipped.reason) == ("skipped", "no_contact")
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
    reach.set_contact(house.ctx, house.actor(), done.visit_id, person, channel="email", address="new@example.net")
    again(lines, skipped, reason="asked")
    house.deliver()
    assert lines.mail.sent[-1].to == "new@example.net"


def test_a_reason_and_the_right_role_are_needed(lines: Lines) -> None:
    done = ready(lines)
    first, house = the(lines, done, "ready"), lines.house
    for reason in ("", "because"):
        with pytest.raises(Invalid) as wrong:
            again(lines, first, reason=reason)
        assert wrong.value.field == "reason" and all(code in wrong.value.advice for code in REASONS)
    with pytest.raises(NotAllowed):
        resend(house.ctx, house.customer(), first.id, reason="lost", look=house.services.dispatcher.look)
    with pytest.raises(NotFound):
        resend(house.ctx, house.actor(), "x", reason="lost", look=house.services.dispatcher.look)


def test_at_night_it_waits_for_the_morning_and_says_so(lines: Lines) -> None:
    done = ready(lines)
    lines.house.clock.advance(14 * 3600)
    made = again(lines, the(lines, done, "ready"))
    assert made.until is not None and made.until > lines.house.clock()
    sent = len(lines.text.sent)
    lines.house.deliver()
    assert len(lines.text.sent) == sent
    lines.house.deliver(after=(made.until - lines.house.clock()).total_seconds() + 1)
    assert len(lines.text.sent) == sent + 1
