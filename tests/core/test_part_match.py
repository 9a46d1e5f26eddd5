"""Who gets a piece that several could use: from the sentences at `by_need` and `share_out`."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from notify.core.part_match import Waiting, Why, by_need, share_out, why

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)  # the rules are the project's own


def waiting(name: str, hours: int, saves: float) -> Waiting:
    return Waiting(name, f"t-{name}", NOON + timedelta(hours=hours), NOON, 0.0, saves)


def test_chances_that_lie_close_count_as_one_and_the_earlier_promise_decides() -> None:
    later, earlier = waiting("a", 9, 0.12), waiting("b", 3, 0.10)
    assert by_need([later, earlier]) == (earlier, later) and why(earlier, later) is Why.EARLIER
    much = waiting("c", 9, 0.30)
    assert by_need([earlier, much]) == (much, earlier) and why(much, earlier) is Why.PROMISE


def test_whoever_needs_it_most_takes_the_place_of_whoever_needs_it_least() -> None:
    a, b, c, d = (waiting(name, hours, 0.0) for name, hours in (("a", 5), ("b", 7), ("c", 1), ("d", 3)))
    assert share_out(["a", "b"], [a, b, c, d]) == ((c, b), (d, a))
    assert share_out(["a", "c"], [a, b, c, d]) == ((d, a),)
    assert share_out(["c"], [a, b, c, d]) == ()
