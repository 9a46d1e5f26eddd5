"""The question some days later: only with consent, once, never late, never about what came back or was not repaired.

Sources: German BGH VI ZR 225/17 and UK PECR reg. 22 (a question about satisfaction is advertising: consent, for each
channel); GDPR art. 7(1) and (3) (the consent can be shown, and taken back as easily); RFC 8058 (one click). That one
asks once, within three days, and not about what came back: the project's own rules.
"""

from __future__ import annotations

import email
import hashlib
from datetime import timedelta
from email import policy
from itertools import product
from typing import Any

import pytest
from sqlalchemy import select

from notify.core.consent import REPLY_VERSION, VERSIONS
from notify.core.languages import LANGUAGES
from notify.core.one_click import Use, read_stop_token
from notify.flows import ask_after, forget, handover, moves, reach, set_up, stop_by_link
from notify.flows.check_in_form import DeviceForm
from notify.flows.hear_reply import Heard, hear
from notify.store import events, people, tickets
from notify.store import schema as s
from tests.flows.conftest import REFUSED, Lines, words
from tests.parts.shelved import shelve, token_of

pytestmark = pytest.mark.long

SERVICE = ("repair", "pickup")
AGREED = (*SERVICE, "afterwards")
DAYS = 7


def repaired(lines: Lines, *devices: str, **whom: Any) -> Any:
    """Devices that went home repaired a moment ago, of somebody who agreed by e-mail unless `whom` says otherwise."""
    house = lines.house
    set_up.change_settings(house.ctx, house.actor(), {"all_well_days": DAYS})
    uses = {"email_purposes": AGREED, "phone_purposes": SERVICE} | whom
    done = house.check_in(*(DeviceForm(one) for one in devices or ("Kestrel pocket radio",)), **uses)
    for ticket_id in done.ticket_ids:
        shelve(house, ticket_id)
    give_back(lines, *done.ticket_ids)
    return done


def give_back(lines: Lines, *ticket_ids: str) -> None:
    token = token_of(lines.house, ticket_ids[0])
    handover.hand_back(lines.house.ctx, lines.house.actor(), ticket_ids=ticket_ids, token=token)
    lines.house.deliver(after=91)


def later(lines: Lines, *, days: float = DAYS, hours: float = 1) -> int:
    """So much later, by day: the job runs, and what is due leaves. How many were asked."""
    lines.house.clock.advance(days * 86400 + hours * 3600)
    asked = ask_after.ask_due(lines.house.ctx, lines.house.system())
    lines.house.deliver()
    return asked


def told(lines: Lines, done: Any) -> list[tuple[str, str, str]]:
    return lines.states(done.visit_id, "all_well")


def person_of(lines: Lines, done: Any) -> str:
    with lines.house.read() as unit:
        return tickets.get_ticket(unit, done.ticket_ids[0]).person_id


def consents(lines: Lines, person_id: str, purpose: str = "afterwards") -> list[Any]:
    with lines.house.read() as unit:
        query = select(s.consents).where(s.consents.c.person_id == person_id, s.consents.c.purpose == purpose)
        return list(unit.connection.execute(query.order_by(s.consents.c.seq)))


def uses(lines: Lines, person_id: str) -> dict[str, frozenset[str]]:
    with lines.house.read() as unit:
        return dict(people.allowed_uses(unit, [person_id]).get(person_id, {}))


def mail_of(lines: Lines) -> Any:
    return email.message_from_bytes(lines.mail.sent[-1].payload, policy=policy.default)


def test_whoever_agreed_is_asked_once_after_so_many_days_with_both_fields_and_the_link_in_the_text(
    lines: Lines,
) -> None:
    done = repaired(lines)
    assert later(lines, days=DAYS - 1, hours=23) == 0 and told(lines, done) == []
    assert later(lines, days=0) == 1 and told(lines, done) == [("email", "sent", "")]
    asked = mail_of(lines)
    (said,) = asked.get_all("List-Unsubscribe")
    link = str(said).strip().removeprefix("<").removesuffix(">")
    assert link.startswith("https://bell.example.org/u/") and len(link) < 76
    assert "," not in link and "=?" not in str(said)
    assert [str(one) for one in asked.get_all("List-Unsubscribe-Post")] == ["List-Unsubscribe=One-Click"]
    assert link in words(lines.mail.sent[-1])
    assert link in asked.get_body(("html",)).get_content()
    use = read_stop_token(link.rpartition("/")[2], key=lines.house.services.secret)
    assert use == Use(person_of(lines, done), "email", "afterwards")
    for again in range(3):
        assert later(lines, days=again) == 0
    assert len(told(lines, done)) == 1


