"""The moves of a part, what goes back, and which of several tickets gets a piece.

There is no standard for any of it: the table is held against the words of the shop's work, typed here without looking
at it, and the sharing out against every way of giving the pieces away.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.errors import Conflict
from notify.core.part_match import Waiting, Why, by_need, share_out, why
from notify.core.parts import (
    MISSING,
    UNDO_ARRIVAL,
    PartState,
    check_move,
    check_undo,
    goes_back,
    is_never_posted,
    same_code,
)

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
# What a shop does with a part, said once more: from -> to.
SAID = {
    "needed": "ordered arrived wrong not_needed",
    "ordered": "arrived wrong needed not_needed",
    "arrived": "dead wrong not_needed ordered needed",
    "dead": "sent_back",
    "wrong": "arrived sent_back",
    "sent_back": "",
    "not_needed": "sent_back needed",
}


def test_a_part_goes_where_a_shop_takes_it_and_nowhere_else() -> None:
    wrong = 0
    for source in PartState:
        for target in PartState:
            try:
                check_move(source, target)
                allowed = True
            except Conflict as refused:
                allowed = False
                wrong += "From here it can become" not in refused.advice
            wrong += allowed != (target in SAID[source].split())
    print(f"FIGURE part_moves cells={len(PartState) ** 2} wrong={wrong}")
    assert wrong == 0
    assert {"needed", "ordered"} == MISSING


def test_an_arrival_can_be_taken_back_for_some_minutes_only() -> None:
    check_undo(NOON, now=NOON + UNDO_ARRIVAL)
    for late in (NOON + UNDO_ARRIVAL + timedelta(seconds=1), NOON + timedelta(days=1)):
        with pytest.raises(Conflict, match="15 minutes"):
            check_undo(NOON, now=late)
    with pytest.raises(Conflict):
        check_undo(None, now=NOON)


def test_only_what_lies_here_goes_back() -> None:
    assert goes_back("dead", NOON) and goes_back("wrong", NOON) and goes_back("not_needed", NOON)
    assert not any(goes_back(state, None) for state in ("not_needed", "needed", "ordered", "arrived", "sent_back"))


def test_a_bad_battery_is_never_posted_whatever_language_its_name_is_in() -> None:
    """Whether a battery is sound is said by its state and by the device's warnings (ADR special provision 376, P908;
    from memory)."""
    for name in ("Battery pack 3.7 V", "Akku BL-5", "Batteria interna", "Li-ion cell"):
        assert is_never_posted(name, "dead", ()) and is_never_posted(name, "wrong", ("swollen",))
        assert not is_never_posted(name, "wrong", ())
    assert not is_never_posted("Shutter unit", "dead", ("swollen",))


def test_codes_are_the_same_in_any_case_and_with_any_spaces() -> None:
    assert same_code(" PS 77-a ") == same_code("ps77-A") != same_code("PS77A")


def waits(
    name: str, *, promise: int | None = None, without: float = 0.0, with_it: float = 0.0, since: int = 0
) -> Waiting:
    at = None if promise is None else NOON + timedelta(hours=promise)
    return Waiting(name, f"t-{name}", at, NOON + timedelta(minutes=since), without, with_it)


def test_a_piece_goes_first_to_the_promise_that_is_lost_without_it() -> None:
    safe = waits("a", promise=5, without=0.9, with_it=0.95)
    lost = waits("b", promise=20, without=0.1, with_it=0.9)
    early, late, old, over = waits("c", promise=2), waits("d", promise=9), waits("e", since=-60), waits("f")
    assert [one.part_id for one in by_need([old, over, late, early, lost, safe])] == ["b", "a", "c", "d", "e", "f"]
    assert (why(lost, safe), why(early, late), why(old, over)) == (Why.PROMISE, Why.EARLIER, Why.LONGER)


def test_a_hopeless_promise_takes_nothing_from_one_that_can_be_kept() -> None:
    hopeless = waits("a", promise=1, without=0.0, with_it=0.02)
    kept = waits("b", promise=30, without=0.2, with_it=0.8)
    assert by_need([hopeless, kept])[0] is kept


_WAITING = st.lists(
    st.tuples(st.none() | st.integers(-5, 40), *(st.integers(0, most) for most in (20, 20, 9)), st.booleans()),
    min_size=1, max_size=6,
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(_WAITING, st.data())
def test_no_other_way_of_giving_the_pieces_away_serves_whoever_needs_them_more(
    rows: list[tuple], data: st.DataObject
) -> None:
    waiting = [
        Waiting(f"p{n}", f"t{n}", None if at is None else NOON + timedelta(hours=at), NOON + timedelta(minutes=since),
                a / 20, b / 20, wanted)
        for n, (at, a, b, since, wanted) in enumerate(rows)
    ]  # fmt: skip
    came = data.draw(st.lists(st.sampled_from([one.part_id for one in waiting]), unique=True, min_size=1))
    swaps = share_out(came, waiting)
    served = {*came} - {giver.part_id for _, giver in swaps} | {taker.part_id for taker, _ in swaps}
    assert len(served) == len(came)
    assert all(giver.part_id in came and taker.part_id not in came for taker, giver in swaps)
    by_name = {one.part_id: one for one in waiting}
    ours = needs(by_name[one] for one in served)
    assert all(ours <= needs(choice) for choice in combinations(waiting, len(came)))


def needs(chosen: object) -> list[tuple]:
    """The need of each who is served, the greatest first: said again, with twentieths for chances."""
    found = []
    for one in chosen:  # type: ignore[attr-defined]
        gain = round(20 * (one.with_it - one.without)) if one.promise_at else 0
        promise = one.promise_at.timestamp() if one.promise_at else float("inf")
        found.append((not one.wanted, -max(0, gain), promise, one.since.timestamp(), one.part_id))
    return sorted(found)
