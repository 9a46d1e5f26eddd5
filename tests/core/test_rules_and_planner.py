"""Who is told what: the table of rules is whole, and the planner's every answer against a second derivation."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from notify.core.events import OTHER_EVENTS, Event
from notify.core.notices import CUSTOMER_NOTICES, NOTICES, SHOP_NOTICES, Notice
from notify.core.planner import Facts, Planned, Reach, Recipient, Skipped, best_reach, plan
from notify.core.rules import RULES, SILENT, notices_for
from notify.core.tickets import MOVE_EVENTS

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
BELL = timedelta(seconds=90)
# Who wrote, from where: an answer goes back to them, whatever they allowed and whoever else is told.
WROTE = {"person": "p9", "channel": "sms", "contact": "c9", "to": "sms:c9"}
ANSWERS = {"stop_confirmed", "start_confirmed", "help_answer"}
# Only the contacts that the event names in `to` read these (flows/contact_codes, flows/holds).
TO_NAMED = {"contact_code", "contact_changed_old", "link_replaced", "request_news", "forget_soon"}
BOTH = frozenset({"repair", "pickup", "afterwards"})
# The notices that the design and the issue ask for (issue point 7 and the glossary).
WANTED = {
    "checked_in", "question", "answer_shop", "part_ordered", "part_arrived", "part_arrived_shop", "promise_changed",
    "ready", "called_back", "pickup_confirmed", "pickup_moved", "pickup_cancelled", "pickup_reminder",
    "collection_reminder", "handed_back", "call_needed", "pickup_booked_shop", "pickup_given_up_shop",
    "stop_confirmed", "start_confirmed", "help_answer", "reply_shop", "all_well", "contact_code",
    "contact_changed_old", "link_replaced", "pickup_missed_note", "proposal_declined", "promise_threatened_shop",
    "part_late_shop", "request_news", "request_due_shop", "forget_soon", "hold_review_shop",
}  # fmt: skip
# "A visit marked *waits here* sends nothing in between" (design, section 2): these are what lies in between.
IN_BETWEEN = {"checked_in", "part_ordered", "part_arrived", "promise_changed", "handed_back"}


def facts(*reaches: Reach, **more: object) -> Facts:
    person = Recipient("p1", "en", reaches, bool(more.pop("forgotten", False)))
    base = {"tell": (person,), "channels_on": frozenset({"email", "sms"}), "bell": BELL}
    return Facts(**{**base, **more})  # type: ignore[arg-type]


def event(kind: str, *, ticket: str = "t1", by: str = "customer") -> Event:
    return Event("e1", kind, NOW, "v1", ticket, by, codes=WROTE)


def test_every_kind_of_event_tells_somebody_or_is_silent_for_a_reason_never_both() -> None:
    kinds = MOVE_EVENTS | set(OTHER_EVENTS)
    assert not set(RULES) & set(SILENT)
    assert set(RULES) | set(SILENT) == kinds
    assert all(SILENT.values()) and all(OTHER_EVENTS.values())
    assert not MOVE_EVENTS & set(OTHER_EVENTS)
    print(f"FIGURE rules events={len(kinds)} telling={len(RULES)} silent={len(SILENT)} unexplained=0")


def test_every_notice_is_caused_by_some_event_and_every_wanted_one_is_there() -> None:
    caused = {notice for notices in RULES.values() for notice in notices}
    assert caused == set(NOTICES) == WANTED
    assert set(CUSTOMER_NOTICES) | set(SHOP_NOTICES) == WANTED and not set(CUSTOMER_NOTICES) & set(SHOP_NOTICES)
    with pytest.raises(KeyError):
        notices_for("something_else")


def test_only_what_answers_the_customers_own_act_or_has_its_hour_leaves_before_the_bell() -> None:
    at_once = {"pickup_confirmed", "pickup_moved", "pickup_reminder", "pickup_missed_note", "collection_reminder",
               "all_well"} | ANSWERS | TO_NAMED  # fmt: skip
    assert {n for n in CUSTOMER_NOTICES if not NOTICES[n].bell} == at_once


def by_hand(notice: Notice, reach: Reach, *, with_us: bool, on: frozenset[str]) -> bool:
    """Whether this way may be used, from the words of the design."""
    allowed = ("pickup" if notice.purpose == "reminder" else notice.purpose) in reach.purposes
    in_our_hands = reach.in_repaired_device and with_us
    return allowed and reach.channel in on and not reach.undeliverable and not in_our_hands


SERVICE = frozenset({"repair", "pickup"})
PURPOSES: tuple[frozenset[str] | None, ...] = (None, frozenset(), frozenset({"repair"}), SERVICE, BOTH)
REACH_STATES = list(itertools.product(PURPOSES, (False, True), (False, True)))


def make(channel: str, state: tuple[frozenset[str] | None, bool, bool]) -> tuple[Reach, ...]:
    purposes, in_device, undeliverable = state
    return () if purposes is None else (Reach(f"c-{channel}", channel, purposes, in_device, undeliverable),)


def test_the_whole_grid_of_notices_and_ways_is_planned_as_the_design_says() -> None:
    cells = wrong = 0
    sets = [frozenset(), frozenset({"email"}), frozenset({"email", "sms"})]
    kinds = [(kind, name) for kind, names in RULES.items() for name in names
             if name in set(CUSTOMER_NOTICES) - ANSWERS - TO_NAMED]  # fmt: skip
    grid = itertools.product(kinds, REACH_STATES, REACH_STATES, sets, (False, True), (False, True))
    for (kind, name), mail, text, on, waits, with_us in grid:
        notice = NOTICES[name]
        ways = (*make("email", mail), *make("sms", text))
        got = plan(event(kind), facts(*ways, channels_on=on, waits_here=waits, device_with_us=with_us), now=NOW)
        mine = [item for item in got if item.notice == name]
        usable = {r.channel: r for r in ways if by_hand(notice, r, with_us=with_us, on=on)}
        first = next((usable[channel] for channel in notice.channels if channel in usable), None)
        if waits and name in IN_BETWEEN:
            right = isinstance(mine[0], Skipped) and mine[0].reason == "waits_here"
        elif first is not None:
            right = isinstance(mine[0], Planned) and (mine[0].channel, mine[0].contact_id) == (
                first.channel, first.contact_id
            )  # fmt: skip
        elif notice.call:
            right = isinstance(mine[0], Planned) and (mine[0].channel, mine[0].contact_id) == ("call", "")
        else:
            right = isinstance(mine[0], Skipped) and mine[0].reason != ""
        cells += 1
        wrong += not (right and len(mine) == 1)
    print(f"FIGURE planner cells={cells} wrong={wrong}")
    assert wrong == 0


@pytest.mark.parametrize("name", sorted(WANTED))
def test_due_and_end_follow_the_notice_and_a_nearer_end_wins(name: str) -> None:
    notice = NOTICES[name]
    kind = next(kind for kind, names in RULES.items() if name in names)
    way = Reach("c1", "email", BOTH)
    (got,) = [i for i in plan(event(kind), facts(way), now=NOW) if i.notice == name]
    assert isinstance(got, Planned)
    assert got.due_at == (NOW + BELL if notice.bell else NOW)
    assert got.expires_at == got.due_at + notice.life
    if notice.audience == "customer":
        soon = NOW + timedelta(minutes=3)
        (short,) = [i for i in plan(event(kind), facts(way, expires={name: soon}), now=NOW) if i.notice == name]
        assert isinstance(short, Planned) and short.expires_at == soon


def test_a_visits_notice_is_about_the_visit_and_a_tickets_about_the_ticket() -> None:
    for kind, names in RULES.items():
        for item in plan(event(kind), facts(Reach("c1", "email", BOTH)), now=NOW):
            assert item.about == ("visit:v1" if NOTICES[item.notice].about == "visit" else "ticket:t1")
            assert item.cause == "e1" and item.notice in names


def test_an_answer_goes_to_whoever_wrote_by_the_channel_they_wrote_on_without_any_consent() -> None:
    kinds = {name: kind for kind, names in RULES.items() for name in names if name in ANSWERS}
    assert set(kinds) == ANSWERS and {NOTICES[name].purpose for name in ANSWERS} == {"answer"}
    for name, kind in kinds.items():
        (got,) = plan(event(kind), facts(Reach("c1", "email", frozenset())), now=NOW)
        assert isinstance(got, Planned) and (got.notice, got.person_id) == (name, "p9")
        assert (got.channel, got.contact_id, got.due_at) == ("sms", "c9", NOW)
        (off,) = plan(event(kind), facts(channels_on=frozenset({"email"})), now=NOW)
        assert isinstance(off, Skipped) and off.reason == "channel_off"
    # 47 CFR 64.1200(a)(12): a confirmation within five minutes.
    assert NOTICES["stop_confirmed"].life == timedelta(minutes=5)
    assert all(NOTICES[name].urgent for name in ANSWERS)  # it answers the person's own message (vector c-06)


def test_a_code_or_a_warning_goes_to_the_contacts_that_are_named_and_to_nobody_else() -> None:
    kinds = {name: kind for kind, names in RULES.items() for name in names if name in TO_NAMED}
    assert set(kinds) == TO_NAMED and {NOTICES[name].purpose for name in TO_NAMED} == {"code", "privacy", "warning"}
    told = facts(Reach("c1", "email", BOTH), waits_here=True)
    for name, kind in kinds.items():
        both = Event("e1", kind, NOW, "v1", "t1", "staff", codes={"person": "p9", "to": "sms:c9,email:c8"})
        got = plan(both, told, now=NOW)
        assert [(i.notice, i.person_id, i.channel, i.contact_id, i.due_at) for i in got if isinstance(i, Planned)] == [
            (name, "p9", "sms", "c9", NOW), (name, "p9", "email", "c8", NOW)
        ]  # fmt: skip
        assert plan(Event("e1", kind, NOW, "v1", codes={"channel": "sms"}), told, now=NOW) == ()
        (off,) = plan(both, facts(channels_on=frozenset()), now=NOW)
        assert isinstance(off, Skipped) and off.reason == "channel_off"
    assert all(NOTICES[name].urgent and not NOTICES[name].call for name in TO_NAMED)


def test_each_person_to_tell_gets_their_own_and_a_forgotten_one_none() -> None:
    two = (Recipient("p1", "en", (Reach("c1", "email", BOTH),)), Recipient("p2", "de", (), forgotten=True))
    got = plan(event("shelved"), facts(tell=two), now=NOW)
    assert [(i.person_id, type(i).__name__) for i in got] == [("p1", "Planned"), ("p2", "Skipped")]
    assert isinstance(got[1], Skipped) and got[1].reason == "forgotten"


def test_the_shop_is_told_at_once_and_without_mail_the_skip_says_so() -> None:
    (got,) = plan(event("question_answered"), facts(), now=NOW)
    assert isinstance(got, Planned) and (got.person_id, got.channel, got.due_at) == ("", "email", NOW)
    (none,) = plan(event("question_answered"), facts(channels_on=frozenset({"sms"})), now=NOW)
    assert isinstance(none, Skipped) and none.reason == "no_shop_channel"


def test_a_second_number_is_used_when_the_first_lies_in_the_repaired_device() -> None:
    ways = (Reach("c1", "sms", BOTH, in_repaired_device=True), Reach("c2", "sms", BOTH))
    person = Recipient("p1", "en", ways)
    found = best_reach(NOTICES["ready"], person, facts(*ways))
    assert found is not None and found.contact_id == "c2"
    home = best_reach(NOTICES["ready"], person, facts(*ways, device_with_us=False))
    assert home is not None and home.contact_id == "c1"


def test_an_event_that_names_one_person_is_told_to_nobody_else_of_the_visit() -> None:
    """RFC 5546 3.2.8 and 6.1.6: a DECLINECOUNTER or an invite asked for goes to whoever asked."""
    both = tuple(Recipient(f"p{n}", "en", (Reach(f"c{n}", "email", BOTH),)) for n in (1, 2))
    two = replace(facts(Reach("c1", "email", BOTH)), tell=both)
    for kind in ("proposal_refused", "invite_asked_again"):
        for only, told in (("p2", ["p2"]), ("", ["p1", "p2"]), ("p9", [])):
            event = Event("e1", kind, NOW, "v1", codes={"only": only} if only else {})
            assert [one.person_id for one in plan(event, two, now=NOW)] == told
