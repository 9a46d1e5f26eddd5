"""Mail through a real SMTP server with TLS and sign-in, read back: its link, its look, its calendar entry."""

from __future__ import annotations

from collections.abc import Callable
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, Route

from notify.flows import check_in, moves
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from tests.parts.browser import press
from tests.parts.ical_js import by_ical_js
from tests.parts.live import Live
from tests.parts.smtp_server import SmtpServer

pytestmark = pytest.mark.real


@pytest.fixture
def live(smtp_server: SmtpServer, start_live: Callable[..., Live], tmp_path: Path) -> Live:
    """An installation that sends through the server with STARTTLS, a checked certificate and a password."""
    password = tmp_path / "mail.password"
    password.write_text("bell-and-shelf\n")
    password.chmod(0o600)
    return start_live(
        {
            "mail.transport": "smtp", "mail.host": "localhost", "mail.port": smtp_server.port,
            "mail.security": "starttls", "mail.username": "shop", "mail.password_file": str(password),
            "mail.ca_file": str(smtp_server.ca_file),
        }
    )  # fmt: skip


def ready_visit(live: Live) -> None:
    """A radio whose owner has e-mail only, taken in and repaired."""
    done = check_in.check_in(live.ctx, live.owner, VisitForm(
        bringer=PersonForm("Ines Farrow", email="ines@example.org"),
        devices=(DeviceForm("Kestrel pocket radio", "radio", "no sound", price_agreed="30"),),
    ))  # fmt: skip
    live.deliver()
    for phase in ("inspecting", "in_line", "on_bench", "proving", "on_shelf"):
        moves.move(live.ctx, live.owner, done.ticket_ids[0], phase)
    live.deliver()


def letters(server: SmtpServer) -> list[EmailMessage]:
    """What came in, oldest first."""
    return [message_from_bytes(one.content, policy=policy.default) for one in server.messages]


def newest_invite(server: SmtpServer) -> EmailMessage:
    """The last letter with a calendar part: the shop's own bell has none."""
    return [one for one in letters(server) if any(p.get_content_type() == "text/calendar" for p in one.walk())][-1]


def part(letter: EmailMessage, kind: str) -> EmailMessage:
    """The part of a message with this content type."""
    return next(one for one in letter.walk() if one.get_content_type() == kind)


def invite(letter: EmailMessage) -> Any:
    """Its calendar part, as ical.js reads it, with the method that the mail states."""
    wire = part(letter, "text/calendar")
    payload = wire.get_payload(decode=True)
    assert isinstance(payload, bytes)
    read = by_ical_js(payload)
    assert wire.get_param("method") == read["method"]
    return read


def link(letter: EmailMessage) -> str:
    """The address of the claim page in the words of a message."""
    return str(next(word for word in part(letter, "text/plain").get_content().split() if "/c/" in word))


def test_mail_is_encrypted_signed_in_and_leads_to_a_booking_in_the_calendar(
    live: Live, smtp_server: SmtpServer, new_page: Callable[..., Page]
) -> None:
    ready_visit(live)
    assert [(one.encrypted, one.login, one.recipients) for one in smtp_server.messages] == [
        (True, "shop", ("ines@example.org",))
    ] * 2
    ready = letters(smtp_server)[-1]
    assert "Kestrel pocket radio" in part(ready, "text/plain").get_content()

    phone = new_page(viewport={"width": 360, "height": 740})
    phone.goto(link(ready))
    press(phone.get_by_role("link", name="Choose a pickup time"))
    press(phone.locator("button[name=slot]").first)
    assert phone.locator("#pickup form").is_visible()
    live.deliver()
    first = invite(newest_invite(smtp_server))
    [event] = first["events"]
    assert (first["method"], event["sequence"], event["status"]) == ("REQUEST", 0, "CONFIRMED")
    assert event["start"].endswith("Z") and event["attendee"][0]["address"] == "mailto:ines@example.org"

    press(phone.get_by_role("link", name="Choose another time"))
    press(phone.locator("button[name=slot]").nth(5))
    assert phone.locator("#pickup form").is_visible()
    live.deliver()
    moved = invite(newest_invite(smtp_server))["events"][0]
    assert (moved["uid"], moved["sequence"]) == (event["uid"], 1) and moved["start"] != event["start"]

    press(phone.get_by_role("button", name="Give this time up"))
    assert phone.get_by_role("link", name="Choose a pickup time").is_visible()
    live.deliver()
    cancelled = invite(newest_invite(smtp_server))
    [gone] = cancelled["events"]
    assert (cancelled["method"], gone["status"], gone["uid"]) == ("CANCEL", "CANCELLED", event["uid"])
    assert gone["sequence"] > moved["sequence"]


def test_the_mail_as_delivered_asks_no_other_machine_for_anything(
    live: Live, smtp_server: SmtpServer, new_page: Callable[..., Page]
) -> None:
    ready_visit(live)
    asked: list[str] = []

    def refuse(route: Route) -> None:
        asked.append(route.request.url)
        route.abort()

    page = new_page(viewport={"width": 360, "height": 740})
    page.route("**/*", refuse)
    for letter in letters(smtp_server):
        page.set_content(part(letter, "text/html").get_content())
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        assert page.locator("html").get_attribute("lang") == "en"
    print(f"FIGURE mail_remote mails={len(smtp_server.messages)} remote_requests={len(asked)}")
    assert asked == []
    with page.expect_event("requestfailed"):
        page.set_content('<img src="http://other.example.test/seen.png">')
    assert len(asked) == 1, "a request to elsewhere would have been seen"
