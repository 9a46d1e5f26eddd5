"""For whom the shop's own bell rings, by which way, and what becomes of a way that closes before it rang."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta

import pytest

from notify.core.events import Event
from notify.core.notices import NOTICES, SHOP_NOTICES
from notify.core.planner import Facts, Planned, Skipped, plan
from notify.core.rings import RINGS_BY, Colleague, Ring, rings
from notify.core.rules import RULES
from notify.core.rules import rings as may_ring
from notify.core.second_look import Drop, Now, Send, look
from notify.core.tickets import Phase

AT = datetime(2026, 11, 27, 9, 0, tzinfo=UTC)
BOTH = frozenset({"email", "sms"})


def test_the_whole_grid_of_choices_and_addresses_rings_for_the_person_else_for_the_shop() -> None:
    """Derived from the words of the issue: "to the right person (technician of the ticket, else the shop)"."""
    cells = wrong = 0
    powers = [frozenset(c) for n in range(3) for c in itertools.combinations(("email", "sms"), n)]
    for active, chosen, has, own, on in itertools.product((True, False), RINGS_BY, powers, powers, powers):
        wanted = {"": set(), "email": {"email"}, "sms": {"sms"}, "both": {"email", "sms"}}[chosen] & has & on
        got = rings([Colleague("ada", active, chosen, has)], own=own, channels_on=on)
        mine = {r.channel for r in got if r.staff_id == "ada"}
        shops = {r.channel for r in got if r.staff_id == ""}
        right = (mine, shops) == (wanted, set()) if active and wanted else (mine, shops) == (set(), set(own & on))
        cells, wrong = cells + 1, wrong + (not right)
    print(f"FIGURE rings cells={cells} wrong={wrong}")
    assert wrong == 0


def test_devices_of_several_technicians_in_one_visit_ring_for_the_shop() -> None:
    two = [Colleague(name, True, "email", BOTH) for name in ("ada", "ben")]
    assert rings(two, own={"email"}, channels_on=BOTH) == (Ring("email"),)
    assert rings(two[:1], own={"email"}, channels_on=BOTH) == (Ring("email", "ada"),)
    assert rings([], own={"email", "sms"}, channels_on=BOTH) == (Ring("email"), Ring("sms"))


def planned(kind: str, by: str, *ways: Ring) -> list[Planned | Skipped]:
    facts = Facts((), BOTH, timedelta(0), rings=ways)
    return [item for item in plan(Event("e1", kind, AT, "v1", "t1", by), facts, now=AT) if item.notice in SHOP_NOTICES]


@pytest.mark.parametrize("kind", ["pickup_booked", "pickup_moved", "pickup_cancelled"])
def test_a_pickup_rings_when_the_customer_did_it_and_not_when_the_shop_did(kind: str) -> None:
    assert [item.notice for item in planned(kind, "customer", Ring("email"))] == [
        "pickup_given_up_shop" if kind == "pickup_cancelled" else "pickup_booked_shop"
    ]
    for doer in ("staff", "system", "source"):
        assert planned(kind, doer, Ring("email")) == []


def test_each_way_gets_a_message_of_its_own_at_once_and_none_is_said_with_its_reason() -> None:
    mail, text = planned("question_answered", "customer", Ring("email", "ada"), Ring("sms", "ada"))
    assert isinstance(mail, Planned) and isinstance(text, Planned)
    assert (mail.channel, mail.contact_id, mail.person_id, mail.due_at) == ("email", "ada", "", AT)
    assert (text.channel, text.contact_id, text.person_id, text.due_at) == ("sms", "ada", "", AT)
    (none,) = planned("question_answered", "customer")
    assert isinstance(none, Skipped) and none.reason == "no_shop_channel"


def test_every_shop_notice_is_urgent_leaves_before_the_bell_and_is_caused_by_an_event_that_rings() -> None:
    assert all(NOTICES[name].urgent and not NOTICES[name].bell for name in SHOP_NOTICES)
    ringing = {kind for kind in RULES if may_ring(kind)}
    assert {name for kind in ringing for name in RULES[kind]} >= set(SHOP_NOTICES)
    assert not may_ring("shelved") and not may_ring("money_recorded")


def seen(channel: str, *ways: Ring, tried: frozenset[str] = frozenset(), notice: str = "answer_shop") -> object:
    now = Now(AT, (Phase.IN_LINE,), tried=tried, booking_state="booked", booking_revision=2, told_revision=1)
    facts = Facts((), BOTH, timedelta(0), rings=ways)
    return look(notice, channel=channel, expires_at=AT + timedelta(days=1), person=None, facts=facts, now=now)


def test_a_way_that_closed_before_it_rang_gives_way_to_the_shops_own_and_never_rings_twice() -> None:
    assert seen("sms", Ring("email", "ada"), Ring("sms", "ada")) == Send("sms", "ada")
    assert seen("sms", Ring("email")) == Send("email", "")  # Ada has left: the shop's mail
    assert seen("email", Ring("email"), tried=frozenset({"sms"})) == Send("email", "")
    assert seen("sms", Ring("email"), tried=frozenset({"email"})) == Drop("told_another_way")
    assert seen("email") == Drop("no_shop_channel")


def test_the_bell_says_no_pickup_that_was_changed_since() -> None:
    assert seen("email", Ring("email"), notice="pickup_booked_shop") == Drop("booking_changed")
