"""The second look: what is no longer true or wanted never leaves, held against a second derivation."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from notify.core.messages import ENDED, MOVES, MessageState, may_move
from notify.core.notices import CUSTOMER_NOTICES, NOTICES, TO_NAMED
from notify.core.planner import Facts, Reach, Recipient
from notify.core.second_look import Drop, Now, Send, Wait, look
from notify.core.tickets import Phase

AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
LATER = AT + timedelta(days=1)
BOTH = frozenset({"repair", "pickup", "afterwards"})
WORK = {"taken_in", "inspecting", "in_line", "on_bench", "proving"}


def seen(notice: str, *, person: Recipient | None, channel: str = "email", **more: Any) -> Drop | Wait | Send:
    on = more.pop("on", frozenset({"email", "sms"}))
    expires = more.pop("expires", LATER)
    facts = Facts((person,) if person else (), on, timedelta(0))
    base: dict[str, object] = {
        "at": AT, "phases": (), "question_state": "open", "booking_state": "booked", "booking_revision": 2,
        "told_revision": 2,
    }  # fmt: skip
    if NOTICES[notice].purpose in TO_NAMED and person is not None:
        base["named"] = person.reaches[0]
    now = Now(**{**base, **more})
    return look(notice, channel=channel, expires_at=expires, person=person, facts=facts, now=now)


def somebody(*reaches: Reach, forgotten: bool = False) -> Recipient:
    return Recipient("p1", "en", reaches or (Reach("c1", "email", BOTH), Reach("c2", "sms", BOTH)), forgotten)


def still_true(notice: str, phases: set[str], question: str, booking: str, same_revision: bool) -> bool:
    """Whether the words of a notice still hold, from their meaning: typed here without looking at the rule."""
    here = bool(phases & (WORK | {"on_shelf"}))
    if notice in ("ready", "collection_reminder"):
        return "on_shelf" in phases
    if notice == "checked_in":
        return here
    if notice == "question":
        return here and question == "open"
    if notice == "called_back":
        return here and "on_shelf" not in phases
    if notice in ("part_ordered", "part_arrived", "promise_changed"):
        return bool(phases & WORK)
    if notice == "handed_back":
        return "handed_back" in phases
    if notice == "all_well":
        return "handed_back" in phases and not here
    if notice == "forget_soon":  # while a device is here nobody is forgotten
        return not here
    if notice == "pickup_missed_note":  # somebody came for a part of it: they know
        return "on_shelf" in phases and "handed_back" not in phases
    if notice in ("pickup_confirmed", "pickup_moved", "pickup_reminder", "proposal_declined"):
        return booking == "booked" and same_revision
    if notice == "pickup_cancelled":
        return booking != "booked"
    return True


def test_the_whole_grid_of_notices_and_facts_sends_only_what_is_true() -> None:
    cells = stale = silenced = 0
    phases = [p.value for p in Phase]
    pairs = [(a,) for a in phases] + list(itertools.combinations(phases, 2))
    questions = ("open", "answered", "taken_back", "withdrawn", "expired")
    bookings = ("booked", "cancelled", "missed", "kept")
    for name, pair, question, booking, same in itertools.product(
        CUSTOMER_NOTICES, pairs, questions, bookings, (True, False)
    ):
        got = seen(
            name, person=somebody(), phases=tuple(Phase(p) for p in pair), question_state=question,
            booking_state=booking, told_revision=2 if same else 1,
        )  # fmt: skip
        true = still_true(name, set(pair), question, booking, same)
        cells += 1
        stale += isinstance(got, Send) and not true
        silenced += isinstance(got, Drop) and true
    print(f"FIGURE second_look cells={cells} stale_sent={stale} true_dropped={silenced}")
    assert stale == silenced == 0


@pytest.mark.parametrize("name", CUSTOMER_NOTICES)
def test_nothing_is_sent_after_its_end_or_to_somebody_forgotten(name: str) -> None:
    true: dict[str, Any] = {"phases": (Phase.ON_SHELF, Phase.ON_BENCH, Phase.HANDED_BACK)}
    if name in ("all_well", "forget_soon"):
        true = {"phases": (Phase.HANDED_BACK,)}
    if name == "pickup_missed_note":
        true = {"phases": (Phase.ON_SHELF,)}
    assert seen(name, person=somebody(), expires=AT, **true) == Drop("expired")
    if name not in ("called_back", "pickup_cancelled"):
        assert seen(name, person=somebody(forgotten=True), **true) == Drop("forgotten")


def test_quiet_hours_hold_customers_mail_but_not_calls_or_the_shops_own() -> None:
    night: dict[str, Any] = {"phases": (Phase.ON_SHELF,), "quiet_until": AT + timedelta(hours=8)}
    assert seen("ready", person=somebody(), **night) == Wait(AT + timedelta(hours=8), "quiet_hours")
    assert seen("ready", person=somebody(), channel="call", **night) == Send("call", "")
    assert seen("answer_shop", person=None, **night) == Send("email", "")
    assert isinstance(seen("ready", person=somebody(), phases=(Phase.ON_SHELF,), quiet_until=AT), Send)


def test_the_way_is_chosen_anew_by_todays_consent_and_contacts() -> None:
    shelf: dict[str, Any] = {"phases": (Phase.ON_SHELF,)}
    assert seen("ready", person=somebody(), channel="email", **shelf) == Send("email", "c1")  # as it was planned
    assert seen("ready", person=somebody(), channel="sms", **shelf) == Send("sms", "c2")
    stopped = somebody(Reach("c1", "email", frozenset()), Reach("c2", "sms", BOTH))
    assert seen("ready", person=stopped, channel="email", **shelf) == Send("sms", "c2")
    nothing = somebody(Reach("c1", "email", frozenset({"pickup"})))
    assert seen("ready", person=nothing, **shelf) == Send("call", "")
    assert seen("collection_reminder", person=somebody(Reach("c1", "email", frozenset())), **shelf) == Drop(
        "not_allowed"
    )
    assert seen("ready", person=somebody(), on=frozenset({"sms"}), **shelf) == Send("sms", "c2")


def test_a_code_leaves_only_to_its_contact_while_it_opens_something() -> None:
    mine = Reach("c2", "sms", BOTH)
    assert seen("contact_code", person=somebody(), named=mine) == Send("sms", "c2")
    assert seen("contact_code", person=somebody(), named=mine, channel="email") == Send("sms", "c2")
    assert seen("contact_code", person=somebody(), named=mine, code_open=False) == Drop("code_over")
    assert seen("contact_code", person=somebody(), named=None) == Drop("contact_replaced")
    stopped = Reach("c2", "sms", frozenset({"afterwards"}))
    assert seen("contact_code", person=somebody(), named=stopped) == Drop("not_allowed")
    assert seen("contact_code", person=somebody(), named=Reach("c2", "sms", BOTH, undeliverable=True)) == Drop(
        "undeliverable"
    )
    # Nothing is allowed at the old contact any more, and it is told all the same (flows/holds decides whether).
    assert seen("contact_changed_old", person=somebody(), named=stopped) == Send("sms", "c2")
    with_us = Reach("c2", "sms", BOTH, in_repaired_device=True)
    assert seen("contact_changed_old", person=somebody(), named=with_us) == Drop("number_in_device")


def test_a_way_that_already_carries_the_same_words_is_not_taken_twice() -> None:
    shelf: dict[str, Any] = {"phases": (Phase.ON_SHELF,)}
    only_text = somebody(Reach("c2", "sms", BOTH))
    assert seen("ready", person=only_text, channel="email", tried=frozenset({"sms"}), **shelf) == Send("call", "")
    both = frozenset({"sms", "call"})
    assert seen("ready", person=only_text, channel="email", tried=both, **shelf) == Drop("told_another_way")


def test_messages_move_only_along_their_table_and_ended_ones_only_when_they_come_back() -> None:
    wanted = {
        ("waiting", "waiting"), ("waiting", "sent"), ("waiting", "to_call"), ("waiting", "dropped"),
        ("waiting", "given_up"), ("to_call", "called"), ("to_call", "dropped"), ("to_call", "to_call"),
        ("to_call", "waiting"),  # another call is to tell it as well
        ("sent", "given_up"),  # it came back: RFC 3464
    }  # fmt: skip
    grid = itertools.product(MessageState, MessageState)
    assert {(a.value, b.value) for a, b in grid if may_move(a, b)} == wanted
    assert {s.value for s in ENDED} == {"sent", "called", "dropped", "skipped", "given_up"}
    assert set(MOVES) == set(MessageState) - ENDED | {MessageState.SENT}
