"""Requests about one's own data: their last days, who may ask, what an erasure waits for, and the night that does it.

Last days are those of the vector file (area `deadlines`), worked out from Reg. (EEC, Euratom) 1182/71 art. 3 and GDPR
art. 12(3); articles in facts 2.2.
"""

from __future__ import annotations

import threading
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from notify.core import requests as rules
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound
from notify.core.requests import Kind, Standing
from notify.flows import (
    forget,
    granted,
    held_about,
    keep_proofs,
    keeping,
    reach,
    reminders,
    requests,
    requests_due,
    view_consents,
    view_day_sheet,
    view_keeping,
    view_requests,
    view_ticket,
)
from notify.flows.check_in_form import PersonForm
from notify.flows.hear_reply import Heard, hear
from notify.store import messages, people, replies, visits
from notify.store import requests as rows
from tests.flows.conftest import Lines, words
from tests.parts.shelved import shelve, token_of

pytestmark = pytest.mark.long
NONE: frozenset[date] = frozenset()
SURE = "showed a passport"


@pytest.mark.parametrize(
    ("received", "last", "longest"),
    [
        ("2026-01-31", "2026-03-02", "2026-04-30"),  # 28 February is a Saturday; three months end on 30 April
        ("2026-11-25", "2026-12-25", "2027-02-25"),
        ("2026-10-15", "2026-11-16", "2027-01-15"),  # 15 November is a Sunday
    ],
)
def test_the_last_day_is_one_month_after_receipt_or_three_and_never_a_weekend(
    received: str, last: str, longest: str
) -> None:
    """Worked out by hand from a calendar: Reg. 1182/71 art. 3(2)(c) and 3(4)."""
    day = date.fromisoformat(received)
    assert rules.due_on(day, holidays=NONE) == date.fromisoformat(last)
    assert rules.longest(day, holidays=NONE) == date.fromisoformat(longest)
    assert rules.due_on(day, holidays=frozenset({date.fromisoformat(last)})) > date.fromisoformat(last)


def test_it_presses_from_a_week_before_and_is_late_only_after_its_last_day() -> None:
    last = date(2026, 12, 25)
    assert [rules.standing(last + timedelta(days=n), last) for n in (-8, -7, 0, 1)] == [
        Standing.IN_TIME, Standing.SOON, Standing.SOON, Standing.LATE,
    ]  # fmt: skip
    assert rules.may_extend(last, last, None) and not rules.may_extend(last + timedelta(days=1), last, None)
    assert not rules.may_extend(last, last, last)
    assert all(one.source and one.checked_on >= date(2026, 11, 28) for one in rules.FIGURES.values())


class Asking:
    """One customer with a visit, and short ways to ask."""

    def __init__(self, lines: Lines, **whom: Any) -> None:
        self.house = lines.house
        self.lines, self.done = lines, lines.house.check_in(**whom)
        with self.house.read() as unit:
            self.person = visits.visit_people(unit, self.done.visit_id)["bringer"][0]

    def ask(self, kind: str = "erasure", **more: Any) -> requests.Taken:
        given = {"how": "counter", "made_sure": SURE} | more
        return requests.ask(self.house.ctx, self.house.actor(), self.done.visit_id, self.person, kind=kind, **given)

    def row(self, request_id: str) -> rows.Request:
        with self.house.read() as unit:
            return rows.get_request(unit, request_id)

    def give_back(self) -> None:
        from notify.flows import handover

        shelve(self.house, self.done.ticket_ids[0])
        handover.hand_back(self.house.ctx, self.house.actor(), ticket_ids=[self.done.ticket_ids[0]],
                           token=token_of(self.house, self.done.ticket_ids[0]))  # fmt: skip
        self.house.deliver(after=91)

    def night(self) -> int:
        return requests_due.erase_due(self.house.ctx, self.house.system())

    def asked_from(self) -> datetime | None:
        """As the dry run of forgetting says it."""
        [found] = view_keeping.view_fates(self.house.ctx, self.house.actor(), everyone=True)
        return found.asked_from

    def is_gone(self) -> bool:
        with self.house.read() as unit:
            return people.is_forgotten(unit, self.person)

    def became(self, notice: str) -> tuple[str, str]:
        """State and reason of the one message of that kind."""
        ((_, state, reason),) = self.lines.states(self.done.visit_id, notice)
        return state, reason

    def mails(self) -> list[str]:
        self.house.deliver(after=91)
        return [words(one) for one in self.lines.mail.sent]


