"""What a reply does: stop, start, help, wrong number, erasure; who wrote it; and that it acts once.

Sources stand beside the checks: 47 CFR 64.1200(a)(10) and (12) as quoted in the published vectors (tests/vectors),
RFC 3834 for automatic answers, RFC 5322 3.6.4 for identities, GDPR 12(3) for the deadline (from memory).
"""

from __future__ import annotations

import email
import threading
from datetime import date, timedelta
from email import policy
from typing import Any

import pytest

from notify.core.errors import Conflict, NotAllowed, NotFound
from notify.core.itip import Decision, Unread
from notify.flows import reach, replies, view_calls, view_replies
from notify.flows.check_in_form import DeviceForm
from notify.flows.hear_reply import Heard, hear
from notify.store import events, people, schema, tickets
from notify.store import replies as rows
from tests.flows.conftest import Lines, words
from tests.parts.shelved import shelve

pytestmark = pytest.mark.long

BOTH = frozenset({"repair", "pickup"})
UNREADABLE = Unread(Decision.REJECT_MALFORMED, "unreadable")


def person_of(lines: Lines, done: Any) -> str:
    with lines.house.read() as unit:
        return tickets.get_ticket(unit, done.ticket_ids[0]).person_id


def uses(lines: Lines, person_id: str, channel: str) -> frozenset[str]:
    with lines.house.read() as unit:
        return people.allowed_uses(unit, [person_id]).get(person_id, {}).get(channel, frozenset())


def kinds(lines: Lines, visit_id: str) -> list[str]:
    with lines.house.read() as unit:
        return [event.kind for event in events.story_of(unit, visit_id=visit_id)]


def say(lines: Lines, text: str, /, key: str = "k", *, ago: float = 0, **more: Any) -> str:
    """Somebody writes, by e-mail from Ines' address unless `more` says otherwise."""
    at = lines.house.clock() - timedelta(seconds=ago)
    told = {"channel": "email", "sender": "ines@example.org", "source": "mail"} | more
    return hear(lines.house.ctx, lines.house.shop_id, Heard(text=text, at=at, key=key, **told))


def kept(lines: Lines, reply_id: str) -> rows.Reply:
    with lines.house.read() as unit:
        return rows.get_reply(unit, reply_id)


def told(lines: Lines, visit_id: str, notice: str) -> list[tuple[str, str, str]]:
    return [(m.channel, str(m.state), m.reason) for m in lines.rows(visit_id, notice)]


def first_sent(lines: Lines, visit_id: str) -> Any:
    """The message of a visit that left first."""
    return next(m for m in lines.rows(visit_id) if m.state == "sent")


# Stop ----------------------------------------------------------------------------------------------------------


