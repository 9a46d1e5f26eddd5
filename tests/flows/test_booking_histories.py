"""What twelve clients at once are told about a few slots could have been said by a counter serving one at a time."""

from __future__ import annotations

import random
import threading
import time
from collections import Counter
from typing import Any

import pytest

from notify.core.errors import NotFound
from notify.core.slots import Taken
from notify.flows import pickup
from tests.parts.booking_acts import SLOTS, Town
from tests.parts.history import BOOKED, GIVEN_UP, NOTHING, TAKEN, Call, is_legal

CLIENTS, CALLS, VISITS = 12, 4, 9  # some clients speak for the same visit
ROOM = {0: 2, 1: 2}  # what the house has, in slots of which nine visits want two


def ask(house: Any, visit_id: str, slot: int | None) -> str:
    """One question of one client; what it was told."""
    try:
        if slot is None:
            pickup.cancel(house.ctx, house.customer(), visit_id)
            return GIVEN_UP
        pickup.book(house.ctx, house.customer(), visit_id, SLOTS[slot])
        return BOOKED
    except Taken:
        return TAKEN
    except NotFound:
        return NOTHING


def one_history(town: Town, dice: random.Random) -> list[Call]:
    """Twelve clients with four questions each, all at once."""
    calls: list[Call] = []
    start = threading.Barrier(CLIENTS)
    plans = [[(dice.randrange(VISITS), dice.choice((0, 0, 1, 1, None))) for _ in range(CALLS)] for _ in range(CLIENTS)]

    def client(plan: list[tuple[int, int | None]]) -> None:
        start.wait()
        for visit, slot in plan:
            began = time.monotonic_ns()
            said = ask(town.house, town.visits[visit][0], slot)
            calls.append(Call(visit, slot, began, time.monotonic_ns(), said))

    threads = [threading.Thread(target=client, args=(plan,)) for plan in plans]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return calls


def check(house: Any, *, histories: int) -> None:
    town, dice = Town(house).open(VISITS), random.Random(3)
    illegal, said, overlapping, spoiled = 0, Counter[str](), 0, 0
    for number in range(histories):
        town.start_over()
        calls = one_history(town, dice)
        assert len(calls) == CLIENTS * CALLS  # a client that raised anything else says less
        illegal += not is_legal(calls, ROOM)
        said.update(call.said for call in calls)
        overlapping += sum(1 for a in calls for b in calls if a.began < b.began < a.ended)
        if number < 3:
            spoiled += sum(not is_legal(wrong, ROOM) for wrong in planted(calls))
    print(f"FIGURE C3 database={house.ctx.db.engine.dialect.name} histories={histories} clients={CLIENTS} "
          f"calls={said.total()} overlapping_pairs={overlapping} booked={said[BOOKED]} taken={said[TAKEN]} "
          f"illegal={illegal} planted_found={spoiled}")  # fmt: skip
    assert illegal == 0 and overlapping > histories * CLIENTS
    assert min(said.values()) > 0 and len(said) == 4
    assert spoiled == 2 * min(3, histories)


def planted(calls: list[Call]) -> list[list[Call]]:
    """The same history with a lie at its end: three visits in two places, and a place given up that nobody had."""
    end = max(call.ended for call in calls)
    sold = [Call(visit, 0, end + visit, end + visit, BOOKED) for visit in range(1, 4)]
    gone = [Call(0, None, end + n, end + n, said) for n, said in ((1, GIVEN_UP), (2, GIVEN_UP))]
    return [[*calls, *sold], [*calls, *gone]]


@pytest.mark.long
def test_what_clients_are_told_forms_a_legal_story(house: Any) -> None:
    check(house, histories=30 if house.ctx.db.is_sqlite else 10)


@pytest.mark.deep
def test_what_clients_are_told_forms_a_legal_story_five_hundred_times(house: Any) -> None:
    check(house, histories=500)


def told(*answers: tuple[int, int | None, int, int, str]) -> list[Call]:
    return [Call(*one) for one in answers]


ONE = {0: 1, 1: 1}
LEGAL = {
    "two at once, one of them served": told((1, 0, 0, 10, BOOKED), (2, 0, 0, 10, TAKEN)),
    "refused, though it began first": told((1, 0, 0, 10, TAKEN), (2, 0, 1, 9, BOOKED)),
    "a place that came free meanwhile": told((1, 0, 0, 1, BOOKED), (1, None, 2, 9, GIVEN_UP), (2, 0, 3, 8, BOOKED)),
    "a move frees the old place": told((1, 0, 0, 1, BOOKED), (1, 1, 2, 3, BOOKED), (2, 0, 4, 5, BOOKED)),
    "the same time again": told((1, 0, 0, 1, BOOKED), (1, 0, 2, 3, BOOKED), (2, 0, 4, 5, TAKEN)),
    "booked anew after it was given up, all at once": told(
        (1, 0, 0, 1, BOOKED), (1, None, 2, 9, GIVEN_UP), (1, 0, 2, 9, BOOKED), (2, 0, 10, 11, TAKEN)
    ),
}
ILLEGAL = {
    "sold twice": told((1, 0, 0, 10, BOOKED), (2, 0, 0, 10, BOOKED)),
    "refused while it was free": told((1, 0, 0, 1, TAKEN), (2, 0, 2, 3, BOOKED)),
    "refused after it was given up": told((1, 0, 0, 1, BOOKED), (1, None, 2, 3, GIVEN_UP), (2, 0, 4, 5, TAKEN)),
    "a booking that was lost": told((1, 0, 0, 1, BOOKED), (1, None, 2, 3, NOTHING)),
    "given up twice": told((1, 0, 0, 1, BOOKED), (1, None, 2, 9, GIVEN_UP), (1, None, 2, 9, GIVEN_UP)),
    "a move that kept both places": told((1, 0, 0, 1, BOOKED), (1, 1, 2, 3, BOOKED), (2, 0, 4, 5, TAKEN)),
    "in the wrong order": told((2, 0, 0, 1, BOOKED), (1, 0, 2, 3, BOOKED), (2, None, 4, 5, GIVEN_UP)),
}


@pytest.mark.parametrize("name", LEGAL)
def test_the_search_finds_an_order_where_there_is_one(name: str) -> None:
    assert is_legal(LEGAL[name], ONE)


@pytest.mark.parametrize("name", ILLEGAL)
def test_the_search_finds_none_where_there_is_none(name: str) -> None:
    assert not is_legal(ILLEGAL[name], ONE)