@pytest.fixture
def asking(lines: Lines) -> Asking:
    return Asking(lines)


def test_an_erasure_waits_for_the_device_then_rests_and_then_goes_in_the_night(asking: Asking) -> None:
    made = asking.ask()
    asking.house.clock.advance(13 * 3600)
    assert asking.night() == 0 and not asking.is_gone()  # the device is with us
    line = view_requests.view_one(asking.house.ctx, asking.house.actor(), made.id)
    assert line.against == ("open",)
    asking.give_back()
    assert asking.night() == 1 and asking.is_gone()
    row = asking.row(made.id)
    assert (row.state, row.note) == ("done", "")
    assert forget.confirm(asking.house.ctx, asking.house.system())
    with asking.house.read() as unit, pytest.raises(NotFound):
        held_about.gather_held(asking.house.ctx, unit, asking.person)


def test_an_erasure_can_be_taken_back_until_the_night_and_is_told_once_before(asking: Asking) -> None:
    asking.give_back()
    made = asking.ask()
    assert made.erased_from == asking.house.clock() + timedelta(hours=12) == asking.asked_from()
    asking.house.clock.advance(11 * 3600)
    assert asking.night() == 0
    requests.withdraw(asking.house.ctx, asking.house.actor(), made.id)
    asking.house.clock.advance(11 * 3600)
    assert asking.night() == 0 and not asking.is_gone() and asking.asked_from() is None
    told = [mail for mail in asking.mails() if "to be forgotten" in mail]
    assert len(told) == 1 and "first night after" in told[0]
    with pytest.raises(Conflict):
        requests.withdraw(asking.house.ctx, asking.house.actor(), made.id)


def test_nothing_is_done_for_whoever_nobody_has_made_sure_of(asking: Asking) -> None:
    asking.give_back()
    made = asking.ask(made_sure="", how="post")
    asking.house.clock.advance(3 * 86400)
    assert asking.night() == 0
    other = asking.ask("access", made_sure="", how="post")
    for act in (requests.finish, requests.export):
        with pytest.raises(NotAllowed, match="made sure"):
            act(asking.house.ctx, asking.house.actor(), other.id)
    requests.withdraw(asking.house.ctx, asking.house.actor(), other.id)
    requests.prove(asking.house.ctx, asking.house.actor(), made.id, made_sure=SURE)
    assert asking.night() == 0  # the rest begins when it is known who asks
    asking.house.clock.advance(12 * 3600)
    assert asking.night() == 1 and asking.is_gone()


def test_whoever_waits_for_an_answer_is_kept_until_they_have_it(asking: Asking) -> None:
    """The night that would forget them comes first: the race of a request with the end of the period."""
    asking.give_back()
    asking.house.clock.advance(89 * 86400)
    made = asking.ask("access")
    asking.house.clock.advance(3 * 86400)
    with asking.house.read() as unit:
        due, kept = keeping.who_is_due(asking.house.ctx, unit)
    assert due == () and kept == ((asking.person, "request"),)
    requests.finish(asking.house.ctx, asking.house.actor(), made.id, note="handed over on paper")
    with asking.house.read() as unit:
        assert keeping.who_is_due(asking.house.ctx, unit)[0] == (asking.person,)


