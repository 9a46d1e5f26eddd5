"""What tickets teach: hands-on time and sums at every move, undone and corrected, against a fresh recomputation."""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

import pytest
from sqlalchemy import Engine, event

from notify.core.errors import NotifyError
from notify.core.past_jobs import sums_of
from notify.flows import history, learn, moves, questions, repair_kinds
from notify.flows.check_in_form import DeviceForm
from notify.flows.view_learned import view_kinds
from notify.store import past_jobs, tickets
from notify.store.repair_kinds import KindRow, find_kind

pytestmark = pytest.mark.long


def kind(house: Any, name: str) -> KindRow:
    with house.read() as unit:
        return find_kind(unit, name)


def job(house: Any, ticket_id: str) -> tickets.Ticket:
    with house.read() as unit:
        return tickets.get_ticket(unit, ticket_id)


def learned(house: Any, name: str) -> tuple[int, float, float]:
    row = kind(house, name)
    return row.learned, row.learned_sum, row.learned_squares


def sums(*minutes: float) -> tuple[int, float, float]:
    whole = sums_of(minutes)
    return whole.jobs, whole.total, whole.squares


@pytest.fixture
def shop(house: Any) -> Any:
    repair_kinds.add_first(house.ctx, house.actor())
    return house


def on_the_bench(house: Any, name: str = "Camera shutter") -> str:
    ticket_id = str(house.check_in(DeviceForm("Otter camera", device_class="camera", kind=name)).ticket_ids[0])
    for phase in ("in_line", "on_bench"):
        moves.move(house.ctx, house.actor(), ticket_id, phase)
    return ticket_id


def step(house: Any, ticket_id: str, to: str, minutes: float = 0, **more: Any) -> None:
    """Some minutes later, a move."""
    house.clock.advance(minutes * 60)
    moves.move(house.ctx, house.actor(), ticket_id, to, **more)


def test_a_repaired_device_teaches_its_kind_the_minutes_of_all_its_stints(shop: Any) -> None:
    ticket_id = on_the_bench(shop)
    step(shop, ticket_id, "in_line", 20, reason="other_job")
    assert job(shop, ticket_id).worked_seconds == 1200
    step(shop, ticket_id, "on_bench", 30)
    step(shop, ticket_id, "proving", 25)
    step(shop, ticket_id, "on_bench", 15)
    step(shop, ticket_id, "on_shelf", 5)
    assert job(shop, ticket_id).worked_seconds == 3000 and learned(shop, "Camera shutter") == sums(50)


def test_waiting_for_the_customers_answer_on_the_bench_is_no_work(shop: Any) -> None:
    ticket_id = on_the_bench(shop)
    shop.clock.advance(600)
    asked = questions.ask(shop.ctx, shop.actor(), ticket_id, kind="price", wording="New shutter?", price="40")
    shop.clock.advance(3600)
    questions.answer(shop.ctx, shop.actor(), asked, answer="accept", said_by="Ines, by phone")
    step(shop, ticket_id, "on_shelf", 12)
    assert learned(shop, "Camera shutter") == sums(22)


def test_undo_and_call_back_unlearn_to_the_last_bit_and_the_next_shelving_teaches_the_whole(shop: Any) -> None:
    first = on_the_bench(shop)
    step(shop, first, "on_shelf", 41)
    before, ticket_id = learned(shop, "Camera shutter"), on_the_bench(shop)
    step(shop, ticket_id, "on_shelf", 33)
    assert learned(shop, "Camera shutter") == sums(41, 33)
    shop.clock.advance(60)
    moves.undo(shop.ctx, shop.actor(), ticket_id)
    assert learned(shop, "Camera shutter") == before and job(shop, ticket_id).worked_seconds == 34 * 60
    step(shop, ticket_id, "on_shelf", 6)
    assert learned(shop, "Camera shutter") == sums(41, 40)
    step(shop, ticket_id, "in_line", 10, reason="fault_seen_again")
    assert learned(shop, "Camera shutter") == before
    moves.undo(shop.ctx, shop.actor(), ticket_id)
    assert learned(shop, "Camera shutter") == sums(41, 40)
    step(shop, ticket_id, "in_line", 10, reason="fault_seen_again")
    step(shop, ticket_id, "on_bench", 10)
    step(shop, ticket_id, "on_shelf", 20)
    assert learned(shop, "Camera shutter") == sums(41, 60)


def test_a_repair_that_was_given_up_teaches_nothing_about_how_long_such_ones_take(shop: Any) -> None:
    ticket_id = on_the_bench(shop)
    step(shop, ticket_id, "on_shelf", 50, outcome="unrepaired", reason="not_repairable")
    assert learned(shop, "Camera shutter") == sums() and job(shop, ticket_id).worked_seconds == 3000


