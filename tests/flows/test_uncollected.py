"""Devices that nobody collects, on real rows: when a period begins, what was really told, what may be done.

Dates are worked out by hand; the rule of counting stands with tests/core/test_uncollected.py. No law's figure is
checked here: the rule is invented.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.core.uncollected import Stage
from notify.core.uncollected_rules import EXAMPLES
from notify.flows import handover, moves, reminders, set_up, uncollected, view_uncollected
from notify.flows.check_in_form import DeviceForm
from notify.flows.forget import forget
from notify.flows.uncollected import RuleForm
from notify.flows.view_ticket import view as view_ticket
from notify.store import events, tickets
from tests.flows.conftest import REFUSED, Lines
from tests.parts.left import leave, note_all
from tests.parts.shelved import shelve, token_of

ALL_DAY = "mon-sun 00:00-24:00"
QUAY = RuleForm(
    "Quay law", 14, 28, "in writing", "Quay Act s. 1", date(2026, 11, 20), verified=True, active=True
)  # invented


def on_shelf(house: Any, **device: Any) -> str:
    done = house.check_in(DeviceForm("Kestrel", **device))
    shelve(house, done.ticket_ids[0])
    return str(done.ticket_ids[0])


def one(house: Any, ticket_id: str) -> Any:
    return view_uncollected.view_one(house.ctx, house.actor(), ticket_id)[0]


def days(house: Any, number: float) -> None:
    """Lets days go by as `serve` does: reminders leave at their time."""
    for _ in range(int(number * 4)):
        house.clock.advance(6 * 3600)
        reminders.remind_collection(house.ctx, house.system())
        house.deliver()


@pytest.mark.long
def test_a_device_goes_from_the_word_that_left_to_the_day_on_which_a_person_may_decide(house: Any) -> None:
    uncollected.set_rule(house.ctx, house.actor(), "quay", QUAY)
    ticket = on_shelf(house, price_agreed="24")  # Wednesday, 25 November
    assert one(house, ticket).standing.stage is Stage.NOT_TOLD
    house.deliver(after=91)
    found = one(house, ticket)
    assert (found.told_on, found.told_by) == (date(2026, 11, 25), "sms")
    assert (found.standing.stage, found.standing.notice_from) == (Stage.WAITS, date(2026, 12, 10))
    house.clock.set(datetime(2026, 12, 9, 23, 59, tzinfo=UTC))
    assert one(house, ticket).standing.stage is Stage.WAITS
    house.clock.set(datetime(2026, 12, 10, 9, tzinfo=UTC))
    assert one(house, ticket).standing.stage is Stage.NOTICE_DUE
    uncollected.log_step(house.ctx, house.actor(), ticket, "notice_given", how="registered_post")
    found = one(house, ticket)
    assert (found.standing.stage, found.standing.decide_from) == (Stage.NOTICE_GIVEN, date(2027, 1, 8))
    house.clock.set(datetime(2027, 1, 8, 9, tzinfo=UTC))
    assert one(house, ticket).standing.stage is Stage.MAY_DECIDE
    with pytest.raises(NotAllowed, match="wiped") as refused:
        moves.move(house.ctx, house.actor(), ticket, "left_behind", reason="local_steps_done")
    assert "no verified rule" not in str(refused.value)
    for step in ("wiped", "cautions_read", "money_noted"):
        uncollected.log_step(house.ctx, house.actor(), ticket, step)
    assert moves.move(house.ctx, house.actor(), ticket, "left_behind", reason="local_steps_done").kind == "left_behind"


def test_days_are_those_of_the_shops_own_calendar(house: Any) -> None:
    set_up.change_settings(
        house.ctx, house.actor(), {"zone": "Pacific/Auckland", "telling_hours": "mon-sun 00:00-24:00"}
    )
    uncollected.set_rule(house.ctx, house.actor(), "quay", QUAY)
    house.clock.set(datetime(2026, 11, 25, 12, 30, tzinfo=UTC))  # 01:30 on the 26th there, UTC+13 in summer
    ticket = on_shelf(house)
    house.deliver(after=91)
    assert (one(house, ticket).ready_on, one(house, ticket).told_on) == (date(2026, 11, 26), date(2026, 11, 26))


def test_no_period_begins_while_every_message_came_back_or_was_refused(lines: Lines) -> None:
    house = lines.house
    uncollected.set_rule(house.ctx, house.actor(), "quay", QUAY)
    lines.mail_line.answer = lines.text_line.answer = REFUSED
    ticket = on_shelf(house)
    house.deliver(after=91)
    house.clock.advance(40 * 86400)
    found = one(house, ticket)
    assert (found.standing.stage, found.told_on, found.days) == (Stage.NOT_TOLD, None, 40)
    with pytest.raises(NotAllowed, match="no verified rule"):
        leave_by_rule(house, ticket)


def leave_by_rule(house: Any, ticket: str) -> Any:
    note_all(house.ctx, house.actor(), ticket)
    return moves.move(house.ctx, house.actor(), ticket, "left_behind", reason="local_steps_done")


def test_what_was_told_before_it_was_called_back_does_not_count(house: Any) -> None:
    ticket = on_shelf(house)
    house.deliver(after=91)
    uncollected.log_step(house.ctx, house.actor(), ticket, "wiped")
    moves.move(house.ctx, house.actor(), ticket, "in_line", reason="fault_seen_again")
    house.clock.advance(5 * 86400)
    shelve(house, ticket)
    found = one(house, ticket)
    assert (found.told_on, found.noted, found.days) == (None, (), 0)
    house.deliver(after=91)
    assert one(house, ticket).told_on == date(2026, 11, 30)


@pytest.mark.parametrize("missing", ["notice_given", "no_data", "cautions_read", "money_noted"])
def test_each_step_that_is_missing_keeps_a_device_from_being_closed(house: Any, missing: str) -> None:
    ticket = on_shelf(house)
    note_all(house.ctx, house.actor(), ticket, but=missing)
    with pytest.raises(NotAllowed):
        moves.move(house.ctx, house.actor(), ticket, "left_behind", reason="other", note="They moved.", anyway=True)
    with house.read() as unit:
        assert tickets.get_ticket(unit, ticket).phase == "on_shelf"


def test_an_own_reason_needs_its_words_and_a_second_confirmation_and_is_kept_with_the_ticket(house: Any) -> None:
    ticket = on_shelf(house)
    note_all(house.ctx, house.actor(), ticket)
    for note, sure in (("", False), ("They moved away.", False), ("", True)):
        with pytest.raises(NotAllowed, match="no verified rule"):
            moves.move(house.ctx, house.actor(), ticket, "left_behind", reason="other", note=note, anyway=sure)
    moves.move(house.ctx, house.actor(), ticket, "left_behind", reason="other", note="They moved away.", anyway=True)
    seen = view_ticket(house.ctx, house.actor(), ticket)
    assert seen.notes[-1].text == "They moved away."
    last = next(line for line in reversed(seen.story) if line.kind == "left_behind")
    assert last.codes["anyway"] == 1 and last.codes["reason"] == "other"


def test_only_an_owner_closes_one_and_nobody_else_notes_a_rule(house: Any) -> None:
    ticket = on_shelf(house)
    note_all(house.ctx, house.actor(), ticket)
    for role in ("counter", "technician"):
        actor = Actor(house.shop_id, "staff", "s", role)
        with pytest.raises(NotAllowed):
            moves.move(house.ctx, actor, ticket, "left_behind", reason="other", note="x y", anyway=True)
        with pytest.raises(NotAllowed):
            uncollected.set_rule(house.ctx, actor, "quay", QUAY)


def test_a_rule_that_nobody_verified_is_never_switched_on_and_only_one_counts_at_a_time(house: Any) -> None:
    ctx, owner = house.ctx, house.actor()
    assert {r.code for r in view_uncollected.rules(ctx, owner)} == {r.code for r in EXAMPLES}
    assert not any(r.verified or r.active for r in view_uncollected.rules(ctx, owner))
    with pytest.raises(NotAllowed, match="not verified"):
        uncollected.set_rule(ctx, owner, "germany", RuleForm(active=True))
    with pytest.raises(Invalid, match="day on which"):
        uncollected.set_rule(ctx, owner, "germany", RuleForm(verified=True, active=True))
    uncollected.set_rule(ctx, owner, "germany", RuleForm(checked_on=date(2026, 11, 20), verified=True, active=True))
    uncollected.set_rule(ctx, owner, "quay", QUAY)
    assert [r.code for r in view_uncollected.rules(ctx, owner) if r.active] == ["quay"]
    assert view_uncollected.view(ctx, owner).rule.code == "quay"  # type: ignore[union-attr]


def test_a_rule_that_is_changed_counts_no_more_until_somebody_verifies_it_again(house: Any) -> None:
    ctx, owner = house.ctx, house.actor()
    uncollected.set_rule(ctx, owner, "quay", QUAY)
    made = uncollected.set_rule(ctx, owner, "quay", RuleForm(wait_days=7))
    assert (made.verified, made.active, made.wait_days) == (False, False, 7)
    assert view_uncollected.view(ctx, owner).rule is None
    for code in ("", "Quay", "x" * 41, "a b"):
        with pytest.raises(Invalid):
            uncollected.set_rule(ctx, owner, code, QUAY)


def test_a_step_is_an_event_of_codes_only_and_only_for_what_is_on_the_shelf(house: Any) -> None:
    ticket = on_shelf(house)
    uncollected.log_step(house.ctx, house.actor(), ticket, "notice_given", how="by_hand", on=date(2026, 11, 25))
    with house.read() as unit:
        job = tickets.get_ticket(unit, ticket)
        (event,) = [e for e in events.story_of(unit, visit_id=job.visit_id) if e.kind == "uncollected_step"]
    assert dict(event.codes) == {"step": "notice_given", "how": "by_hand", "on": "2026-11-25"}
    token = token_of(house, ticket)
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket], token=token)
    for call in (lambda: uncollected.log_step(house.ctx, house.actor(), ticket, "wiped"), lambda: one(house, ticket)):
        with pytest.raises(Conflict):
            call()


@pytest.mark.long
def test_the_list_holds_whoever_every_reminder_was_tried_on_and_what_can_be_done_first(house: Any) -> None:
    old, odd, fresh = on_shelf(house), on_shelf(house), on_shelf(house)
    uncollected.log_step(house.ctx, house.actor(), odd, "no_data")
    days(house, 24)
    again = on_shelf(house)
    seen = view_uncollected.view(house.ctx, house.actor())
    assert {o.ticket.ticket_id for o in seen.overdue} == {old, odd, fresh} and seen.hidden == 1
    assert {o.reminders for o in seen.overdue} == {3}
    whole = view_uncollected.view(house.ctx, house.actor(), everything=True)
    assert again in {o.ticket.ticket_id for o in whole.overdue} and whole.hidden == 0
    assert whole.overdue[0].ticket.ticket_id == again  # nobody was told yet: that can be done now
    assert [o.days for o in whole.overdue[1:]] == sorted((o.days for o in whole.overdue[1:]), reverse=True)


@pytest.mark.long
def test_nobody_is_forgotten_whose_device_stands_here_for_years_or_was_left_behind(house: Any) -> None:
    stands, left = on_shelf(house), on_shelf(house)
    leave(house.ctx, house.actor(), left)
    house.clock.advance(3 * 366 * 86400)
    forget(house.ctx, house.system())
    seen = view_uncollected.view(house.ctx, house.actor())
    assert [o.ticket.person for o in seen.overdue] == ["Ines Farrow"] and seen.overdue[0].ticket.ticket_id == stands
    (kept,) = seen.kept
    assert kept.ticket.person == "Ines Farrow" and kept.since == date(2026, 11, 25)
    # 25 November 2026 and every 365 days: 2027-11-25, 2028-11-24, 2029-11-24, 2030-11-24; today is 28 November 2029.
    assert seen.today == date(2029, 11, 27) or seen.today == date(2029, 11, 28)
    assert kept.review_on == seen.overdue[0].review_on == date(2030, 11, 24)


def test_the_draft_names_the_last_day_of_the_period_and_leaves_it_blank_without_a_rule(house: Any) -> None:
    ticket = on_shelf(house, price_agreed="24", deposit="4")
    house.deliver(after=91)
    house.clock.advance(30 * 86400)  # 25 December
    blank = view_uncollected.notice(house.ctx, house.actor(), ticket)
    assert blank.collect_by is None and blank.rule_form == ""
    uncollected.set_rule(house.ctx, house.actor(), "quay", QUAY)
    draft = view_uncollected.notice(house.ctx, house.actor(), ticket)
    assert draft.collect_by == date(2026, 12, 25) + timedelta(days=28) and draft.owed == "£20.00"
    assert (draft.handed_in, draft.ready_on, draft.person) == (date(2026, 11, 25), date(2026, 11, 25), "Ines Farrow")
