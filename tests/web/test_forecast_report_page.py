"""The page of the bench and the time: sentences first, picture and table with the same numbers, nothing changed."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from flask import Flask

from notify.flows import moves, staff
from notify.flows.check_in_form import DeviceForm
from notify.flows.score_promises import settle_due
from tests.parts.promised import lognormal, put_forecasts, shelve_at, take_in
from tests.web.conftest import Browser, sign_in
from tests.web.database_digest import digest
from tests.web.staff_pages import Reader

WEDNESDAY = datetime(2026, 11, 25, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)
pytestmark = pytest.mark.long


def letters(browser: Browser, src: str) -> list[str]:
    answer = browser.get(src)
    assert answer.status_code == 200 and answer.content_type.startswith("image/svg+xml")
    return [
        " ".join(one.itertext()).strip() for one in ET.fromstring(answer.data).iter("{http://www.w3.org/2000/svg}text")
    ]


def pictures(browser: Browser, path: str) -> dict[str, str]:
    """address -> its text alternative."""
    html = browser.get(path).get_data(as_text=True)
    return dict(re.findall(r'<img class="chart" src="([^"]+)"[^>]* alt="([^"]+)"', html))


def lived(house: Any) -> None:
    """A bench with one device that waited an hour, was worked on for half of one, and stands on the shelf."""
    house.clock.set(WEDNESDAY)
    staff.add_staff(house.ctx, house.actor(), name="Odile", role="technician", password="four kind words", pin="")
    ticket = str(house.check_in(DeviceForm("Kestrel radio")).ticket_ids[0])
    for to, at in (("in_line", 0.5), ("on_bench", 1.0), ("on_shelf", 1.5)):
        house.clock.set(WEDNESDAY + at * HOUR)
        moves.move(house.ctx, house.actor(), ticket, to)
    house.check_in(DeviceForm("Otter camera"))


def test_an_empty_shop_reads_two_sentences_and_sees_no_picture_of_its_time(signed_in: Browser) -> None:
    text = Reader(signed_in.get("/forecast").get_data(as_text=True)).text
    assert "Nothing waits for the bench." in text
    assert "No device was here in the last 90 days, so there is nothing to say." in text
    assert list(pictures(signed_in, "/forecast")) == ["/forecast/bench.svg"]
    for name in (
        "/forecast/bench.svg",
        "/forecast/time.svg",
        "/promises/kept.svg",
        "/promises/pit.svg",
        "/promises/drift.svg",
    ):
        assert letters(signed_in, name), name


def test_the_finding_stands_first_and_picture_words_and_table_hold_the_same_numbers(
    house: Any, signed_in: Browser
) -> None:
    lived(house)
    page = Reader(signed_in.get("/forecast").get_data(as_text=True)).text
    assert "The bench has room today: " in page and "One device is reckoned with" in page
    assert "67 of 100 of its open hours go into waiting for the bench; hands are on it in 33 of 100." in page
    found = pictures(signed_in, "/forecast")
    assert list(found) == ["/forecast/bench.svg", "/forecast/time.svg"]
    # One hour in line and half an hour on the bench; no moment yet of the device that has just come.
    assert "for the bench 1 and on the bench 0.5." in found["/forecast/time.svg"]
    drawn = letters(signed_in, "/forecast/time.svg")
    assert {"for the bench", "on the bench", "0.5"} <= set(drawn)
    html = signed_in.get("/forecast").get_data(as_text=True)
    days = re.search(r"next open days</caption>.*?</table>", html, re.S)
    assert days
    taken = re.findall(r'<tr><th scope="row">[^<]+</th><td>([^<]+) of [^<]+</td>', days[0])
    labels = [one.split()[-1] for one in letters(signed_in, "/forecast/bench.svg") if one]
    assert len(taken) == 7 and set(taken) <= set(labels)
    assert letters(signed_in, "/forecast/bench.svg?shade=dark") == letters(signed_in, "/forecast/bench.svg")


def test_the_promises_page_has_its_three_pictures_with_words_and_numbers(house: Any, signed_in: Browser) -> None:
    start = house.clock()
    made = [take_in(house, start + HOUR + at * timedelta(minutes=1)) for at in range(12)]
    put_forecasts(house, *(lognormal(house, one, minutes=40, sigma=0.3) for one in made))
    for at, one in enumerate(made):
        shelve_at(house, one, start + timedelta(minutes=90 if at >= 9 else 40))
    house.clock.set(start + 2 * HOUR)
    settle_due(house.ctx, house.system())
    found = pictures(signed_in, "/promises")
    assert list(found) == ["/promises/kept.svg", "/promises/drift.svg", "/promises/pit.svg"]
    assert "9 in time, within an hour and 3 up to an hour late" in found["/promises/kept.svg"]
    # By hand: from 0.9 nine kept ones leave 0.1 * 0.9 ** 9 to one, then three broken ones take a tenth each.
    moving = (1 - 0.1 * 0.9**9) * 0.9**3
    assert f"{round(100 * moving)} now" in found["/promises/drift.svg"]
    page = Reader(signed_in.get("/promises").get_data(as_text=True)).text
    assert "Three promises were broken. What lies above" in page and "Up to an hour late" in page
    assert "What lies above the dashed line was late." in page
    assert all(letters(signed_in, src) for src in found)


def test_looking_changes_nothing_and_is_not_for_everybody(house: Any, app: Flask, signed_in: Browser) -> None:
    lived(house)
    before = digest(house) | {"sessions": ""}
    for path in ("/forecast", "/forecast/bench.svg", "/forecast/time.svg", "/promises/kept.svg"):
        assert signed_in.get(path).status_code == 200
    assert digest(house) | {"sessions": ""} == before
    counter = sign_in(app, house, role="counter")
    assert [counter.get(path).status_code for path in ("/forecast", "/forecast/time.svg", "/promises/pit.svg")] == [
        403
    ] * 3
