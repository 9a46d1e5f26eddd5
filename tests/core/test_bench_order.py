"""The order of the bench: its rules, one by one and in any mixture, and that nobody waits for ever."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.bench_order import PATIENCE, UNPROMISED, USUAL, Place, Standing, due, held, put_first, rank

NOW = datetime(2026, 11, 26, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def place(name: str, promised: float | None = None, *, came: float = -48, in_hand: bool = False) -> Place:
    """Promised and come in so many hours from now."""
    at = None if promised is None else NOW + promised * HOUR
    return Place(name, in_hand, at, NOW + came * HOUR, name)


def test_the_usual_order_is_what_is_in_hand_then_by_promise_and_a_week_after_coming_in_without_one() -> None:
    bench = [place("none", came=-24), place("late", 200), place("soon", 2), place("hand", 50, in_hand=True)]
    assert timedelta(days=7) == UNPROMISED
    assert rank(bench, now=NOW) == ("hand", "soon", "none", "late")


def test_an_order_that_staff_took_stands_and_a_later_ticket_goes_before_what_is_promised_after_it() -> None:
    bench = [place("a", 3), place("b", 8), place("c", 5), place("d", 20), place("new", 6)]
    taken = Standing(("b", "a", "c", "d"))
    assert rank(bench, taken, now=NOW) == ("b", "a", "c", "new", "d")


def test_a_later_ticket_never_comes_before_the_one_that_is_next() -> None:
    bench = [place("a", 30), place("b", 40), place("new", 1)]
    assert rank(bench, Standing(("b", "a")), now=NOW) == ("b", "new", "a")


def test_what_left_the_line_is_skipped_and_has_its_place_again_when_it_comes_back() -> None:
    taken = Standing(("c", "a", "b"))
    assert rank([place("a", 1), place("b", 2)], taken, now=NOW) == ("a", "b")
    assert rank([place("a", 1), place("b", 2), place("c", 9)], taken, now=NOW) == ("c", "a", "b")


def test_what_staff_put_first_stays_first_and_the_newest_of_them_on_top() -> None:
    bench = [place("a", 3), place("b", 8), place("c", 5), place("hand", 9, in_hand=True)]
    once = put_first([one for one in rank(bench, now=NOW) if one != "hand"], "b")
    twice = put_first(once.tickets, "c", once)
    assert rank(bench, once, now=NOW) == ("hand", "b", "a", "c")
    assert rank([*bench, place("new", 1)], twice, now=NOW) == ("hand", "c", "b", "a", "new")
    assert held(bench, twice, now=NOW) == {"hand", "b", "c"}


def test_two_days_beyond_its_promise_a_ticket_goes_to_the_front_and_is_held_there() -> None:
    bench = [place("a", 3), place("old", -48), place("older", -60), place("almost", -47)]
    assert timedelta(days=2) == PATIENCE
    assert rank(bench, Standing(("a", "almost", "old", "older")), now=NOW) == ("older", "old", "a", "almost")
    assert held(bench, now=NOW) == {"older", "old"}


PLACES = st.lists(
    st.tuples(st.one_of(st.none(), st.integers(-100, 100)), st.integers(-400, 0), st.booleans()), min_size=1, max_size=9
)


@settings(max_examples=150, deadline=None)
@given(PLACES, st.randoms(use_true_random=False))
def test_every_ticket_is_ranked_once_those_held_stand_first_and_the_taken_order_is_kept(
    rows: list[tuple[int | None, int, bool]], chance: random.Random
) -> None:
    bench = [place(f"t{n}", one, came=came, in_hand=hand) for n, (one, came, hand) in enumerate(rows)]
    names = [one.ticket_id for one in bench]
    taken = chance.sample([*names, "gone"], chance.randint(0, len(names)))
    standing = Standing(tuple(taken), tuple(taken[: chance.randint(0, 2)]))
    order, firm = rank(bench, standing, now=NOW), held(bench, standing, now=NOW)
    assert sorted(order) == sorted(names)
    assert set(order[: len(firm)]) == firm
    free = [one for one in order if one not in firm]
    assert [one for one in free if one in taken] == [one for one in taken if one in free]
    chance.shuffle(bench)
    assert rank(bench, standing, now=NOW) == order, "the order in which tickets are read decides nothing"


Suggest = Callable[[list[Place], datetime], Standing]


def weeks_of_overload(suggest: Suggest, *, weeks: int = 12, seed: int = 7) -> tuple[float, int]:
    """A bench to which 8 % more comes than it can do, an hour a job; each hour somebody takes the suggestion.

    How many hours after its promise the longest waiting ticket was begun (or still waits, at the end), and how many
    of those promised in the first half still wait at the end.
    """
    chance, line, worst, count = random.Random(seed), list[Place](), timedelta(0), 0
    for hour in range(weeks * 40):
        now = NOW + hour * HOUR
        for _ in range(1 + (chance.random() < 0.08)):
            count += 1
            line.append(Place(f"t{count}", False, now + chance.randint(1, 16) * HOUR, now, f"{count:05}"))
        first = rank(line, suggest(line, now), now=now)[0]
        done = next(one for one in line if one.ticket_id == first)
        line.remove(done)
        worst = max(worst, now - due(done))
    end = NOW + weeks * 40 * HOUR
    worst = max([worst, *(end - due(one) for one in line)])
    return worst / HOUR, sum(1 for one in line if due(one) < NOW + weeks * 20 * HOUR)


def _newest_first(line: list[Place], now: datetime) -> Standing:
    """The unkindest suggestion there can be: whoever has waited longest always goes last."""
    return Standing(tuple(one.ticket_id for one in sorted(line, key=due, reverse=True)))


def test_nobody_waits_for_ever_whatever_is_suggested_and_taken() -> None:
    usual, _ = weeks_of_overload(lambda line, now: USUAL)
    worst, waiting = weeks_of_overload(_newest_first)
    # The same without the rule: everything is put where the suggestion wants it, which is what `by_hand` is for.
    lost, starved = weeks_of_overload(lambda line, now: Standing((), _newest_first(line, now).tickets))
    print(f"FIGURE bench_starving weeks=12 load=1.08 usual_hours_late={usual:.0f} suggested_hours_late={worst:.0f} "
          f"without_rule_hours_late={lost:.0f} left_over={waiting} without_rule_left_over={starved}")  # fmt: skip
    backlog = usual  # what no order can avoid, when more comes than can be done
    assert worst <= backlog + PATIENCE / HOUR and waiting == 0
    assert starved > 0 and lost > 2 * worst


def one_by_one(bench: list[Place], standing: list[str]) -> tuple[str, ...]:
    """The rule as it is written: each later ticket in turn before the first that is promised later, never on top."""
    by = {one.ticket_id: one for one in bench}
    order = list(standing)
    for new in sorted((one for one in bench if one.ticket_id not in standing), key=lambda one: (due(one), one.number)):
        later = [at for at, one in enumerate(order) if at and (due(by[one]), one) > (due(new), new.number)]
        order.insert(later[0] if later else len(order), new.ticket_id)
    return tuple(order)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(1, 30), min_size=1, max_size=14), st.randoms(use_true_random=False))
def test_later_tickets_find_their_places_in_any_standing_order(hours: list[int], chance: random.Random) -> None:
    bench = [place(f"{n:02}", promised) for n, promised in enumerate(hours)]
    taken = chance.sample([one.ticket_id for one in bench], chance.randint(1, len(bench)))
    assert rank(bench, Standing(tuple(taken)), now=NOW) == one_by_one(bench, taken)


def test_ten_thousand_tickets_after_a_standing_order_take_a_moment_and_no_minute() -> None:
    bench = [place(f"{n:05}", 1 + (n * 7919) % 10_000 / 10) for n in range(10_000)]
    taken = Standing(tuple(one.ticket_id for one in bench[:1000]), tuple(one.ticket_id for one in bench[:300]))
    began = time.process_time()
    found = rank(bench, taken, now=NOW)
    took = time.process_time() - began
    print(f"FIGURE bench_rank tickets=10000 cpu={took:.3f}")
    assert len(set(found)) == 10_000 and took < 1.0  # one by one it took eight seconds