def test_no_other_mail_carries_the_fields(lines: Lines) -> None:
    repaired(lines)
    later(lines)
    *others, asked = [email.message_from_bytes(one.payload, policy=policy.default) for one in lines.mail.sent]
    assert others and asked["List-Unsubscribe"]
    assert not any(one["List-Unsubscribe"] or one["List-Unsubscribe-Post"] for one in others)


@pytest.mark.parametrize("mail", [AGREED, SERVICE])
@pytest.mark.parametrize("text", [AGREED, SERVICE])
@pytest.mark.parametrize("broken", [False, True])
def test_consent_is_asked_for_each_channel_and_one_channels_consent_never_serves_another(
    lines: Lines, mail: tuple[str, ...], text: tuple[str, ...], broken: bool
) -> None:
    done = repaired(lines, email_purposes=mail, phone_purposes=text)
    sent_before = len(lines.text.sent)
    lines.mail_line.answer = REFUSED if broken else None
    asked = later(lines)
    by_mail, by_text = mail is AGREED, text is AGREED
    wanted = []
    if by_mail:
        wanted.append(("email", "given_up" if broken else "sent"))
    if by_text and (broken or not by_mail):
        wanted.append(("sms", "sent"))
    assert [(channel, state) for channel, state, _ in told(lines, done)] == wanted
    assert asked == (1 if by_mail or by_text else 0)
    if wanted and wanted[-1][0] == "sms":
        said = words(lines.text.sent[-1])
        assert "STOP" in said and "/u/" not in said and len(lines.text.sent) == sent_before + 1
    if not asked:
        assert "time_to_ask" not in kinds(lines, done.visit_id), "about whoever agreed to nothing, nothing is written"


def kinds(lines: Lines, visit_id: str) -> list[str]:
    with lines.house.read() as unit:
        return [one.kind for one in events.story_of(unit, visit_id=visit_id)]


def test_nobody_is_asked_while_the_shop_has_set_no_days(lines: Lines) -> None:
    done = repaired(lines)
    set_up.change_settings(lines.house.ctx, lines.house.actor(), {"all_well_days": 0})
    assert later(lines) == 0 and told(lines, done) == []


def test_what_was_not_repaired_is_not_asked_about_and_of_two_only_the_repaired_one(lines: Lines) -> None:
    house = lines.house
    set_up.change_settings(house.ctx, house.actor(), {"all_well_days": DAYS})
    done = house.check_in(DeviceForm("Kestrel radio"), DeviceForm("Otter camera"), email_purposes=AGREED)
    dead = house.check_in(DeviceForm("Fenlight reader"), email="tam@example.net", email_purposes=AGREED)
    shelve(house, done.ticket_ids[0])
    for ticket_id in (done.ticket_ids[1], dead.ticket_ids[0]):
        moves.move(house.ctx, house.actor(), ticket_id, "on_shelf", outcome="unrepaired", reason="not_repairable")
    give_back(lines, *done.ticket_ids)
    give_back(lines, *dead.ticket_ids)
    assert later(lines) == 1 and told(lines, dead) == []
    assert told(lines, done) == [("email", "sent", "")]
    said = words(lines.mail.sent[-1])
    assert "Kestrel radio" in said and "Otter camera" not in said