def test_a_letter_that_asks_to_be_forgotten_becomes_a_request_counted_from_when_it_came(asking: Asking) -> None:
    house = asking.house
    asking.mails()
    came = house.clock()
    reply = hear(house.ctx, house.shop_id, Heard("email", "ines@example.org", "Please delete all my data", came, "k",
                                                 "mail"))  # fmt: skip
    house.clock.advance(2 * 86400)
    made = requests.from_reply(house.ctx, house.actor("counter"), reply)
    row = asking.row(made.id)
    assert (row.kind, row.how, row.received_at, row.proved_at) == (Kind.ERASURE, "reply", came, None)
    assert row.due_on == rules.due_on(came.date(), holidays=NONE)
    with house.read() as unit:
        assert replies.get_reply(unit, reply).state == "seen"
    assert not requests.from_reply(house.ctx, house.actor(), reply).new


def test_two_at_once_are_one_request(asking: Asking) -> None:
    made: list[requests.Taken] = []
    both = [threading.Thread(target=lambda: made.append(asking.ask())) for _ in range(2)]
    for one in both:
        one.start()
    for one in both:
        one.join(30)
    assert len(made) == 2 and len({one.id for one in made}) == 1 and sorted(one.new for one in made) == [False, True]


def test_a_refusal_needs_a_reason_of_the_list_and_tells_how_to_complain(asking: Asking) -> None:
    house, made = asking.house, asking.ask("objection", note="no reminders")
    for reason, note in (("", "because"), ("busy", "we are busy"), ("unfounded", "no")):
        with pytest.raises(Invalid):
            requests.refuse(house.ctx, house.actor(), made.id, reason=reason, note=note)
    with pytest.raises(NotAllowed):
        requests.refuse(house.ctx, house.actor("counter"), made.id, reason="unfounded", note="no ground")
    requests.refuse(house.ctx, house.actor(), made.id, reason="exception", note="needed for the claim")
    (told,) = [mail for mail in asking.mails() if "cannot do" in mail]
    assert "complain" in told and "court" in told and "needed for the claim" not in told


def test_it_is_extended_once_within_the_first_month_and_they_are_told(asking: Asking) -> None:
    house, made = asking.house, asking.ask("access")
    until = requests.extend(house.ctx, house.actor(), made.id, note="three boxes of paper")
    assert until == rules.longest(house.clock().date(), holidays=NONE)
    with pytest.raises(Conflict):
        requests.extend(house.ctx, house.actor(), made.id, note="once more")
    asking.mails()
    with house.read() as unit:
        told = [m.state for m in messages.messages_of_visit(unit, asking.done.visit_id)
                if m.notice == "request_news" and m.channel == "email"]  # fmt: skip
    assert told == ["sent", "sent"], "that it came, and that it takes longer"
    late = asking.ask("restriction")
    house.clock.advance(40 * 86400)
    with pytest.raises(Conflict):
        requests.extend(house.ctx, house.actor(), late.id, note="too late now")


def test_one_person_has_ten_open_requests_at_most_and_the_eleventh_is_refused(asking: Asking) -> None:
    """Our choice: whoever has the code could press for ever."""
    for n in range(10):
        assert asking.ask("correction", note=f"the name on line {n} is wrong").new
    with pytest.raises(Conflict, match="too many"):
        asking.ask("correction", note="the name on line 10 is wrong")
    assert not asking.ask("correction", note="the name on line 3 is wrong").new


def test_what_whoever_is_only_told_of_a_visit_asks_is_not_told_to_whoever_brought_it(lines: Lines) -> None:
    other = PersonForm("Noor Vale", "07700 900321", "noor@example.org")
    asking = Asking(lines, tell=other)
    with lines.house.read() as unit:
        asking.person = visits.visit_people(unit, asking.done.visit_id)["tell"][0]
    asking.ask("access")
    asking.mails()
    assert lines.rows(asking.done.visit_id, "request_news") == []


