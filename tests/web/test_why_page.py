"""The story of messages as a page, and what a watcher of the machine is told about those that wait."""

from __future__ import annotations

from typing import Any

import pytest
from flask import Flask

from tests.parts.shelved import shelve
from tests.web.conftest import Browser, sign_in
from tests.web.staff_pages import Reader, codes_in

pytestmark = pytest.mark.long


def test_the_story_of_each_message_is_reached_from_its_ticket_and_read_as_sentences(
    house: Any, signed_in: Browser, app: Flask
) -> None:
    done = house.check_in()
    shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    house.deliver(after=91)
    ticket = signed_in.get(f"/tickets/{done.ticket_ids[0]}").get_data(as_text=True)
    assert f'href="/tickets/{done.ticket_ids[0]}/why"' in ticket
    for role in ("counter", "technician"):
        page = sign_in(app, house, role=role).get(f"/tickets/{done.ticket_ids[0]}/why")
        read = Reader(page.get_data(as_text=True)).text
        assert page.status_code == 200 and not codes_in(read)
        assert "Ready to collect , for Ines Farrow" in read and "repaired and put on the shelf" in read
        assert "a newer one says how things stand" in read and "It left " in read
        assert "+447700900123" not in read and "ines@example.org" not in read  # contacts are masked
    message = page.get_data(as_text=True).partition('href="/messages/')[2].partition('"')[0]
    shown = signed_in.get(f"/messages/{message}").get_data(as_text=True)
    assert f'href="/tickets/{done.ticket_ids[0]}/why#message-{message}"' in shown
    assert signed_in.get("/tickets/nobody/why").status_code == 404


def test_a_watcher_of_this_machine_is_told_how_long_the_oldest_message_waits_and_nobody_else(
    house: Any, client: Browser
) -> None:
    house.check_in()
    house.clock.advance(90 + 61 * 60)
    here = {"environ_overrides": {"REMOTE_ADDR": "127.0.0.1"}}
    told = client.get("/healthz", **here)
    late = {"ok": True, "shops": 1, "waiting": 1, "oldest_seconds": 90 + 61 * 60, "late": 1, "alarm": True}
    assert told.get_json() == late
    house.deliver()
    well = client.get("/healthz", **here).get_json()
    assert (well["waiting"], well["late"], well["alarm"]) == (0, 0, False)
    assert client.get("/healthz", environ_overrides={"REMOTE_ADDR": "192.0.2.7"}).status_code == 404