def test_of_two_handed_back_on_different_days_the_later_one_counts(lines: Lines) -> None:
    house = lines.house
    set_up.change_settings(house.ctx, house.actor(), {"all_well_days": DAYS})
    done = house.check_in(DeviceForm("Kestrel radio"), DeviceForm("Otter camera"), email_purposes=AGREED)
    shelve(house, done.ticket_ids[0])
    give_back(lines, done.ticket_ids[0])
    assert later(lines) == 0, "the camera is still with us"
    shelve(house, done.ticket_ids[1])
    give_back(lines, done.ticket_ids[1])
    assert later(lines, days=DAYS - 1) == 0
    assert later(lines, days=1) == 1
    said = words(lines.mail.sent[-1])
    assert "Kestrel radio" in said and "Otter camera" in said


@pytest.mark.parametrize("when", ["before it is planned", "after it is planned"])
@pytest.mark.parametrize("how", ["warranty return", "handover undone"])
def test_a_device_that_came_back_is_not_asked_about(lines: Lines, when: str, how: str) -> None:
    house = lines.house
    done = repaired(lines)
    house.clock.advance(DAYS * 86400 + 3600)
    if when == "after it is planned":
        assert ask_after.ask_due(house.ctx, house.system()) == 1
    if how == "warranty return":
        back = house.check_in(DeviceForm("Kestrel pocket radio", follows=done.numbers[0]))
        shelve(house, back.ticket_ids[0])
        give_back(lines, *back.ticket_ids)  # even when it has gone home once more: that visit is asked about
    else:
        handover.undo_handover(house.ctx, house.actor(), done.ticket_ids[0], reason="wrong_device")
    ask_after.ask_due(house.ctx, house.system())
    house.deliver()
    reason = {"warranty return": "back_with_us", "handover undone": "handover_undone"}[how]
    assert told(lines, done) == ([] if when.startswith("before") else [("email", "dropped", reason)])


def test_a_service_that_was_down_too_long_asks_nobody_late_and_one_switched_on_leaves_old_visits_alone(
    lines: Lines,
) -> None:
    done = repaired(lines)
    assert later(lines, days=DAYS + 3) == 0 and told(lines, done) == []


def test_it_waits_for_a_decent_hour_but_not_beyond_its_three_days(lines: Lines) -> None:
    house, done = lines.house, repaired(lines)
    night = house.clock().replace(hour=23, minute=0) + timedelta(days=DAYS)
    house.clock.advance((night - house.clock()).total_seconds())
    ask_after.ask_due(house.ctx, house.system())
    house.deliver()
    assert told(lines, done) == [("email", "waiting", "quiet_hours")]
    (row,) = lines.rows(done.visit_id, "all_well")
    assert row.expires_at - house.clock() < timedelta(days=3)
    house.deliver(after=10 * 3600)
    assert told(lines, done) == [("email", "sent", "")]


def test_consent_taken_back_between_the_plan_and_the_sending_stops_it(lines: Lines) -> None:
    house, done = lines.house, repaired(lines)
    house.clock.advance(DAYS * 86400 + 3600)
    ask_after.ask_due(house.ctx, house.system())
    use = Use(person_of(lines, done), "email", "afterwards")
    reader = stop_by_link.find(house.ctx, use)
    assert reader is not None and stop_by_link.stop(house.ctx, reader, use)
    house.deliver()
    assert told(lines, done) == [("email", "dropped", "not_allowed")]


def test_the_link_takes_back_this_purpose_on_this_channel_and_nothing_else_once(lines: Lines) -> None:
    house, done = lines.house, repaired(lines, phone_purposes=AGREED)
    use = Use(person_of(lines, done), "email", "afterwards")
    reader = stop_by_link.find(house.ctx, use)
    assert reader is not None
    assert [stop_by_link.stop(house.ctx, reader, use) for _ in range(3)] == [True, False, False]
    assert uses(lines, use.person_id) == {"email": frozenset(SERVICE), "sms": frozenset(AGREED)}
    given, taken = [one for one in consents(lines, use.person_id) if one.channel == "email"]
    assert (given.allowed, taken.allowed, taken.how) == (True, False, "one_click")
    assert kinds(lines, done.visit_id).count("consent_withdrawn") == 1