def test_the_bell_rings_once_when_the_day_is_near_and_once_when_it_is_over(asking: Asking) -> None:
    house, made = asking.house, asking.ask("access")
    rung = []
    for _ in range(35):
        house.clock.advance(86400)
        rung.append(requests_due.ring_due(house.ctx, house.system()))
        house.deliver()
    assert sum(rung) == 2
    due = asking.row(made.id).due_on
    first, second = (n for n, count in enumerate(rung, 1) if count)
    assert (first, second) == ((due - timedelta(days=7) - asking.row(made.id).received_at.date()).days,
                               (due + timedelta(days=1) - asking.row(made.id).received_at.date()).days)  # fmt: skip
    told = [mail for mail in asking.mails() if "must be answered by" in mail or "is late" in mail]
    assert len(told) == 2
    sheet = view_day_sheet.view(house.ctx, house.actor())
    assert [(one.id, one.standing) for one in sheet.requests] == [(made.id, Standing.LATE)]


def test_a_name_is_corrected_with_the_request_and_the_words_stay_sealed(asking: Asking) -> None:
    house, made = asking.house, asking.ask("correction", note="my name is Inés Farrow")
    requests.finish(house.ctx, house.actor(), made.id, name="Inés Farrow", note="changed")
    with house.read() as unit:
        assert people.get_person(unit, asking.person).name == "Inés Farrow"
    assert asking.row(made.id).note.splitlines() == [
        "my name is Inés Farrow",
        f"made sure: {SURE}",
        "answered: changed",
    ]


def test_data_set_aside_are_kept_and_only_what_gives_the_device_back_is_sent_until_they_were_told(
    asking: Asking,
) -> None:
    """GDPR art. 18(2): with the exception of storage only with consent, or for somebody's rights; 18(3): "shall be
    informed by the controller before the restriction of processing is lifted"."""
    house, made = asking.house, asking.ask("restriction")
    requests.finish(house.ctx, house.actor(), made.id, note="set aside")
    (line,) = view_requests.view(house.ctx, house.actor()).in_force
    seen = view_ticket.view(house.ctx, house.actor(), asking.done.ticket_ids[0])
    assert line.id == made.id and [one.set_aside for one in seen.people] == [True]
    house.deliver(after=91)
    asking.give_back()
    assert {one: asking.became(one) for one in ("checked_in", "ready", "handed_back")} == {
        "checked_in": ("dropped", "set_aside"), "ready": ("dropped", "no_longer_on_shelf"),
        "handed_back": ("skipped", "set_aside"),
    }  # fmt: skip
    house.clock.advance(100 * 86400)
    with house.read() as unit:
        assert keeping.who_is_due(house.ctx, unit) == ((), ((asking.person, "set_aside"),))
    house.clock.advance(10 * 366 * 86400)  # longer than requests are kept as proof: this one still does something
    assert keep_proofs.forget_proofs(house.ctx, house.system())["request_record"] == 0
    assert granted.lift(house.ctx, house.actor(), made.id) is False  # they are told first
    with pytest.raises(Conflict, match="not left yet"):
        granted.lift(house.ctx, house.actor(), made.id)
    assert "use your data again" in asking.mails()[-1]
    assert granted.lift(house.ctx, house.actor(), made.id) is True
    with house.read() as unit:
        assert keeping.who_is_due(house.ctx, unit)[0] == (asking.person,)
    with pytest.raises(Conflict, match="No data are set aside"):
        granted.lift(house.ctx, house.actor(), made.id)
    assert keep_proofs.forget_proofs(house.ctx, house.system())["request_record"] == 0  # counted from its end
    house.clock.advance(10 * 366 * 86400)
    assert keep_proofs.forget_proofs(house.ctx, house.system())["request_record"] == 1


