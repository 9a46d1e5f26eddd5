"""The page about how many people fit: the sentence, the table and the picture say the same; nothing is stored."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from typing import Any

import pytest
from flask import Flask

from notify.flows import set_up
from notify.store import shops
from tests.web.conftest import Browser, sign_in
from tests.web.database_digest import digest
from tests.web.staff_pages import Reader, codes_in

pytestmark = pytest.mark.long

PATH = "/pickups/capacity"


def _text(browser: Browser, path: str = PATH, *, status: int = 200) -> str:
    answer = browser.get(path)
    assert answer.status_code == status
    return Reader(answer.get_data(as_text=True)).text


def test_the_recommendation_is_one_sentence_with_what_one_more_would_do(signed_in: Browser) -> None:
    """The published table: .028 and .375 for one person, .043 and .218 for three and four with two people."""
    text = _text(signed_in)
    assert (
        "With one person at the counter, give one time each quarter of an hour: three of 100 would wait more than five "
        "minutes; with two it would be "
    ) in text
    assert 35 <= int(re.search(r"with two it would be (\d+) of 100\.", text)[1]) <= 42  # type: ignore[index]
    assert "The hours say two people at once" in text and not codes_in(text)
    two = _text(signed_in, f"{PATH}?people=2")
    assert "With two people at the counter, give three times each quarter of an hour: four of 100" in two
    assert "Played with these" in two and "Tried; nothing is stored" in two


def test_when_even_one_is_too_many_it_says_what_to_do(signed_in: Browser) -> None:
    text = _text(signed_in, f"{PATH}?minutes=14&spread=5")
    assert "even one time each quarter of an hour is too many" in text and "one more person" in text
    assert "Go to the hours" not in text


def test_the_hint_about_the_middle_of_the_slot_stands_only_where_it_helps(signed_in: Browser) -> None:
    assert "asked for :07 instead of :00, four people fit" in _text(signed_in, f"{PATH}?people=2&spread=0")
    assert ":07" not in _text(signed_in, f"{PATH}?minutes=14")


def test_the_table_and_the_picture_hold_the_same_numbers(signed_in: Browser) -> None:
    html = signed_in.get(f"{PATH}?people=2").get_data(as_text=True)
    table = re.findall(r'<th scope="row">(\d+)[^/]*</?[^>]*>.*?<td>([^<]+)</td>', html)
    src = re.search(r'<img class="chart" src="([^"]+)"', html)
    assert src and len(table) >= 4
    answer = signed_in.get(src[1].replace("&amp;", "&"))
    assert answer.content_type.startswith("image/svg+xml") and answer.status_code == 200
    drawn = [
        "".join(one.itertext()).strip() for one in ET.fromstring(answer.data).iter("{http://www.w3.org/2000/svg}text")
    ]
    shown = [over.replace("&lt; 1", "0") for _, over in table]
    assert [one for one in drawn if one in shown][-1] and set(shown) <= set(drawn)
    assert {number for number, _ in table} <= set(drawn)
    dark = re.search(r'<source srcset="([^"]+)" media="\(prefers-color-scheme: dark\)"', html)
    assert dark and signed_in.get(dark[1].replace("&amp;", "&")).data != answer.data


@pytest.mark.parametrize(
    ("query", "field", "said"),
    [
        ("minutes=soon", "minutes", "This is no number"),
        ("people=0", "people", "People at the counter must be from 1"),
        ("minutes=1e3", "minutes", "This is no number"), ("no_show=95", "no_show", "must be from 0% to 90%"),
        ("walk_ins=-1", "walk_ins", "This is no number"), ("spread=99999999999999", "spread", "This is no number"),
        ("minutes=٣", "minutes", "This is no number"),
    ],
)  # fmt: skip
def test_a_figure_that_cannot_be_used_is_said_beside_its_field_and_the_shops_own_are_shown(
    signed_in: Browser, query: str, field: str, said: str
) -> None:
    html = signed_in.get(f"{PATH}?{query}").get_data(as_text=True)
    assert said in html and f'id="{field}-problem"' in html and f'value="{query.partition("=")[2]}"' in html
    assert "With one person at the counter, give one time" in html
    assert signed_in.get(f"{PATH}?{query}").status_code == 422
    assert signed_in.get(f"{PATH}.svg?{query}").status_code == 200


def test_a_comma_is_a_point_and_an_empty_field_is_the_shops_own_figure(signed_in: Browser) -> None:
    assert _text(signed_in, f"{PATH}?minutes=6,5&people=&spread=") == _text(signed_in, f"{PATH}?minutes=6.5")


def test_looking_and_trying_store_nothing_and_the_button_leads_to_a_form_that_a_person_keeps(
    house: Any, app: Flask, signed_in: Browser
) -> None:
    before = digest(house)
    html = signed_in.get(f"{PATH}?people=2").get_data(as_text=True)
    way = re.search(r'<a class="button main" href="(/settings\?at_once=3)#hours">', html)
    assert way
    settings = signed_in.get(way[1]).get_data(as_text=True)
    form = next(one for one in Reader(settings).forms if one.action == "/settings/hours")
    filled = [value for name, value in form.fields if name.startswith("capacity-") and value]
    assert filled == ["3"] * 6 and "Nothing is changed until you press" in settings
    assert digest(house) == before
    kept = {name: value for name, value in form.fields if not name.endswith("-7")}  # the row that is there to be filled
    answer = signed_in.post("/settings/hours", kept, seen="/settings")
    assert answer.status_code == 303, Reader(answer.get_data(as_text=True)).text[:400]
    with house.read() as unit:
        assert {row.capacity for _, row in shops.list_hours(unit)} == {3}
    assert "That is what the hours say already." in _text(signed_in, f"{PATH}?people=2")
    assert "at_once" not in signed_in.get(f"{PATH}?people=2").get_data(as_text=True)
    counter = _text(sign_in(app, house, role="counter"), PATH)
    assert "An owner keeps them there." in counter


def test_what_cannot_be_meant_is_not_filled_into_the_hours(signed_in: Browser) -> None:
    for text in ("-1", "999", "two", "<b>", ""):
        html = signed_in.get("/settings", query_string={"at_once": text}).get_data(as_text=True)
        form = next(one for one in Reader(html).forms if one.action == "/settings/hours")
        assert [value for name, value in form.fields if name.startswith("capacity-") and value] == ["2"] * 6


def test_a_slot_of_another_length_is_named_as_people_say_it(house: Any, signed_in: Browser) -> None:
    for minutes, said in ((30, "each half hour"), (20, "every 20 minutes"), (60, "each hour")):
        set_up.change_settings(house.ctx, house.actor(), {"slot_minutes": str(minutes)})
        assert said in _text(signed_in)
