"""The small drawing at its edges: a range that reaches beyond the line, a promise whose time has gone by."""

from __future__ import annotations

from typing import Any

import pytest

from tests.parts.foreseen import foretold, store
from tests.web.conftest import Browser
from tests.web.test_forecast_pages import at, drawings, page_of, take_in, text_of

pytestmark = pytest.mark.long


def test_a_range_beyond_the_line_ends_with_an_arrow_and_another_one_with_a_bar(house: Any, signed_in: Browser) -> None:
    near, far = take_in(house, "Near"), take_in(house, "Far")
    store(house, {near: foretold(house, near, at(1), at(3)), far: foretold(house, far, at(2), at(4, day=14))})
    sheet = drawings(page_of(signed_in, "/"))
    assert [("l5 4.5-5 4.5" in one, one.count("v9")) for one in sheet] == [(False, 2), (True, 1)]


def test_a_promise_whose_time_has_gone_by_is_told_as_past_and_has_no_mark_nor_chance(
    house: Any, signed_in: Browser
) -> None:
    ticket_id = take_in(house, "Late", promise=at(1))
    house.clock.set(at(2))
    store(house, {ticket_id: foretold(house, ticket_id, at(3), at(5))})
    page = page_of(signed_in, f"/tickets/{ticket_id}")
    assert "it was promised for" in text_of(page) and "promised for 10:00, which" not in text_of(page)
    assert len(drawings(page)) == 1 and "promised" not in drawings(page)[0].split("<path", 1)[1]
