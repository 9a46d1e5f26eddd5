"""While the database cannot be used, every page says so in words, in the language asked for; nothing is half done."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import event, make_url

from tests.web.conftest import Browser
from tests.web.database_digest import changed_tables, digest
from tests.web.test_check_in_page import WHOLE

pytestmark = pytest.mark.parametrize("backend", ["sqlite"], indirect=True)


@contextmanager
def locked(house: Any) -> Iterator[None]:
    """Somebody else holds the writer's lock, and nobody waits ten seconds for it."""
    engine = house.ctx.db.engine

    def hurry(connection: Any, *_: object) -> None:
        connection.execute("pragma busy_timeout=1")

    event.listen(engine, "checkout", hurry)
    other = sqlite3.connect(make_url(str(engine.url)).database or "")
    other.execute("begin immediate")
    try:
        yield
    finally:
        other.rollback()
        other.close()
        event.remove(engine, "checkout", hurry)
        engine.dispose()


def test_a_busy_database_is_a_503_in_words_and_the_same_form_works_a_minute_later(
    house: Any, signed_in: Browser
) -> None:
    form = {**WHOLE, "csrf_token": signed_in.token("/check-in")}
    before = digest(house)
    with locked(house):
        refused = signed_in.open("POST", "/check-in", data=form)
        looked = signed_in.get("/")
    assert refused.status_code == 503 and refused.headers["Retry-After"] == "60"
    assert "Please try again in a minute" in refused.get_data(as_text=True)
    assert looked.status_code == 200, "looking needs no writer's lock"
    assert changed_tables(before, digest(house)) == set()
    assert signed_in.open("POST", "/check-in", data=form).status_code == 303


def test_the_words_are_in_the_readers_language_and_json_is_json(house: Any, signed_in: Browser) -> None:
    form = {**WHOLE, "csrf_token": signed_in.token("/check-in")}
    with locked(house):
        german = signed_in.open("POST", "/check-in", data=form, headers={"Accept-Language": "de"})
        as_data = signed_in.open("POST", "/check-in", data=form, headers={"Accept": "application/json"})
    assert '<html lang="de">' in german.get_data(as_text=True) and "in einer Minute" in german.get_data(as_text=True)
    assert as_data.status_code == 503 and set(as_data.get_json()["error"]) == {"what", "advice"}


def test_a_page_for_nobody_in_particular_stands_although_the_shop_cannot_be_looked_up(
    house: Any, signed_in: Browser, tmp_path: Any
) -> None:
    """A missing page names the shop; with the database file gone it cannot, and says that instead."""
    file = tmp_path / make_url(str(house.ctx.db.engine.url)).database
    house.ctx.db.close()
    aside = file.with_suffix(".aside")
    file.rename(aside)
    file.mkdir()  # nobody can open a folder as a database
    try:
        answer = signed_in.get("/no-such-page")
    finally:
        house.ctx.db.close()
        file.rmdir()
        aside.rename(file)
    assert answer.status_code == 503 and "<h1>We cannot look anything up just now</h1>" in answer.get_data(as_text=True)
    assert signed_in.get("/no-such-page").status_code == 404
