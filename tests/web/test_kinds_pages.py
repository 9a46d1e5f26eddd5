"""Kinds of repair and past repairs on their pages, at check-in and on a ticket: kept, said in words, bounded."""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask import Flask

from notify.flows import repair_kinds
from notify.store import repair_kinds as rows
from notify.store import tickets
from tests.web.conftest import Browser, sign_in
from tests.web.database_digest import changed_tables, digest
from tests.web.staff_pages import Reader, codes_in

pytestmark = pytest.mark.long
KINDS, HISTORY = "/settings/kinds", "/settings/history"
LINES = b"kind,minutes,ended\nCamera shutter,41,2026-11-02\nCamera shutter,60,2026-11-03 16:30\n"


@pytest.fixture
def shop(house: Any) -> Any:
    repair_kinds.add_first(house.ctx, house.actor())
    return house


def text(browser: Browser, path: str) -> str:
    answer = browser.get(path)
    assert answer.status_code == 200
    found = Reader(answer.get_data(as_text=True)).text
    assert not codes_in(found)
    return str(found)


def upload(browser: Browser, data: bytes, **more: str) -> Any:
    fields = {"csrf_token": browser.token(HISTORY), "dates": "iso", "look": "", **more}
    parts = [f'--cut\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{fields[name]}\r\n' for name in fields]
    head = '--cut\r\nContent-Disposition: form-data; name="file"; filename="jobs.csv"\r\n\r\n'
    body = ("".join(parts) + head).encode() + data + b"\r\n--cut--\r\n"
    return browser.open("POST", f"{HISTORY}/read", data=body, content_type="multipart/form-data; boundary=cut")


def test_a_kind_is_kept_renamed_and_no_longer_offered(shop: Any, signed_in: Browser) -> None:
    typed = {"name": "Tape belt", "minutes": "40", "device_class": "radio", "rename": ""}
    assert signed_in.post(f"{KINDS}/keep", typed).status_code == 303
    assert "Usually 40 minutes for portable radios." in text(signed_in, KINDS)
    again = {**typed, "name": "tape belt", "minutes": "1", "rename": "Tape deck belt"}
    assert signed_in.post(f"{KINDS}/keep", again).status_code == 303
    with shop.read() as unit:
        kind = rows.find_kind(unit, "Tape deck belt")
    signed_in.post(f"{KINDS}/keep", {"retire": kind.id})
    shown = text(signed_in, KINDS)
    assert "Tape deck belt is no longer offered." in shown and "Usually one minute" in shown
    assert "Tape deck belt" not in signed_in.get("/check-in").get_data(as_text=True)
    wrong = signed_in.post(f"{KINDS}/keep", {**typed, "minutes": "soon"})
    assert wrong.status_code == 422 and 'id="kind-minutes-problem"' in wrong.get_data(as_text=True)
    assert signed_in.post(f"{KINDS}/keep", {"retire": "nobody"}).status_code == 422


def test_a_device_is_checked_in_with_its_kind_and_a_ticket_may_say_another(shop: Any, signed_in: Browser) -> None:
    page = signed_in.get("/check-in").get_data(as_text=True)
    assert '<optgroup label="Camera">' in page and "Kind of repair" in page
    with shop.read() as unit:
        shutter, battery = rows.find_kind(unit, "Camera shutter").id, rows.find_kind(unit, "Reader battery").id
    data = {"name": "Ida Moss", "language": "en", "check_in": "yes", "device_class-1": "camera",
            "device-1": "Otter camera", "kind-1": shutter}  # fmt: skip
    done = signed_in.post("/check-in", data)
    assert done.status_code == 303
    with shop.read() as unit:
        (ticket,) = tickets.tickets_of_visit(unit, done.location.rsplit("/", 1)[1])
    assert ticket.kind_id == shutter
    shown = signed_in.get(f"/tickets/{ticket.id}").get_data(as_text=True)
    assert f'value="{shutter}" selected' in shown and battery not in shown  # of a camera's kinds only
    assert signed_in.post(f"/tickets/{ticket.id}/kind", {"kind": battery}).status_code == 303
    wrong = signed_in.post(f"/tickets/{ticket.id}/kind", {"kind": "nobody"})
    assert wrong.status_code == 422 and 'id="repair-kind-problem"' in wrong.get_data(as_text=True)
    with shop.read() as unit:
        assert tickets.get_ticket(unit, ticket.id).kind_id == battery


def test_a_file_is_looked_at_read_in_and_told_line_by_line(shop: Any, signed_in: Browser) -> None:
    before = digest(shop)
    look = upload(signed_in, LINES + b"Camera shutter,soon,2026-11-03\n", look="yes").get_data(as_text=True)
    assert "Two repairs would be read in, one line refused." in look
    assert "Line 4: minutes: these are no minutes." in look
    assert not changed_tables(before, digest(shop)) - {"sessions"}
    assert upload(signed_in, LINES).status_code == 303
    shown = text(signed_in, HISTORY)
    assert "Learned from two repairs of one kind, 2 of them out of files." in shown
    assert re.search(r"Camera shutter ?: Two repairs, half within \d+ minutes, nine of ten within \d+\.", shown)
    assert "The newest two repairs, each predicted from those before it only." in shown
    unknown = upload(signed_in, b"kind,minutes,ended\n<b>Phone,5,2026-11-02\nPhone glass,5,2026-11-02\n").get_data(True)
    assert "Kinds that are not here: Phone glass (1)" in unknown and "<b>Phone" not in unknown


def test_what_is_no_such_file_or_too_large_is_refused_and_changes_nothing(shop: Any, signed_in: Browser) -> None:
    before = digest(shop)
    for data, status in ((b"", 422), (b"\x89PNG\r\n", 422), (LINES + b"x" * 600 * 1024, 413)):
        assert upload(signed_in, data).status_code == status
    assert signed_in.post(f"{HISTORY}/read", {"dates": "iso"}).status_code == 422
    assert upload(signed_in, LINES, dates="<script>").status_code == 422
    assert not changed_tables(before, digest(shop)) - {"sessions"}


def test_somebody_at_the_counter_looks_and_changes_nothing(shop: Any, app: Flask) -> None:
    browser = sign_in(app, shop, role="counter")
    assert "Only an owner changes these." in text(browser, KINDS)
    assert upload(browser, LINES).status_code == 403
    assert browser.post(f"{KINDS}/keep", {"name": "x", "minutes": "5"}).status_code == 403
