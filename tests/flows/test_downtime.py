"""A day and two hours without power: what came due meanwhile is told once, and nothing that is no longer so."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from notify.flows import moves, pickup, promises, questions, set_up
from notify.schedule.due import DueJobs
from notify.schedule.jobs import JOBS
from notify.store import messages

pytestmark = pytest.mark.long

EVENING = datetime(2026, 11, 25, 16, 58, tzinfo=UTC)  # a Wednesday; London is on UTC in November
DOWN = timedelta(hours=26)
STALE = {"pickup_reminder", "pickup_confirmed", "question", "promise_changed"}  # each of a time that went by meanwhile


def on_shelf(house: Any, *, days: float = 0.2) -> str:
    """A visit whose device has been on the shelf for so many days, its own messages long gone; the clock stays."""
    now = house.clock()
    house.clock.set(now - timedelta(days=days))
    done = house.check_in()
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    house.deliver(after=91)
    house.clock.set(now)
    return str(done.visit_id)


def book(house: Any, visit: str, hours: float) -> None:
    """The first slot that begins so many hours from now, or later."""
    wanted = in_(house, hours)
    offers = pickup.offers(house.ctx, house.customer(), visit)
    slot = next(offer.slot for offer in offers if offer.slot.start >= wanted)
    pickup.book(house.ctx, house.customer(), visit, slot.local, fold=slot.fold)


def in_(house: Any, hours: float) -> datetime:
    return house.clock() + timedelta(hours=hours)  # type: ignore[no-any-return]


def before_the_cut(house: Any) -> dict[str, str]:
    """The visits by what is interesting about them; everything but the last minute's messages has left."""
    owner = house.actor()
    set_up.change_settings(house.ctx, owner, {"collection_days": [1, 2, 10]})
    house.clock.set(EVENING)
    visits = {"both reminders late": on_shelf(house, days=0.95)}
    visits |= {name: on_shelf(house) for name in ("slot missed", "slot ahead", "just booked")}
    book(house, visits["slot missed"], 16)
    book(house, visits["slot ahead"], 42)
    asked, promised = house.check_in(), house.check_in()
    visits |= {"asked": asked.visit_id, "promised": promised.visit_id}
    promises.promise(house.ctx, owner, promised.ticket_ids[0], in_(house, 2))
    DueJobs(house.services, JOBS, "before").run_due()
    house.deliver(after=91)
    questions.ask(house.ctx, owner, asked.ticket_ids[0], kind="give_back", wording="Stop?", until=in_(house, 3))
    promises.promise(house.ctx, owner, promised.ticket_ids[0], in_(house, 4), why="part_late")
    book(house, visits["just booked"], 16)
    return visits


@pytest.mark.parametrize("first", ["dispatcher", "jobs"])
def test_after_a_day_and_two_hours_reminders_coalesce_and_nothing_stale_leaves(house: Any, first: str) -> None:
    visits = before_the_cut(house)
    left = Counter(m for m in _sent(house))
    house.clock.set(house.clock() + DOWN)
    jobs = DueJobs(house.services, JOBS, "after")
    rounds: dict[str, Callable[[], object]] = {"dispatcher": house.deliver, "jobs": jobs.run_due}
    for name in (first, *({"dispatcher", "jobs"} - {first}), "dispatcher"):
        rounds[name]()
    ran_again = jobs.run_due()
    house.deliver(after=3600)
    told = [(visit, notice) for visit, notice in (Counter(_sent(house)) - left).elements()]
    names = {visit: name for name, visit in visits.items()}
    stale = [(names.get(v), n) for v, n in told if n in STALE and names.get(v) != "slot ahead"]
    doubled = [one for one, count in Counter(told).items() if count > 1]
    reminders = Counter(names[v] for v, n in told if n == "collection_reminder")
    with house.read() as unit:
        waiting = [m for m in messages.list_messages(unit, states=["waiting"]) if m.due_at <= house.clock()]
    print(f"FIGURE A10_downtime database={house.ctx.db.engine.dialect.name} hours=26 first={first} told={len(told)} "
          f"stale_sent={len(stale)} doubled={len(doubled)} left_waiting={len(waiting)} "
          f"reminders_of_two_due={reminders['both reminders late']}")  # fmt: skip
    assert (stale, doubled, waiting, ran_again) == ([], [], [], 0)
    assert reminders["both reminders late"] == 1 and "slot ahead" not in reminders


def _sent(house: Any) -> list[tuple[str, str]]:
    with house.read() as unit:
        return [(m.visit_id, m.notice) for m in messages.list_messages(unit, states=["sent"], limit=1000)]