def test_what_is_ready_or_asked_for_reaches_whoever_had_their_data_set_aside(asking: Asking) -> None:
    house, made = asking.house, asking.ask("restriction")
    again, other = house.check_in(name="ines  farrow"), house.check_in(name="Noor Vale")  # one of them is somebody else
    requests.finish(house.ctx, house.actor(), made.id)

    def aside() -> list[bool]:
        with house.read() as unit:
            whose = [visits.visit_people(unit, one.visit_id)["bringer"][0] for one in (again, other)]
            return [people.recipients(unit, [who])[0].set_aside for who in whose]

    assert aside() == [True, False]
    shelve(house, asking.done.ticket_ids[0])
    house.deliver(after=91)
    assert asking.became("ready") == ("sent", "")
    told = asking.mails()
    assert any("write only what is needed to give your device back" in mail for mail in told)
    with pytest.raises(NotAllowed):  # whoever may not grant it ends none by saying that they took it back
        requests.withdraw(house.ctx, house.actor("counter"), made.id)
    requests.withdraw(house.ctx, house.actor(), made.id, person_id=asking.person)  # their own wish needs no word before
    assert asking.row(made.id).lifted_at == house.clock() and aside() == [False, False]


def test_whoever_wants_to_be_forgotten_too_is_asked_which_of_the_two_and_later_goes_all_the_same(
    asking: Asking,
) -> None:
    """GDPR art. 18(1)(b): somebody opposes the erasure and requests restriction instead; so not both at once."""
    asking.give_back()
    house, first, second = asking.house, asking.ask("erasure"), asking.ask("restriction")
    with pytest.raises(Conflict, match="also asked to be forgotten"):
        requests.finish(house.ctx, house.actor(), second.id)
    requests.withdraw(house.ctx, house.actor(), first.id)
    requests.finish(house.ctx, house.actor(), second.id)
    asking.ask("erasure")
    house.clock.advance(13 * 3600)
    assert asking.night() == 1 and asking.is_gone()


def test_an_objection_ends_what_rests_on_the_shops_interest_and_nothing_of_the_contract(lines: Lines) -> None:
    """GDPR art. 21(1): "shall no longer process"; 21(2) and (3): advertising ends whatever it rests on."""
    asking = Asking(lines, email_purposes=("repair", "pickup", "afterwards"), phone="")
    house, made = lines.house, asking.ask("objection", note="no reminders, please")
    again, other = house.check_in(email="Ines@example.org"), house.check_in(name="Noor Vale")
    requests.finish(house.ctx, house.actor(), made.id)
    whole = [view_consents.proof(house.ctx, house.actor(), one.numbers[0]).people[0] for one in (again, other)]
    assert [[said.how for said in one.said if not said.allowed] for one in whole] == [["objection"] * 2, []]
    seen = view_consents.proof(house.ctx, house.actor(), asking.done.numbers[0]).people[0]
    ended = [(one.channel, one.purpose, one.basis, one.how, one.evidence) for one in seen.said if not one.allowed]
    assert ended == [
        ("email", "reminder", "interest", "objection", "request"),
        ("email", "afterwards", "consent", "objection", "request"),
        ("sms", "reminder", "interest", "objection", "request"),
    ]
    assert seen.ways[0].allowed == ("repair", "pickup") and "reminder" in seen.ways[0].may_ask
    reach.set_contact(
        house.ctx, house.actor(), asking.done.visit_id, asking.person, channel="sms", address="07700 900555"
    )  # a way that they had not when they objected is none round it
    later = view_consents.proof(house.ctx, house.actor(), asking.done.numbers[0]).people[0]
    assert [one.allowed for one in later.ways] == [("repair", "pickup")] * 2
    shelve(house, asking.done.ticket_ids[0])
    house.deliver(after=91)
    house.clock.advance(15 * 86400)
    assert reminders.remind_collection(house.ctx, house.system()) == 1
    assert [asking.became(one) for one in ("ready", "collection_reminder")] == [("sent", ""), ("skipped", "objected")]
    reach.set_use(house.ctx, house.actor(), asking.done.visit_id, asking.person, channel="email",
                  purposes=("reminder",), allowed=True, how="counter")  # fmt: skip
    later = view_consents.proof(house.ctx, house.actor(), asking.done.numbers[0]).people[0]
    assert later.ways[0].allowed == ("repair", "pickup", "reminder")