def test_stop_ends_every_use_of_that_channel_and_is_confirmed_once_at_night_as_well(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in()
    house.deliver(after=91)
    person = person_of(lines, done)
    house.clock.advance(14 * 3600)  # 23:01: vector c-06, an answer to their own message is not held back
    before = len(lines.mail.sent)
    reply = kept(lines, say(lines, "STOP", ago=60, letter_id="<x1@mail.example.org>"))
    assert (reply.kind, reply.state, reply.person_id, reply.text) == ("stop", "seen", person, "STOP")
    assert uses(lines, person, "email") == frozenset() and uses(lines, person, "sms") == BOTH
    house.deliver()
    assert told(lines, done.visit_id, "stop_confirmed") == [("email", "sent", "")]
    (out,) = lines.mail.sent[before:]
    assert out.to == "ines@example.org" and "no more e-mails" in words(out)
    letter = email.message_from_bytes(out.payload, policy=policy.default)
    # RFC 3834 3.1.6, 3.1.7 and 5.2; vector J-02.
    assert letter["Auto-Submitted"] == "auto-replied" and letter["In-Reply-To"] == "<x1@mail.example.org>"
    assert letter["References"] == "<x1@mail.example.org>"
    assert kinds(lines, done.visit_id)[-2:] == ["consent_withdrawn", "stop_heard"]
    say(lines, "stop!", "k2")
    house.deliver(after=60)
    assert len(lines.rows(done.visit_id, "stop_confirmed")) == 1 and len(lines.mail.sent) == before + 1


def test_what_waits_goes_another_way_or_not_at_all_after_a_stop(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in(phone="", email="ines@example.org")
    two = house.check_in(name="Tam Okoro", email="tam@example.org", phone="07700 900456")
    for one in (done, two):
        shelve(house, one.ticket_ids[0])
    say(lines, "please stop these e-mails")
    say(lines, "STOP", "k2", channel="sms", sender="07700 900456")
    house.deliver(after=91)
    assert told(lines, done.visit_id, "ready") == [("call", "to_call", "")]  # nothing else is allowed: staff phone
    assert told(lines, two.visit_id, "ready") == [("email", "sent", "")]
    to = {out.to for out in lines.mail.sent}
    assert to == {"ines@example.org", "tam@example.org", "bench@example.org"}  # confirmed, told, to be called
    to_ines = [m.notice for m in lines.rows(done.visit_id) if m.state == "sent" and m.person_id]
    assert to_ines == ["stop_confirmed"]


@pytest.mark.parametrize(("ago", "sent"), [(0, 1), (299, 1), (301, 0), (3600, 0)])
def test_a_stop_that_arrived_longer_than_five_minutes_ago_is_obeyed_and_not_confirmed(
    lines: Lines, ago: int, sent: int
) -> None:
    """47 CFR 64.1200(a)(12): vectors c-01 to c-03."""
    done = lines.house.check_in()
    say(lines, "unsubscribe", ago=ago)
    lines.house.deliver()
    states = told(lines, done.visit_id, "stop_confirmed")
    assert [state for _, state, _ in states] == ["sent"] * sent
    assert uses(lines, person_of(lines, done), "email") == frozenset()


def test_a_confirmation_that_cannot_leave_within_the_five_minutes_never_leaves(lines: Lines) -> None:
    done = lines.house.check_in()
    say(lines, "STOP", ago=200)
    lines.house.deliver(after=101)
    assert told(lines, done.visit_id, "stop_confirmed") == [("email", "dropped", "expired")]


def test_everybody_with_that_address_is_stopped_and_one_confirmation_goes_out(lines: Lines) -> None:
    house = lines.house
    first, second = house.check_in(), house.check_in(email="Ines@Example.org")
    other = house.check_in(name="Tam Okoro", email="tam@example.org", phone="07700 900456")
    house.deliver(after=91)
    before = len(lines.mail.sent)
    say(lines, "Bitte keine Mails mehr", sender="INES@example.ORG")
    house.deliver()
    assert (
        uses(lines, person_of(lines, first), "email") == uses(lines, person_of(lines, second), "email") == frozenset()
    )
    assert uses(lines, person_of(lines, other), "email") == BOTH
    assert len(lines.mail.sent) == before + 1
    assert all("consent_withdrawn" in kinds(lines, one.visit_id) for one in (first, second))


def test_whoever_had_the_number_before_stops_nothing_for_the_one_who_has_it_replaced(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in()
    person = person_of(lines, done)
    reach.set_contact(house.ctx, house.actor(), done.visit_id, person, channel="sms", address="07700 900789")
    reply = kept(lines, say(lines, "STOP", channel="sms", sender="+447700900123"))
    assert (reply.person_id, reply.visit_id, reply.state) == ("", "", "new")
    assert uses(lines, person, "sms") == BOTH


def test_a_forged_sender_can_stop_and_do_nothing_else(lines: Lines) -> None:
    """Anybody can write somebody's address into From; only what names our message shows that it reached them."""
    house, done = lines.house, lines.house.check_in(DeviceForm("Kestrel radio"))
    person = person_of(lines, done)
    house.deliver(after=91)
    before = kinds(lines, done.visit_id)
    forged = ["START", "yes go ahead with the repair", "please delete my data", "I moved: write to eve@example.net",
              "book me in for Friday", "wrong number"]  # fmt: skip
    for number, text in enumerate(["STOP", *forged]):
        say(lines, text, f"k{number}")
    after = kinds(lines, done.visit_id)[len(before) :]
    assert set(after) <= {"consent_withdrawn", "stop_heard", "reply_received"}
    assert uses(lines, person, "email") == frozenset()
    with house.read() as unit:
        assert people.get_person(unit, person).name == "Ines Farrow" and not people.is_forgotten(unit, person)
        assert {c.address for c in people.contacts_of(unit, person)} == {"ines@example.org", "+447700900123"}


# Start ---------------------------------------------------------------------------------------------------------


def test_start_gives_back_exactly_what_was_allowed_before_and_says_so(lines: Lines) -> None:
    house = lines.house
    done = house.check_in(email_purposes=("repair",))
    person = person_of(lines, done)
    house.deliver(after=91)
    ours = first_sent(lines, done.visit_id).id
    say(lines, "STOP")
    reply = kept(lines, say(lines, "START", "k2", answers=(ours,)))
    assert (reply.kind, reply.state) == ("start", "seen")
    assert uses(lines, person, "email") == {"repair"}
    house.deliver(after=1)
    assert told(lines, done.visit_id, "start_confirmed") == [("email", "sent", "")]
    say(lines, "START", "k3", answers=(ours,))
    assert len(lines.rows(done.visit_id, "start_confirmed")) == 1
    with house.read() as unit:
        how = [row.how for row in unit.connection.execute(schema.consents.select()) if row.channel == "email"]
    assert how.count("reply") == 2


def test_a_letter_that_does_not_name_our_message_starts_nothing_but_is_shown(lines: Lines) -> None:
    done = lines.house.check_in()
    say(lines, "STOP")
    reply = kept(lines, say(lines, "START", "k2"))
    assert (reply.kind, reply.state) == ("start", "new")
    assert uses(lines, person_of(lines, done), "email") == frozenset()
    assert told(lines, done.visit_id, "reply_shop") and not told(lines, done.visit_id, "start_confirmed")


# Help ----------------------------------------------------------------------------------------------------------


def test_help_says_who_we_are_where_to_call_and_how_to_stop_once_a_day(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in()
    house.deliver(after=91)
    for number in range(3):
        say(lines, "HELP", f"k{number}", channel="sms", sender="07700900123")
    house.deliver()
    (out,) = [o for o in lines.text.sent if "STOP" in words(o)]
    assert "Tramstop Bench" in words(out) and "+44 1632 960123" in words(out)
    house.clock.advance(86401)
    say(lines, "help", "k9", channel="sms", sender="07700900123")
    house.deliver()
    assert told(lines, done.visit_id, "help_answer") == [("sms", "sent", "")] * 2


# The rest goes to people ---------------------------------------------------------------------------------------


def test_what_a_person_must_read_rings_the_shop_and_stands_sealed_on_the_ticket(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in()
    house.deliver(after=91)
    ours = first_sent(lines, done.visit_id)
    new = say(lines, "When do you close on Friday? My strap is blue.", answers=(ours.id,), subject="Re: our mail")
    reply = kept(lines, new)
    assert (reply.kind, reply.visit_id, reply.message_id) == ("question", done.visit_id, ours.id)
    assert reply.ticket_id == done.ticket_ids[0] and reply.state == "new"
    house.deliver()
    bell = next(o for o in lines.mail.sent if o.to == "bench@example.org")
    assert "My strap is blue." in words(bell)
    with house.read() as unit:
        raw = unit.connection.execute(schema.replies.select()).one()
        codes = [dict(event.codes) for event in events.story_of(unit, visit_id=done.visit_id)][-1]
    assert b"strap" not in raw.text_sealed and codes["reply"] == new and "strap" not in str(codes)
    sheet = view_replies.view(house.ctx, house.actor("counter"))
    assert [(line.number != "", line.sender, line.is_new) for line in sheet.lines] == [(True, "i••@example.org", True)]
    replies.mark_seen(house.ctx, house.actor(), new)
    with pytest.raises(Conflict):
        replies.mark_seen(house.ctx, house.actor(), new)
    with pytest.raises(NotFound):
        replies.mark_seen(house.ctx, house.actor(), "nothing")
    with pytest.raises(NotAllowed):
        view_replies.view(house.ctx, house.customer())


def test_a_wrong_number_is_wrong_for_everybody_who_is_written_to_at_it(lines: Lines) -> None:
    house = lines.house
    first, second = (house.check_in(name=name, email="") for name in ("Ines Farrow", "Pat Farrow"))
    say(lines, "Sorry, wrong number", channel="sms", sender="+44 7700 900123")
    with house.read() as unit:
        both = [people.contacts_of(unit, person_of(lines, done)) for done in (first, second)]
    assert person_of(lines, first) != person_of(lines, second)
    assert [[one.undeliverable_why for one in contacts] for contacts in both] == [["wrong_number"]] * 2


def test_a_wrong_number_is_used_no_more_and_the_shop_is_told(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in(email="")
    shelve(house, done.ticket_ids[0])
    reply = kept(lines, say(lines, "Sorry, wrong number", channel="sms", sender="+44 7700 900123"))
    assert (reply.kind, reply.state) == ("stop", "new")  # the shop reads that the number reaches somebody else
    house.deliver(after=91)
    assert told(lines, done.visit_id, "ready") == [("call", "to_call", "")] and not lines.text.sent
    (call,) = view_calls.view(house.ctx, house.actor()).calls
    assert call.phone == ""  # nobody is sent to phone a stranger
    assert told(lines, done.visit_id, "reply_shop") == [("email", "sent", "")]
    person = person_of(lines, done)
    with house.read() as unit:
        (contact,) = people.contacts_of(unit, person)
    assert contact.undeliverable and contact.undeliverable_why == "wrong_number"
    reach.set_contact(house.ctx, house.actor(), done.visit_id, person, channel="sms", address="07700 900789")
    with house.read() as unit:
        (contact,) = people.contacts_of(unit, person)
    assert not contact.undeliverable and uses(lines, person, "sms") == BOTH  # they never said stop


def test_a_wish_to_be_forgotten_stops_and_is_shown_with_its_last_day_and_erases_nothing(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in()
    reply = kept(lines, say(lines, "Please delete all my data."))
    assert (reply.kind, reply.state) == ("erasure", "new")
    person = person_of(lines, done)
    assert uses(lines, person, "email") == frozenset()
    with house.read() as unit:
        assert not people.is_forgotten(unit, person)
    (line,) = view_replies.view(house.ctx, house.actor()).lines
    assert line.answer_by == date(2026, 12, 25)  # a Friday: one month after 25 November (GDPR 12(3))


def test_the_address_of_somebody_else_is_shown_and_acts_on_nothing(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in()
    house.deliver(after=91)
    ours = first_sent(lines, done.visit_id).id
    reply = kept(lines, say(lines, "STOP", sender="eve@example.net", answers=(ours,)))
    assert (reply.person_id, reply.visit_id, reply.sender) == ("", done.visit_id, "eve@example.net")
    assert uses(lines, person_of(lines, done), "email") == BOTH and reply.state == "new"
    (line,) = view_replies.view(house.ctx, house.actor()).lines
    assert (line.who, line.sender) == ("somebody_else", "eve@example.net")
    assert not told(lines, done.visit_id, "stop_confirmed")


def test_a_strangers_letter_is_sealed_under_its_own_key_and_goes_after_its_days(lines: Lines) -> None:
    house = lines.house
    new = say(lines, "Do you repair organs?", sender="ute@example.net", subject="A question")
    assert (kept(lines, new).visit_id, kept(lines, new).text) == ("", "Do you repair organs?")
    assert len(house.ctx.db.vault.data_key(new)) == 32
    house.clock.advance(29 * 86400)
    assert replies.forget_strangers(house.ctx, house.system(), keep_days=30) == 0
    house.clock.advance(2 * 86400)
    assert replies.forget_strangers(house.ctx, house.system(), keep_days=30) == 1
    with pytest.raises(NotFound):
        house.ctx.db.vault.data_key(new)
    with pytest.raises(NotFound):
        kept(lines, new)


# Automatic mail (RFC 3834 2) -----------------------------------------------------------------------------------


def test_automatic_mail_is_never_answered_and_rings_nobody(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in()
    house.deliver(after=91)
    before = len(lines.rows(done.visit_id))
    reply = kept(lines, say(lines, "STOP. I am away until Monday. HELP", automatic=True))
    assert (reply.kind, reply.state) == ("auto", "seen")
    assert say(lines, "Great offers", "k2", sender="shop@example.net", automatic=True) == ""
    house.deliver()
    assert len(lines.rows(done.visit_id)) == before and uses(lines, person_of(lines, done), "email") == BOTH


def test_a_calendar_answer_is_shown_to_the_shop(lines: Lines) -> None:
    lines.house.check_in()
    reply = kept(lines, say(lines, "Ines has declined", calendar_answers=(UNREADABLE,)))
    assert (reply.kind, reply.state) == ("calendar", "new")


# Once ----------------------------------------------------------------------------------------------------------


def test_the_same_letter_acts_once_however_often_and_from_wherever_it_comes(lines: Lines) -> None:
    """TESTPLAN D15: the key is the Message-ID's (RFC 5322 3.6.4), from two mailboxes at the same time."""
    house, done = lines.house, lines.house.check_in()
    house.deliver(after=91)
    kept_ids: list[str] = []
    threads = [threading.Thread(target=lambda: kept_ids.append(say(lines, "HELP", "same"))) for _ in range(8)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(30)
    house.deliver()
    acted = [one for one in kept_ids if one]
    print(f"FIGURE D15_once copies={len(kept_ids)} acted={len(acted)} database={house.ctx.db.engine.dialect.name}")
    assert len(kept_ids) == 8 and len(acted) == 1
    assert len(told(lines, done.visit_id, "help_answer")) == 1


def test_claim_secrets_hidden_signs_and_endless_texts_do_not_get_into_a_reply(lines: Lines) -> None:
    done = lines.house.check_in()
    with lines.house.read() as unit:
        token = tickets.get_ticket(unit, done.ticket_ids[0]).token
    text = f"https://bell.example.org/c/{token} \u202eevil\u0000\r\n" + "x" * 50_000
    reply = kept(lines, say(lines, text, subject="a\r\nb"))
    assert token not in reply.text and "\u202e" not in reply.text and "\0" not in reply.text
    assert len(reply.text) <= 8000 and reply.subject == "a b"
