"""Out through a real mail server, and back: delivered, bounced by its own report, answered and stopped."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from email.message import EmailMessage
from email.utils import make_msgid
from pathlib import Path
from typing import Any

import pytest

from notify.flows import check_in, moves, set_up
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import messages, people
from notify.store.messages import Message
from notify.wiring import Services
from tests.parts.installation import NEVER_QUIET, ROOT, Installation, make_installation, owner_of
from tests.parts.mta import COUNTER, CUSTOMERS, OWNER, SHOP, Post

pytestmark = pytest.mark.real


class Bench:
    """The shop: an installation that mails through the town's server and reads its one mailbox there by IMAP."""

    ready_visit: check_in.CheckedIn

    def __init__(self, installation: Installation, post: Post) -> None:
        self.installation, self.post = installation, post
        self.services: Services = installation.open()
        self.shop_id = self.services.shop_ids()[0]

    def bring(self, name: str, *, phone: str = "") -> check_in.CheckedIn:
        """A device taken in and put on the shelf; everything that this tells has left."""
        person = PersonForm(name.title(), phone=phone, email=f"{name}@{CUSTOMERS}")
        owner = owner_of(self.services)
        done = check_in.check_in(
            self.services.context, owner, VisitForm(person, devices=(DeviceForm("Kestrel radio"),))
        )
        self.deliver()
        for phase in ("in_line", "on_bench", "on_shelf"):
            moves.move(self.services.context, owner, done.ticket_ids[0], phase)
        self.deliver()
        return done

    def deliver(self) -> None:
        while self.services.dispatcher.run_once(self.shop_id):
            pass

    def command(self, *words: str) -> Any:
        """A command as a process of its own; its JSON."""
        done = subprocess.run(
            [sys.executable, "-m", "notify", *words, "--json", "--config", str(self.installation.config)],
            cwd=ROOT, capture_output=True, timeout=60, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr.decode()
        return json.loads(done.stdout)

    def messages(self, visit_id: str) -> dict[tuple[str, str], Message]:
        """The visit's messages by notice and channel."""
        with self.services.context.db.read(self.shop_id) as unit:
            return {(m.notice, m.channel): m for m in messages.messages_of_visit(unit, visit_id)}

    def contacts(self, person_id: str) -> tuple[people.Contact, ...]:
        with self.services.context.db.read(self.shop_id) as unit:
            return people.contacts_of(unit, person_id)

    def uses(self, person_id: str) -> Any:
        """channel -> purposes allowed today."""
        with self.services.context.db.read(self.shop_id) as unit:
            return people.allowed_uses(unit, [person_id])[person_id]


@pytest.fixture
def bench(post: Post, tmp_path: Path) -> Iterator[Bench]:
    password = tmp_path / "inbox.password"
    password.write_text(post.boxes[COUNTER].password + "\n")
    password.chmod(0o600)
    box = post.boxes[COUNTER]
    installation = make_installation(tmp_path, **{
        "mail.transport": "smtp", "mail.host": "127.0.0.1", "mail.port": post.port, "mail.security": "none",
        "mail.sender_address": f"counter@{SHOP}", "mail.bounce_address": f"bounce-{{token}}@{SHOP}",
        "inbox.transport": "imap", "inbox.host": box.host, "inbox.port": box.tls_port, "inbox.security": "tls",
        "inbox.username": box.user, "inbox.password_file": str(password), "inbox.ca_file": str(box.ca_file),
        "bell.wait_seconds": 0, **NEVER_QUIET,
    })  # fmt: skip
    made = Bench(installation, post)
    set_up.change_settings(made.services.context, owner_of(made.services), {"email": f"{OWNER}@{SHOP}"})
    yield made
    installation.close()


def answer(to: EmailMessage, words: str, *, name: str) -> EmailMessage:
    """What a mail program makes when somebody presses Reply (RFC 5322 3.6.4)."""
    mail = EmailMessage()
    mail["From"] = f"{name.title()} Farrow <{name}@{CUSTOMERS}>"
    mail["To"] = to["Reply-To"] or to["From"]
    mail["Subject"] = f"Re: {to['Subject']}"
    mail["Message-ID"] = make_msgid(domain=CUSTOMERS)
    mail["In-Reply-To"] = mail["References"] = to["Message-ID"]
    quoted = "\n".join(f"> {line}" for line in str(_text(to)).splitlines())
    mail.set_content(f"{words}\n\nOn {to['Date']}, {to['From']} wrote:\n{quoted}\n")
    return mail


def _text(mail: EmailMessage) -> str:
    part = next(one for one in mail.walk() if one.get_content_type() == "text/plain")
    return part.get_payload(decode=True).decode()  # type: ignore[union-attr]


def test_out_and_back_through_real_servers(bench: Bench) -> None:
    post, began = bench.post, time.monotonic()
    came_back = bounce(bench)
    ready = delivered(bench)
    ordinary(bench, ready)
    stopped(bench, ready)
    print(f"FIGURE round_trip mta=exim imap=dovecot delivered=2 bounced={came_back} replies_on_ticket=1 stopped=1 "
          f"confirmations=1 seconds={time.monotonic() - began:.1f}")  # fmt: skip
    assert post.is_idle()


def delivered(bench: Bench) -> EmailMessage:
    """A `ready` leaves through two servers into the customer's mailbox."""
    visit = bench.bring("ines")
    came = bench.post.letters("ines", count=2)
    by_id = {str(mail["Message-ID"]): mail for mail in came}
    told = bench.messages(visit.visit_id)[("ready", "email")]
    assert told.state == "sent" and told.message_id in by_id
    ready = by_id[told.message_id]
    assert "Kestrel radio" in _text(ready)
    token = str(ready["Return-path"])
    assert token.startswith("<bounce-") and token.endswith(f"@{SHOP}>"), "the envelope's sender names the message"
    bench.ready_visit = visit
    return ready


def bounce(bench: Bench) -> int:
    """A mail to nobody comes back as the server's own report; the message is given up and somebody has to phone."""
    visit = bench.bring("nobody-here")
    reports = bench.post.letters(COUNTER, count=2)  # of `checked_in` and of `ready`
    assert {mail.get_content_type() for mail in reports} == {"multipart/report"}
    counts = bench.command("inbox", "--once")["counts"]
    assert counts == {"report": 2}, (counts, reports[0].as_string())
    bench.deliver()
    told = bench.messages(visit.visit_id)
    ready = told[("ready", "email")]
    assert (ready.state, ready.reason, ready.delivery) == ("given_up", "bounced:5.1.1", "failed"), ready
    assert told[("ready", "call")].state == "to_call"
    [contact] = [c for c in bench.contacts(ready.person_id) if c.channel == "email"]
    assert contact.undeliverable, "the address is not used again until it is corrected"
    assert bench.command("inbox", "--once")["counts"] == {}, "the same reports act once"
    [call] = bench.post.letters(OWNER, count=1)
    assert call["To"] == f"{OWNER}@{SHOP}", "the shop is told that somebody has to phone"
    return int(counts["report"])


def ordinary(bench: Bench, ready: EmailMessage) -> None:
    """What the customer writes stands on the ticket, without what they quoted."""
    mail = answer(ready, "Could you leave the old battery in the bag?", name="ines")
    bench.post.send(mail, sender=f"ines@{CUSTOMERS}", to=f"counter@{SHOP}")
    bench.post.letters(COUNTER, count=3)
    assert bench.command("inbox", "--once")["counts"] == {"reply": 1}
    [line] = bench.command("replies")["lines"]
    assert line["text"].strip() == "Could you leave the old battery in the bag?"
    assert line["who"] == "customer" and line["is_new"] and line["number"]


def stopped(bench: Bench, ready: EmailMessage) -> None:
    """STOP withdraws what was allowed by mail; one confirmation comes, and nothing more."""
    visit = bench.ready_visit
    person_id = bench.messages(visit.visit_id)[("ready", "email")].person_id
    assert bench.uses(person_id)["email"]
    bench.post.send(answer(ready, "STOP", name="ines"), sender=f"ines@{CUSTOMERS}", to=f"counter@{SHOP}")
    bench.post.letters(COUNTER, count=4)
    assert bench.command("inbox", "--once")["counts"] == {"reply": 1}
    bench.deliver()
    assert not bench.uses(person_id)["email"]
    came = bench.post.letters("ines", count=3)
    confirmed = bench.messages(visit.visit_id)[("stop_confirmed", "email")]
    assert confirmed.state == "sent" and [m for m in came if m["Message-ID"] == confirmed.message_id]
    bench.command("inbox", "--once")
    bench.deliver()
    time.sleep(0.5)
    assert len(bench.post.letters("ines", count=3)) == 3
