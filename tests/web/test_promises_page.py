"""The page of how promises were kept: what a technician reads on it, with few promises, many, and none."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from notify.flows import questions
from notify.flows.score_promises import settle_due
from notify.forecast.calibration import conformal
from notify.web.counter.promises_says import needed_for
from tests.parts.promised import lognormal, put_forecasts, shelve_at, take_in
from tests.web.conftest import Browser
from tests.web.staff_pages import Reader

pytestmark = pytest.mark.long


def read(browser: Browser) -> str:
    return Reader(browser.get("/promises").text).text


def lived(house: Any, promises: int, broken: int) -> None:
    """So many promises an hour away, of which so many were broken."""
    start = house.clock()
    made = [take_in(house, start + timedelta(hours=1)) for _ in range(promises)]
    put_forecasts(house, *(lognormal(house, one, minutes=40, sigma=0.3) for one in made))
    for at, one in enumerate(made):
        shelve_at(house, one, start + timedelta(minutes=90 if at >= promises - broken else 40))
    house.clock.set(start + timedelta(hours=2))
    settle_due(house.ctx, house.system())


def test_the_page_begins_with_how_many_were_kept_and_how_sure_that_is(house: Any, signed_in: Browser) -> None:
    lived(house, 12, 3)
    page = read(signed_in)
    # Wilson's interval of 9 in 12, as in the published case K01: .468 to .911.
    assert (
        "Of 12 promises whose time has passed, nine were kept: 75 of 100, and with so few it may be anywhere between "
        "47 and 91."
    ) in page
    assert "That fits the 90 of 100 that are meant to be kept." in page
    assert "Learned from the 12 newest outcomes: a time is suggested only once the forecast gives it" in page
    assert "None is left out." in page and "No other time was told" in page


def test_an_empty_shop_says_that_there_is_nothing_to_say(signed_in: Browser) -> None:
    page = read(signed_in)
    assert "No promise has come due yet, so there is nothing to say." in page
    assert "nine more forecasts with an outcome" in page


def test_what_is_left_out_is_said_with_its_reason(house: Any, signed_in: Browser) -> None:
    start = house.clock()
    ticket = take_in(house, start + timedelta(hours=1))
    questions.ask(house.ctx, house.actor(), ticket, kind="price", wording="It costs more. Go on?", price="45")
    house.clock.set(start + timedelta(hours=2))
    settle_due(house.ctx, house.system())
    page = read(signed_in)
    assert "One promise is left out: 1 because the customer had to answer a question first." in page


def test_a_shop_that_keeps_far_too_few_reads_that_it_is_no_accident_and_that_it_drifts(
    house: Any, signed_in: Browser
) -> None:
    lived(house, 14, 9)
    page = read(signed_in)
    assert "That is fewer than the 90 of 100 that are meant to be kept, and no accident." in page
    assert "than chance explains: look why." in page


def test_the_page_asks_for_as_many_outcomes_as_the_correction_needs() -> None:
    for wanted in range(50, 100):
        enough = next(n for n in range(200) if conformal([0.5] * n, wanted / 100) is not None)
        assert needed_for(wanted / 100) == enough, wanted
