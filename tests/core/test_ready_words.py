"""The words of a forecast: its kept grid, and the chance that a grid tells."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from notify.core.ready import LEVELS, chance_by, pack, unpack

NOON = datetime(2026, 11, 27, 12, tzinfo=UTC)
GRID = tuple(NOON + timedelta(minutes=10 * step) for step in range(19))  # 5 % at noon, 95 % three hours later


@pytest.mark.parametrize(("minutes", "chance"), [
    (-1, 0.025), (0, 0.05), (5, 0.075), (10, 0.10), (85, 0.475), (90, 0.5), (179, 0.945), (180, 0.975), (999, 0.975),
])  # fmt: skip
def test_between_two_quantiles_the_chance_lies_on_a_line_and_beyond_them_in_the_middle_of_what_is_left(
    minutes: float, chance: float
) -> None:
    """By hand: a quantile at p is an instant before which it is ready with probability p."""
    assert chance_by(GRID, NOON + timedelta(minutes=minutes)) == pytest.approx(chance)


def test_where_several_quantiles_are_one_instant_the_highest_of_them_counts_from_then_on() -> None:
    sure = (NOON,) * len(LEVELS)
    assert chance_by(sure, NOON - timedelta(seconds=1)) == 0.025 and chance_by(sure, NOON) == 0.975
    half = (*(NOON,) * 10, *(NOON + timedelta(hours=1),) * 9)
    assert chance_by(half, NOON) == pytest.approx(0.5)


def test_a_kept_instant_is_never_earlier_and_less_than_a_second_later() -> None:
    for micro in (0, 1, 499_999, 500_000, 999_999):
        told = NOON + timedelta(microseconds=micro)
        (kept,) = unpack(pack((told,)))
        assert timedelta(0) <= kept - told < timedelta(seconds=1) and kept.microsecond == 0