def test_absurd_ones_are_kept_out_and_counted(shop: Any) -> None:
    for minutes in (0.5, 16 * 9 * 60):  # the button pressed late; never pressed for sixteen days
        ticket_id = on_the_bench(shop)
        step(shop, ticket_id, "on_shelf", minutes)
    (found,) = [one for one in view_kinds(shop.ctx, shop.actor()) if one.name == "Camera shutter"]
    assert (found.jobs, found.kept_out) == (0, 2)
    moves.undo(shop.ctx, shop.actor(), ticket_id)
    (found,) = [one for one in view_kinds(shop.ctx, shop.actor()) if one.name == "Camera shutter"]
    assert (found.jobs, found.kept_out) == (0, 1)


def test_another_kind_said_later_takes_along_what_was_learned(shop: Any) -> None:
    ticket_id = on_the_bench(shop, "")
    step(shop, ticket_id, "on_shelf", 30)
    assert learned(shop, "Another repair") == sums(30)
    repair_kinds.set_kind(shop.ctx, shop.actor(), ticket_id, "camera SHUTTER")
    assert (learned(shop, "Another repair"), learned(shop, "Camera shutter")) == (sums(), sums(30))
    repair_kinds.set_kind(shop.ctx, shop.actor(), ticket_id, "")
    assert (learned(shop, "Another repair"), learned(shop, "Camera shutter")) == (sums(30), sums())


def act(house: Any, ticket_id: str, chance: random.Random) -> None:
    """One thing that somebody at the bench might do, sensible or not."""
    house.clock.advance(chance.choice((5, 40, 100, 900, 4000)))
    what = chance.random()
    if what < 0.3:
        moves.undo(house.ctx, house.actor(), ticket_id, reason="a slip")
    elif what < 0.4:
        repair_kinds.set_kind(
            house.ctx, house.actor(), ticket_id, chance.choice(("", "Camera shutter", "Reader screen"))
        )
    else:
        target = chance.choice(("in_line", "on_bench", "proving", "on_shelf", "on_shelf"))
        outcome = chance.choice(("repaired", "repaired", "unrepaired"))
        reason = {"on_shelf": "not_repairable" * (outcome == "unrepaired"), "in_line": "other_job"}.get(target, "")
        if target == "in_line" and job(house, ticket_id).phase == "on_shelf":
            reason = "fault_seen_again"
        moves.move(house.ctx, house.actor(), ticket_id, target, reason=reason,
                   outcome=outcome if target == "on_shelf" else "")  # fmt: skip


def test_whatever_happens_at_the_bench_the_sums_are_those_of_the_jobs_that_stand(shop: Any) -> None:
    chance, acts, unlearned = random.Random(11), 0, 0
    numbers = [on_the_bench(shop) for _ in range(3)]
    for _ in range(120):
        ticket_id = chance.choice(numbers)
        was = learn.is_finished(job(shop, ticket_id))
        with suppress(NotifyError):
            act(shop, ticket_id, chance)
            acts += 1
        now = job(shop, ticket_id)
        unlearned += was and not learn.is_finished(now)
        with shop.read() as unit:
            kept = past_jobs.of_ticket(unit, ticket_id)
            assert (kept is not None) == learn.is_finished(now)
            if now.phase != "on_bench":
                worked = learn.hands_on_seconds(shop.ctx, unit, now, until=shop.clock())
                assert worked == now.worked_seconds  # what is kept is what the whole story says
        assert learn.relearn(shop.ctx, shop.actor()) == 0
    print(f"FIGURE learning acts={acts} unlearned={unlearned} sums_wrong=0")
    assert acts > 60 and unlearned >= 5


@contextmanager
def statements() -> Iterator[list[str]]:
    seen: list[str] = []

    def count(*args: Any) -> None:
        seen.append(args[2])

    event.listen(Engine, "before_cursor_execute", count)
    try:
        yield seen
    finally:
        event.remove(Engine, "before_cursor_execute", count)


def test_a_finished_repair_costs_as_many_statements_with_two_thousand_past_jobs_as_with_none(shop: Any) -> None:
    counts, rows = [], [f"Camera shutter,{20 + n % 60},2026-11-{1 + n % 20:02d}" for n in range(2000)]
    for _ in range(2):
        ticket_id = on_the_bench(shop)
        shop.clock.advance(1800)
        with statements() as seen:
            moves.move(shop.ctx, shop.actor(), ticket_id, "on_shelf")
        counts.append(len(seen))
        assert not any("past_jobs" in one and one.lstrip().lower().startswith("select") for one in seen)
        text = "\n".join(["kind,minutes,ended", *rows])
        assert history.read_history(shop.ctx, shop.actor(), text.encode()).taken in (2000, 0)
    print(f"FIGURE learned_update past_jobs=0,2000 statements={counts[0]},{counts[1]}")
    assert counts[0] == counts[1]
