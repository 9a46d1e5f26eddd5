"""What the owner sees of the messages: failures first, what waits longest and why, marks, filters; and the alarm."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import event, update

from notify.channels.base import Receipt, Verdict
from notify.core.errors import Invalid, NotFound
from notify.core.message_groups import GROUPS, late_since
from notify.core.messages import MessageState
from notify.flows import moves, set_up
from notify.flows.view_message_list import Filter, MessageList, view
from notify.store import schema as s
from tests.flows.conftest import DOWN, REFUSED, Lines


def look(lines: Lines, **only: str) -> MessageList:
    return view(lines.house.ctx, lines.house.actor(), only=Filter(**only))


def day(lines: Lines) -> dict[str, Any]:
    """Somebody told, somebody whose mail was refused, somebody to call, somebody whose mail waits."""
    house = lines.house
    told = house.check_in(phone="")
    house.deliver(after=91)
    lines.mail_line.answer = REFUSED
    refused = house.check_in(phone="", email="gone@example.org", name="Sam Ferris")
    house.deliver(after=91)
    lines.mail_line.answer = None
    called = house.check_in(phone="", email="", name="Noor Vale")
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), called.ticket_ids[0], phase)
    house.deliver(after=91)
    lines.mail_line.answer = DOWN
    waits = house.check_in(phone="", email="slow@example.org", name="Jo Penn")
    house.deliver(after=91)
    return {"told": told, "refused": refused, "called": called, "waits": waits}


def test_every_state_stands_in_exactly_one_group() -> None:
    listed = [state for states in GROUPS.values() for state in states]
    assert sorted(listed) == sorted(MessageState)


def test_the_failed_stand_first_and_nowhere_else_and_old_failures_fall_into_the_list(lines: Lines) -> None:
    day(lines)
    seen = look(lines)
    assert [(m.notice, m.state) for m in seen.failed] == [("ready", "to_call"), ("checked_in", "given_up")]
    assert {m.id for m in seen.failed}.isdisjoint(m.id for m in seen.lines)
    assert {"sent", "waiting", "skipped"} <= {m.state for m in seen.lines}
    assert view(lines.house.ctx, lines.house.actor(), page=2).failed == ()
    lines.house.clock.advance(timedelta(days=15).total_seconds())
    later = look(lines)
    assert [m.state for m in later.failed] == ["to_call"] and "given_up" in {m.state for m in later.lines}


def test_what_was_refused_but_told_by_the_next_way_needs_nobody_and_stands_among_the_others(lines: Lines) -> None:
    lines.mail_line.answer = REFUSED
    done = lines.house.check_in()  # a mobile as well, which is the next way
    lines.house.deliver(after=91)
    lines.house.deliver(after=91)
    assert {(m.channel, m.state) for m in lines.rows(done.visit_id, "checked_in")} == {
        ("email", "given_up"), ("sms", "sent")}  # fmt: skip
    seen = look(lines)
    assert [m.notice for m in seen.failed] == [] and "given_up" in {m.state for m in seen.lines}
    assert [m.state for m in look(lines, group="failed").lines] == ["given_up"]


def test_each_filter_shows_what_it_says_and_together_they_narrow(lines: Lines) -> None:
    made = day(lines)
    whole = {m.id: m for seen in (look(lines),) for m in (*seen.failed, *seen.lines)}
    for group, states in GROUPS.items():
        assert {m.id for m in look(lines, group=group).lines} == {i for i, m in whole.items() if m.state in states}
    for channel in ("email", "call"):
        assert {m.id for m in look(lines, channel=channel).lines} == {
            i for i, m in whole.items() if m.channel == channel}  # fmt: skip
    assert {m.notice for m in look(lines, notice="ready").lines} == {"ready"}
    number = next(m.number for m in whole.values() if m.ticket_id == made["refused"].ticket_ids[0])
    typed = number.lower().replace("-", " ")
    assert {m.number for m in look(lines, number=typed).lines} == {number}
    assert look(lines, number=number, group="told").lines == ()
    for wrong in ({"group": "lost"}, {"notice": "ready_soon"}, {"channel": "pigeon"}, {"number": "XXX"}):
        with pytest.raises((Invalid, NotFound)):
            look(lines, **wrong)


def test_the_oldest_that_waits_says_since_when_and_why_and_the_alarm_rings_only_for_what_might_have_left(
    lines: Lines,
) -> None:
    day(lines)
    seen = look(lines)
    assert seen.waiting == 1 and seen.oldest is not None
    assert (seen.oldest.line.reason, seen.oldest.since) == ("try_later", seen.oldest.line.when)
    assert seen.late == 0
    lines.house.clock.advance(3600)
    assert look(lines).late == 1 and look(lines).late_for > timedelta(minutes=60)
    set_up.change_settings(lines.house.ctx, lines.house.actor(), {"alarm_minutes": "240"})
    assert look(lines).late == 0


def test_a_message_that_waits_for_the_night_to_end_alarms_nobody() -> None:
    from datetime import UTC, datetime

    now = datetime(2026, 11, 27, 3, 0, tzinfo=UTC)
    evening, morning = now - timedelta(hours=7), now + timedelta(hours=5)
    assert late_since(reason="quiet_hours", due_at=morning, created_at=evening, now=now) is None
    assert late_since(reason="", due_at=now + timedelta(seconds=60), created_at=evening, now=now) is None  # the bell
    assert late_since(reason="try_later", due_at=morning, created_at=evening, now=now) == evening
    assert late_since(reason="", due_at=evening, created_at=evening, now=now) == evening  # nobody takes it out


def test_a_try_without_an_answer_followed_by_another_is_marked_perhaps_twice_and_what_came_back_is_shown(
    lines: Lines,
) -> None:
    """RFC 1047: between the final dot and the answer nobody can know whether a message was accepted."""
    house = lines.house
    lines.mail_line.answer = Receipt(Verdict.UNKNOWN, "dot-lost", "The line broke.")
    done = house.check_in(phone="")
    house.deliver(after=91)
    (first,) = [m for m in look(lines).lines if m.notice == "checked_in"]
    assert not first.perhaps_twice
    lines.mail_line.answer = None
    house.deliver(after=3600)
    (sent,) = [m for m in look(lines).lines if m.notice == "checked_in"]
    assert sent.state == "sent" and sent.perhaps_twice and sent.delivery == "handed_over"
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(
            update(s.messages).where(s.messages.c.id == sent.id).values(delivery="delivered", delivery_at=house.clock())
        )
    (arrived,) = [m for m in look(lines).lines if m.notice == "checked_in"]
    assert (arrived.delivery, arrived.delivery_at) == ("delivered", house.clock()) and done.visit_id


def test_the_small_indexes_find_what_waits_and_what_failed_also_in_a_long_archive(lines: Lines) -> None:
    if not lines.house.ctx.db.is_sqlite:
        pytest.skip("PostgreSQL decides by the size of a table, and this one is small")
    day(lines)
    asked: list[str] = []
    event.listen(lines.house.ctx.db.engine, "before_cursor_execute", lambda *a: asked.append(a[2]))
    look(lines, group="waiting")
    look(lines, group="failed")
    look(lines)
    wanted = [sql for sql in asked if any(f"'{state}'" in sql for state in ("waiting", "given_up", "to_call"))]
    plans = []
    with lines.house.read() as unit:
        for sql in wanted:
            rows = unit.connection.exec_driver_sql(f"explain query plan {sql}", ("x",) * sql.count("?"))
            plans.append(" ".join(row[-1] for row in rows))
    small = ("ix_messages_due", "ix_messages_given_up", "ix_messages_to_call")
    assert len(plans) >= 6 and all(any(name in one for name in small) for one in plans), plans
    assert not any(one.startswith("SEARCH messages USING INDEX sqlite_autoindex_messages_3") for one in plans), plans
