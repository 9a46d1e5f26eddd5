"""The day sheet says that nobody is forgotten while the clock is in doubt, and what a person can do about it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from notify.flows import watch_clock
from tests.web.staff_pages import Reader

pytestmark = pytest.mark.long
HEAD = "Nobody is forgotten just now"


def _sheet(signed_in: Any) -> str:
    return Reader(signed_in.get("/").get_data(as_text=True)).text


def test_a_clock_that_leapt_stands_once_on_the_day_sheet_until_somebody_says_that_it_is_right(
    house: Any, signed_in: Any
) -> None:
    watch_clock.look(house.ctx, ran=None)
    assert HEAD not in _sheet(signed_in)
    house.clock.advance(5 * 3600)  # within a long weekend
    watch_clock.look(house.ctx, ran=timedelta(minutes=10))
    assert HEAD not in _sheet(signed_in)
    house.clock.advance(-7 * 3600)
    watch_clock.look(house.ctx, ran=timedelta(minutes=1))
    page = _sheet(signed_in)
    assert page.count(HEAD) == 1 and "has gone back" in page and "--the-clock-is-right" in page
    watch_clock.vouch(house.ctx, house.actor())
    assert HEAD not in _sheet(signed_in)
