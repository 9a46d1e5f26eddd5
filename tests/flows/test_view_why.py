"""Why was she told, or not: the story of every message, read against what was done to it here."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.core.messages import Delivery
from notify.dispatch.receipts import take_receipt
from notify.flows import handover, moves, parts, pickup, view_late, view_why
from notify.paths import templates_folder
from notify.render.why_says import say_steps
from notify.render.words import Words
from tests.flows.conftest import DOWN, REFUSED, Lines
from tests.parts.shelved import shelve, token_of

pytestmark = pytest.mark.long

WORDS = Words(templates_folder() / "words", prefix="desk.").get("en")


def stories(lines: Lines, ticket_id: str) -> dict[tuple[str, str], list[str]]:
    """(notice, channel) -> its sentences, times as 22:00 by London's winter clock."""
    seen = view_why.view(lines.house.ctx, lines.house.actor("counter"), ticket_id)
    return {
        (one.line.notice, one.line.channel): list(say_steps(one.steps, words=WORDS, at=lambda at: f"at {at:%d. %H:%M}"))
        for one in seen.told
    }


def test_a_message_tells_why_it_was_planned_until_when_it_waited_how_it_was_tried_and_what_came_of_it(
    lines: Lines,
) -> None:
    house = lines.house
    house.clock.set(datetime(2026, 11, 25, 21, 57, tzinfo=UTC))
    done = house.check_in(email="", phone_purposes=("repair", "pickup"))
    shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    story = stories(lines, done.ticket_ids[0])
    planned = "It was planned at 25. 22:00: repaired and put on the shelf."
    assert story["ready", "sms"] == [planned, "It leaves at 26. 08:00: not before a decent hour."]
    answers = iter([Receipt(Verdict.TRY_LATER, "rcpt-451", "Try again."), Receipt(Verdict.ACCEPTED, "250", "Kept.")])

    def answer(outgoing: Outgoing) -> Receipt:
        return next(answers)

    lines.text_line.answer = answer
    house.clock.set(datetime(2026, 11, 26, 8, 0, tzinfo=UTC))
    house.deliver()
    house.deliver(after=120)
    (row,) = lines.rows(done.visit_id, "ready")
    take_receipt(
        house.ctx.db, house.shop_id, message_id=row.id, delivery=Delivery.DELIVERED, code="ok", text="",
        suppress=False, contact_id=row.contact_id, now=house.clock(), channels_on=house.ctx.channels_on,
    )  # fmt: skip
    assert stories(lines, done.ticket_ids[0])["ready", "sms"] == [
        planned, "It was to leave at 26. 08:00: not before a decent hour.",
        "It was offered at 26. 08:00 by text message and not taken yet; it is tried again. The other side said: "
        "Try again.",
        "It left at 26. 08:02 by text message. The other side said: Kept.", "It was delivered at 26. 08:02.",
    ]  # fmt: skip
    aside = stories(lines, done.ticket_ids[0])["checked_in", "sms"]
    assert aside[-1] == "It is looked at again at 26. 08:03: a newer one is to say it as well."
    house.deliver(after=61)
    over = stories(lines, done.ticket_ids[0])["checked_in", "sms"]
    assert over[-1].startswith("It was taken off at 26. 08:0") and "a newer one says how things stand" in over[-1]


def test_what_was_not_sent_tells_why_and_what_was_refused_tells_the_next_way_too(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in(waits_here=True)
    ticket = done.ticket_ids[0]
    lines.mail_line.answer = lines.text_line.answer = lambda m: (
        Receipt(Verdict.ACCEPTED, "kept") if m.to == "bench@example.org" else REFUSED
    )
    shelve(house, ticket)
    house.deliver(after=91)
    house.deliver(after=91)
    story = stories(lines, ticket)
    assert story["checked_in", ""][-1] == "It was not sent from the beginning: the customer waited here."
    for channel in ("sms", "email"):
        told = story["ready", channel]
        assert "refused" in told[1] and told[-1].endswith("the other side refused it.")
    assert "Somebody has to phone" in story["ready", "call"][-1]
    assert story["call_needed", "email"][-1].startswith("It left")


def test_an_unknown_end_is_told_as_perhaps_twice(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in(phone="")
    lines.mail_line.answer = Receipt(Verdict.UNKNOWN, "dot-lost", "The line broke.")
    house.deliver(after=91)
    assert stories(lines, done.ticket_ids[0])["checked_in", "email"][-1] == "Nobody can know whether it arrived."
    lines.mail_line.answer = None
    house.deliver(after=3600)
    assert "it may have arrived twice" in stories(lines, done.ticket_ids[0])["checked_in", "email"][-1]


def test_every_message_of_a_busy_ticket_has_a_story_without_a_code_word_or_a_name_of_another(lines: Lines) -> None:
    house, done, other = lines.house, lines.house.check_in(), lines.house.check_in(name="Noor Vale")
    ticket, ctx, owner = done.ticket_ids[0], lines.house.ctx, lines.house.actor()
    lines.mail_line.answer = DOWN
    part = parts.need(ctx, owner, ticket, name="cone")
    parts.arrive(ctx, owner, part)
    house.deliver(after=91)
    shelve(house, ticket)
    house.deliver(after=91)
    slot = pickup.offers(ctx, house.customer(), done.visit_id)[5].slot
    pickup.book(ctx, house.customer(), done.visit_id, slot.local)
    pickup.cancel(ctx, house.customer(), done.visit_id)
    moves.undo(ctx, owner, ticket, reason="slipped")
    shelve(house, ticket)
    handover.hand_back(ctx, owner, ticket_ids=[ticket], token=token_of(house, ticket))
    house.deliver(after=3600)
    story = stories(lines, ticket)
    assert len(story) >= 6 and all(len(steps) >= 2 for steps in story.values())
    whole = " ".join(said for steps in story.values() for said in steps)
    assert "_" not in whole and "{" not in whole and "no words yet" not in whole and "Noor" not in whole
    seen = view_why.view(ctx, owner, ticket)
    assert {one.person for one in seen.told} <= {"", "Ines Farrow"} and other.ticket_ids


def test_the_longest_waiting_message_is_known_and_alarms_past_the_shops_limit_but_not_for_a_night(lines: Lines) -> None:
    house: Any = lines.house
    house.clock.set(datetime(2026, 11, 25, 22, 0, tzinfo=UTC))
    house.check_in(phone="")
    house.deliver(after=91)
    house.clock.set(datetime(2026, 11, 26, 7, 59, tzinfo=UTC))
    asleep = view_late.view(house.ctx, house.shop_id)
    assert (asleep.waiting, asleep.late) == (1, 0) and asleep.oldest > timedelta(hours=9)
    lines.mail_line.answer = DOWN
    house.clock.set(datetime(2026, 11, 26, 8, 0, tzinfo=UTC))
    for _ in range(5):
        house.deliver(after=600)
    assert view_late.view(house.ctx, house.shop_id).late == 0  # the shop's limit is an hour
    house.deliver(after=900)
    late = view_late.view(house.ctx, house.shop_id)
    assert (late.waiting, late.late) == (1, 1) and timedelta(hours=1) < late.late_for < timedelta(hours=2)
    lines.mail_line.answer = None
    house.deliver(after=3600)
    assert view_late.view(house.ctx, house.shop_id) == view_late.Late(0, timedelta(0), 0, timedelta(0))
