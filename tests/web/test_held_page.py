"""The owner's page of what is kept: pictures and tables say the same; the record takes what only the owner knows."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from flask import Flask

from notify.core.languages import LANGUAGES
from notify.flows import data_holds
from tests.flows.test_view_held import MONDAY, brought, lived
from tests.web.conftest import Browser, sign_in
from tests.web.staff_pages import Reader
from tests.web.test_claim_kept import statements
from tests.web.test_forecast_report_page import letters, pictures

pytestmark = pytest.mark.long
FORM = ("controller", "joint_controller", "representative", "officer", "recipients", "outside", "security", "authority")


def table(html: str, caption: str) -> list[list[str]]:
    """The rows of the table with that caption."""
    found = re.search(rf'<caption class="unseen">{caption}</caption>.*?<tbody>(.*?)</tbody>', html, re.DOTALL)
    assert found, caption
    rows = re.findall(r"<tr>(.*?)</tr>", found[1], re.DOTALL)
    return [[re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)] for row in rows]


def test_each_picture_shows_the_figures_of_its_table_and_says_them_in_words(signed_in: Browser, house: Any) -> None:
    lived(house)
    html = signed_in.get("/held").get_data(as_text=True)
    told = pictures(signed_in, "/held")
    assert list(told) == ["/held/ages.svg", "/held/next.svg", "/held/consents.svg"]
    ages = table(html, "Rows by kind of data and age")[0]
    assert ages[:4] == ["Customers, with name and contacts", "4", "2", "2"]
    assert [one for one in letters(signed_in, "/held/ages.svg") if one.isdigit()] == ["2", "2"]
    assert told["/held/ages.svg"] == (
        "How long customers are known here: 2 for less than a month and 2 for one to 3 months."
    )
    weeks = {row[0].split(":")[0]: row[1] for row in table(html, "People to be forgotten, by weeks from today")}
    drawn = letters(signed_in, "/held/next.svg")
    assert list(weeks.values()) == [one for one in drawn[13:] if one.isdigit()] and sum(map(int, weeks.values())) == 3
    assert all(f"{number} in week {week}" in told["/held/next.svg"] for week, number in weeks.items())
    assert "to e-mail about the repair 4 said yes and 0 no" in told["/held/consents.svg"]
    said = [f"{yes} : {no}" for _, _, yes, no in table(html, "What people last said")]
    assert said == [one for one in letters(signed_in, "/held/consents.svg") if " : " in one and one[0].isdigit()]


def test_pictures_show_what_the_page_before_them_counted_and_count_only_later_or_alone(
    signed_in: Browser, house: Any
) -> None:
    lived(house)
    told = pictures(signed_in, "/held")
    for seconds, counts in ((59, False), (1, True)):
        house.clock.advance(seconds)
        with statements(house.ctx.db.engine) as said:
            assert all(letters(signed_in, src) for src in told)
        assert any("FROM tickets" in one for one in said) is counts


def test_who_stays_leads_to_the_ticket_and_names_nobody(signed_in: Browser, house: Any) -> None:
    done = brought(house, MONDAY, "Noor Vantage", paid=False)
    review = MONDAY.date() + timedelta(days=200)
    data_holds.set_hold(
        house.ctx, house.actor(), done.visit_id, "dispute", note="the hum is back, they say", review_on=review
    )
    house.clock.set(MONDAY + timedelta(days=91))
    html = signed_in.get("/held").get_data(as_text=True)
    text = Reader(html).text
    assert f'href="/tickets/{done.ticket_ids[0]}"' in html and "Noor" not in html and "ines@" not in html
    assert "something is in dispute" in text.lower() and "a repair is not paid" in text.lower()
    assert "To be looked at again on 18 September 2026." in text
    assert "This is not legal advice" in text


def test_the_record_is_in_three_languages_and_takes_what_only_the_shop_can_say(signed_in: Browser, house: Any) -> None:
    for language in LANGUAGES:
        page = signed_in.get(f"/held/record?language={language}").get_data(as_text=True)
        assert f'<div class="record" lang="{language}">' in page and 'data-asks="officer"' in page
    typed = dict.fromkeys(FORM, "") | {"officer": "officer@example.org", "recipients": "Ledger & Lamp, our books"}
    assert signed_in.post("/held/record", typed).status_code == 303
    page = signed_in.get("/held/record").get_data(as_text=True)
    assert "Data protection officer: officer@example.org." in page and 'data-asks="officer"' not in page
    assert "Ledger &amp; Lamp, our books." in page
    for_customers = signed_in.get("/privacy?language=en").get_data(as_text=True)
    assert "officer@example.org" in for_customers and "Ledger &amp; Lamp" in for_customers
    wrong = signed_in.post("/held/record", typed | {"security": "x" * 501})
    assert wrong.status_code == 422 and 'href="#record-security"' in wrong.get_data(as_text=True)
    assert "x" * 501 in wrong.get_data(as_text=True)


def test_whoever_is_no_owner_is_kept_out(app: Flask, house: Any, signed_in: Browser) -> None:
    for role in ("counter", "technician"):
        other = sign_in(app, house, role=role)
        for path in ("/held", "/held/ages.svg", "/held/record"):
            assert other.get(path).status_code == 403
