"""Robots, forged senders and old messages sent anew: what they may set off has an end, and a stop always holds.

RFC 3834 2 (limit automatic answers; figures are this project's), 47 CFR 64.1200(a)(12) (a stop is confirmed once).
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from notify.core.errors import Conflict
from notify.core.notices import ANSWERS
from notify.flows import reach, replies, view_day_sheet, view_replies
from notify.flows.resend import resend
from notify.store import people
from tests.flows.conftest import Lines
from tests.flows.conftest import lines as lines
from tests.flows.test_hear_reply import BOTH, first_sent, kept, kinds, person_of, say, told, uses

pytestmark = pytest.mark.long  # together some seconds of one core

TEXT: dict[str, Any] = {"channel": "sms", "sender": "07700 900123"}


def opened(lines: Lines, **whom: Any) -> Any:
    done = lines.house.check_in(**whom)
    lines.house.deliver(after=91)
    return done


def rung(lines: Lines, visit_id: str) -> int:
    return len(told(lines, visit_id, "reply_shop"))


def test_sixty_letters_ring_five_times_and_again_once_somebody_has_read_them(lines: Lines) -> None:
    done = opened(lines)
    new = [say(lines, f"Is it done? {number}", f"k{number}") for number in range(60)]
    print(f"FIGURE reply_flood letters=60 rings={rung(lines, done.visit_id)}")
    assert rung(lines, done.visit_id) == 5 and all(kept(lines, one).state == "new" for one in new)
    assert kinds(lines, done.visit_id).count("reply_received") == 60
    for one in new:
        replies.mark_seen(lines.house.ctx, lines.house.actor(), one)
    say(lines, "And now?", "again")
    assert rung(lines, done.visit_id) == 6
    lines.house.clock.advance(3601)
    say(lines, "Hello?", "later")
    assert rung(lines, done.visit_id) == 7


def test_an_answer_to_the_shops_own_bell_does_not_ring_it_again(lines: Lines) -> None:
    """A colleague's holiday notice that does not say it is automatic would ring for ever."""
    done = opened(lines)
    say(lines, "Is it done?")
    lines.house.deliver()
    for number in range(4):
        bell = lines.rows(done.visit_id, "reply_shop")[-1]
        new = say(lines, "I am away until Monday.", f"r{number}", sender="bench@example.org", answers=(bell.id,))
        lines.house.deliver()
        assert (kept(lines, new).visit_id, kept(lines, new).state) == (done.visit_id, "new")
    assert rung(lines, done.visit_id) == 1


def test_one_who_writes_a_great_deal_does_not_hide_the_others_on_the_day_sheet(lines: Lines) -> None:
    opened(lines)
    opened(lines, name="Tam Okoro", email="tam@example.org", phone="07700 900456")
    for number in range(30):
        say(lines, f"spam {number}", f"s{number}", sender=f"eve{number}@example.net")
        say(lines, f"loud {number}", f"l{number}")
    say(lines, "When may I come?", "tam", sender="tam@example.org")
    sheet = view_day_sheet.view(lines.house.ctx, lines.house.actor())
    shown = [line.text for line in sheet.replies]
    assert len([one for one in shown if one.startswith("spam")]) == 10
    assert len([one for one in shown if one.startswith("loud")]) == 5
    assert shown[-1] == "When may I come?" and sheet.unread == 61


def test_stop_and_start_in_turns_are_obeyed_and_not_all_confirmed(lines: Lines) -> None:
    """Whoever forges a sender at a gateway could have the shop pay for, and the victim get, as many as they like."""
    done = opened(lines)
    before = len(lines.text.sent)
    for number in range(20):
        for word, left in (("STOP", frozenset()), ("START", BOTH)):
            say(lines, word, f"{word}{number}", **TEXT)
            assert uses(lines, person_of(lines, done), "sms") == left
            lines.house.deliver(after=1)
    sent = len(lines.text.sent) - before
    print(f"FIGURE stop_start_flood wishes=40 answers={sent}")
    assert sent == 6
    lines.house.clock.advance(86401)
    say(lines, "STOP", "next day", **TEXT)
    lines.house.deliver()
    assert len(lines.text.sent) - before == 7


@pytest.mark.parametrize("how", ["by text", "at the counter"])
def test_a_start_written_before_the_stop_starts_nothing_whenever_it_comes(lines: Lines, how: str) -> None:
    """Overtaken on its way, or kept by somebody and sent anew months later under another name."""
    done = opened(lines)
    person = person_of(lines, done)
    if how == "by text":
        say(lines, "STOP", **TEXT)
    else:
        reach.set_use(lines.house.ctx, lines.house.actor(), done.visit_id, person, channel="sms",
                      purposes=("repair", "pickup"), allowed=False, how="counter")  # fmt: skip
    left = uses(lines, person, "sms")
    late = kept(lines, say(lines, "START", "k2", ago=60, **TEXT))
    assert uses(lines, person, "sms") == left == frozenset() and late.state == "new"
    lines.house.clock.advance(1)
    say(lines, "START", "k3", **TEXT)
    assert uses(lines, person, "sms") == BOTH


def test_by_letter_a_wrong_number_is_believed_only_in_answer_to_our_message(lines: Lines) -> None:
    """Nothing tells the person that their address is out of use, and a sender is easily forged."""
    done = opened(lines)
    forged = kept(lines, say(lines, "Wrong address, I am not Ines"))
    assert forged.state == "new" and rung(lines, done.visit_id) == 1
    assert not _undeliverable(lines, done)
    say(lines, "Wrong person, I am not Ines", "k2", answers=(first_sent(lines, done.visit_id).id,))
    assert _undeliverable(lines, done)


def _undeliverable(lines: Lines, done: Any) -> bool:
    with lines.house.read() as unit:
        contacts = people.contacts_of(unit, person_of(lines, done))
    return next(one.undeliverable for one in contacts if one.channel == "email")


def test_an_answer_is_never_sent_once_more(lines: Lines) -> None:
    house, done = lines.house, opened(lines)
    ours = first_sent(lines, done.visit_id).id
    for number, word in enumerate(("HELP", "STOP", "START")):
        say(lines, word, f"k{number}", answers=(ours,))
        house.deliver(after=1)
    sent = [m for m in lines.rows(done.visit_id) if m.notice in ANSWERS and m.state == "sent"]
    assert {m.notice for m in sent} == set(ANSWERS)
    house.clock.advance(int(timedelta(days=1).total_seconds()))
    for message in sent:
        with pytest.raises(Conflict, match="once only"):
            resend(house.ctx, house.actor(), message.id, reason="asked", look=house.services.dispatcher.look)


@pytest.mark.parametrize("year", [1, 100, 1970])
def test_a_time_that_no_message_can_have_is_now_and_the_pages_still_open(lines: Lines, year: int) -> None:
    """Systems write the first day of year 1 or 1970 for none; west of Greenwich the former has no date at all."""
    done = opened(lines)
    impossible = lines.house.clock() - datetime(year, 1, 1, tzinfo=UTC)
    new = kept(lines, say(lines, "STOP", ago=impossible.total_seconds(), **TEXT))
    assert new.at == lines.house.clock()
    lines.house.deliver()
    assert told(lines, done.visit_id, "stop_confirmed") == [("sms", "sent", "")]
    (line,) = view_replies.view(lines.house.ctx, lines.house.actor()).lines
    assert line.at.astimezone(ZoneInfo("America/New_York")).year == 2026