def test_the_consent_row_says_which_words_were_agreed_to_and_a_service_row_rests_on_the_contract(lines: Lines) -> None:
    done = repaired(lines, language="de")
    person = person_of(lines, done)
    (row,) = consents(lines, person)
    assert (row.basis, row.wording, row.language, row.how) == ("consent", "afterwards-1", "de", "counter")
    assert row.staff_id and row.channel == "email"
    assert {one.basis for one in consents(lines, person, "repair")} == {"contract"}


def test_changed_words_of_the_consent_need_a_new_version(lines: Lines) -> None:
    """The words of each version, by hash: whoever changes them raises the version, then this table."""
    known = {
        "repair-1": "792ab4b04df04eea",
        "pickup-2": "6342b1c761a35db3",
        "reminder-1": "c558f50d25b8f475",
        "afterwards-1": "56fb6920dd8695bb",
        "reply-1": "54267426d8a15e58",
    }
    for purpose, version in {**VERSIONS, "reply": REPLY_VERSION}.items():
        said = "\n".join(lines.house.services.words.get(one)[f"consent.{purpose}"] for one in LANGUAGES)
        assert known[version] == hashlib.sha256(said.encode()).hexdigest()[:16], version


def test_nobody_agrees_by_being_silent_by_a_corrected_address_or_by_the_word_start(lines: Lines) -> None:
    house = lines.house
    silent = house.check_in()
    assert consents(lines, person_of(lines, silent)) == []
    reach.set_contact(house.ctx, house.actor(), silent.visit_id, person_of(lines, silent), channel="email",
                      address="new@example.org")  # fmt: skip
    bare = house.check_in(email="", phone="")
    reach.set_contact(house.ctx, house.actor(), bare.visit_id, person_of(lines, bare), channel="email",
                      address="first@example.org")  # fmt: skip
    assert consents(lines, person_of(lines, silent)) == consents(lines, person_of(lines, bare)) == []
    agreed = repaired(lines, phone="07700 900456", phone_purposes=AGREED, email="")
    for key, text in (("a", "STOP"), ("b", "START")):
        house.clock.advance(60)
        hear(house.ctx, house.shop_id, Heard("sms", "07700 900456", text, house.clock(), key, "sms"))
    assert uses(lines, person_of(lines, agreed)) == {"sms": frozenset(SERVICE)}
    assert later(lines) == 0


def test_stop_in_a_reply_ends_the_question_as_well(lines: Lines) -> None:
    house, done = lines.house, repaired(lines)
    hear(house.ctx, house.shop_id, Heard("email", "ines@example.org", "STOP", house.clock(), "k", "mail"))
    assert later(lines) == 0 and told(lines, done) == []
    assert [(one.allowed, one.basis) for one in consents(lines, person_of(lines, done))] == [
        (True, "consent"), (False, "consent"),
    ]  # fmt: skip


def test_a_forgotten_person_is_not_asked_and_their_link_writes_nothing(lines: Lines) -> None:
    house, done = lines.house, repaired(lines)
    use = Use(person_of(lines, done), "email", "afterwards")
    house.clock.advance(DAYS * 86400 + 3600)
    ask_after.ask_due(house.ctx, house.system())
    before = len(consents(lines, use.person_id))
    forget.erase_person(house.ctx, house.actor(), use.person_id)
    house.deliver()
    assert told(lines, done) == [("email", "dropped", "forgotten")]
    reader = stop_by_link.find(house.ctx, use)
    assert reader is not None and reader.forgotten and not stop_by_link.stop(house.ctx, reader, use)
    assert len(consents(lines, use.person_id)) == before
    assert ask_after.ask_due(house.ctx, house.system()) == 0


def test_every_language_asks_without_an_offer_or_a_public_rating(lines: Lines) -> None:
    for language, (known, number) in zip(LANGUAGES, ((0, 1), (1, 2), (2, 3)), strict=True):
        repaired(lines, language=language, email=f"pat{known}@example.org", name=f"Guest {number}")
    assert later(lines) == len(LANGUAGES)
    said = [words(one) for one in lines.mail.sent[-len(LANGUAGES) :]]
    for language, text in product(("review", "rating", "stars", "offer", "discount", "bewert", "Rabatt", "Angebot",
                                   "recension", "sconto", "offert"), said):  # fmt: skip
        assert language.lower() not in text.lower()
