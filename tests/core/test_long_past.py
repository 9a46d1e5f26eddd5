"""What is told of something entered long after it happened: a table against a second one written by hand.

Common practice, no source: that old news is no news is told nowhere as a figure. The second table says for each notice,
in other words than the first one, what its reader could still do with it.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from notify.core.events import Event
from notify.core.long_past import HOLDS, TYPING, OfMoment, OfState
from notify.core.notices import CUSTOMER_NOTICES, NOTICES, SAID
from notify.core.planner import Facts, Planned, Reach, Recipient, Skipped, plan
from notify.core.rules import RULES

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
SEVEN = timedelta(hours=7)
# What a reader of seven-hour-old news can still do. Whatever is not here: nothing.
STILL_OF_USE = {
    "ready": "come and collect", "question": "answer", "called_back": "stay at home", "promise_changed": "wait longer",
    "pickup_moved": "come at the other time", "pickup_cancelled": "stay at home", "pickup_confirmed": "come",
    "proposal_declined": "come at the time that stands",
}  # fmt: skip
WROTE = {"person": "p9", "channel": "sms", "contact": "c9", "to": "sms:c9"}


def _facts(**more: object) -> Facts:
    reach = Reach("c1", "email", frozenset({"repair", "pickup", "afterwards"}))
    base = {"tell": (Recipient("p1", "en", (reach,)),), "channels_on": frozenset({"email", "sms"}),
            "bell": timedelta(seconds=90)}  # fmt: skip
    return Facts(**{**base, **more})  # type: ignore[arg-type]


def _planned(kind: str, ago: timedelta, **more: object) -> dict[str, Planned | Skipped]:
    event = Event("e1", kind, NOW - ago, "v1", "t1", "customer", codes=WROTE)
    return {one.notice: one for one in plan(event, _facts(**more), now=NOW)}


def test_every_notice_to_customers_stands_in_the_table_once_with_a_reason() -> None:
    assert set(HOLDS) == {name for name in CUSTOMER_NOTICES if NOTICES[name].purpose in SAID}
    assert {name for name, held in HOLDS.items() if isinstance(held, OfState)} == set(STILL_OF_USE)
    assert all(held.why for held in HOLDS.values())


def test_after_seven_hours_customers_are_told_only_what_they_can_still_use_and_the_shop_is_told_all() -> None:
    told = left_out = 0
    for kind in RULES:
        for name, one in _planned(kind, SEVEN).items():
            notice = NOTICES[name]
            if notice.audience == "customer" and notice.purpose not in SAID:
                continue  # they answer what was written this moment, never something typed from paper
            wanted = notice.audience == "shop" or name in STILL_OF_USE
            assert isinstance(one, Planned) == wanted, name
            assert wanted or one.reason == "long_past", name  # type: ignore[union-attr]
            told, left_out = told + wanted, left_out + (not wanted)
    print(f"FIGURE long_past told={told} left_out={left_out} wrong=0")
    assert told and left_out


@pytest.mark.parametrize(("minutes", "told"), [(0, True), (6 * 60, True), (6 * 60 + 1, False)])
def test_the_shop_says_after_how_many_hours_a_moment_is_over(minutes: int, told: bool) -> None:
    assert isinstance(_planned("part_ordered", timedelta(minutes=minutes))["part_ordered"], Planned) == told
    day = _planned("part_ordered", timedelta(minutes=minutes), long_past=timedelta(days=1))
    assert isinstance(day["part_ordered"], Planned)


def test_that_nobody_came_is_told_only_while_somebody_was_there_to_see_it() -> None:
    assert isinstance(_planned("pickup_missed", timedelta(minutes=59))["pickup_missed_note"], Planned)
    assert isinstance(_planned("pickup_missed", timedelta(minutes=61))["pickup_missed_note"], Skipped)
    held = HOLDS["pickup_missed_note"]
    assert isinstance(held, OfMoment) and held.most == timedelta(hours=1)


def test_what_is_typed_from_paper_waits_until_the_lines_below_it_are_typed_too() -> None:
    late, fresh = _planned("shelved", SEVEN)["ready"], _planned("shelved", timedelta(0))["ready"]
    assert isinstance(late, Planned) and isinstance(fresh, Planned)
    assert late.due_at == NOW + TYPING and fresh.due_at == NOW + timedelta(seconds=90)
    assert late.expires_at > late.due_at
