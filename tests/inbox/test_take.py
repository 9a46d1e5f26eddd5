"""Letters of a real Maildir taken: reports only with a proof and only forward, replies once, whatever comes between.

RFC 3464 (delivery reports), RFC 3463 (status codes), RFC 3834 2 (automatic mail), RFC 5321 4.4 (Received) and
4.5.5 (a null return path is never answered). Returned letters are written by hand after RFC 3464's own layout.
"""

from __future__ import annotations

import email.utils
import itertools
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from notify.core.messages import Delivery
from notify.core.return_address import make_token
from notify.dispatch.receipts import take_receipt
from notify.flows import reach, replies, view_replies
from notify.inbox.maildir import MaildirMailbox
from notify.inbox.take import Post, arrived, take_letters
from notify.store import messages, people, receipts, tickets
from notify.store import replies as rows
from tests.flows.conftest import lines as lines
from tests.parts.answers import carrying
from tests.parts.calendar_bombs import BOMBS
from tests.parts.shelved import shelve

pytestmark = pytest.mark.long

BOUNCE = "bounce-{token}@example.org"
KEY = b"k" * 32
RECEIVED = "Received: from mx.example.net by mx.example.org with ESMTP;\r\n {date}\r\n"


@dataclass
class Desk:
    """A house, its Maildir, and letters put into it."""

    lines: Any
    folder: Path
    numbers: Iterator[int] = field(default_factory=lambda: itertools.count(1))

    @property
    def house(self) -> Any:
        return self.lines.house

    @property
    def post(self) -> Post:
        ids = self.house.services.shop_ids()
        return Post(self.house.ctx, ids, BOUNCE, KEY, frozenset({"counter@example.org"}), keep_days=30)

    def put(self, text: str, *, at: datetime | None = None) -> None:
        """A letter as our own mail server would deliver it, with the Received field that it puts on top."""
        date = email.utils.format_datetime(at or self.house.clock())
        lines = text.replace("\r\n", "\n").replace("\n", "\r\n")
        data = (RECEIVED.format(date=date) + lines).encode("utf-8", "surrogateescape")
        (self.folder / "new" / f"{next(self.numbers):06d}.test").write_bytes(data)

    def take(self, **more: Any) -> dict[str, int]:
        return take_letters(self.post, MaildirMailbox(self.folder), **more).counts

    def first(self, visit_id: str) -> Any:
        """The customer's message of a visit that left first."""
        return next(m for m in self.lines.rows(visit_id) if m.message_id and m.person_id)

    def row(self, message_id: str) -> Any:
        with self.house.read() as unit:
            return messages.get_message(unit, message_id)

    def contact(self, message: Any) -> Any:
        with self.house.read() as unit:
            return next(c for c in people.contacts_of(unit, message.person_id) if c.channel == message.channel)

    def replies(self) -> list[rows.Reply]:
        with self.house.read() as unit:
            return list(rows.list_replies(unit, limit=100))


@pytest.fixture
def desk(lines: Any, tmp_path: Path) -> Desk:
    for name in ("new", "cur", "tmp"):
        (tmp_path / "box" / name).mkdir(parents=True)
    return Desk(lines, tmp_path / "box")


def letter(text: str, *, sender: str = "ines@example.org", key: str = "m1", more: str = "") -> str:
    return (
        f"From: {sender}\nTo: counter@example.org\nSubject: Re: your mail\nMessage-ID: <{key}@mail.example.org>\n"
        f"{more}\n{text}\n"
    )


def report(
    action: str, status: str, *, to: str = "counter@example.org", about: str = "", key: str = "d1",
    says: str = "550 no such mailbox",
) -> str:  # fmt: skip
    """RFC 3464 2: multipart/report with delivery-status, and the returned header (RFC 3462)."""
    back = f"--b\nContent-Type: message/rfc822\n\nMessage-ID: {about}\nSubject: x\n\n\n" if about else ""
    return (
        f"Return-Path: <>\nFrom: MAILER-DAEMON@mx.example.net\nTo: {to}\nSubject: Returned\n"
        f"Message-ID: <{key}@mx.example.net>\nAuto-Submitted: auto-replied\nMIME-Version: 1.0\n"
        'Content-Type: multipart/report; report-type=delivery-status; boundary="b"\n\n'
        "--b\nContent-Type: text/plain\n\nIt could not be delivered.\n"
        "--b\nContent-Type: message/delivery-status\n\nReporting-MTA: dns; mx.example.net\n\n"
        f"Final-Recipient: rfc822; ines@example.org\nAction: {action}\nStatus: {status}\n"
        f"Diagnostic-Code: smtp; {says}\n\n{back}--b--\n"
    )


def address_of(message: Any, key: bytes = KEY) -> str:
    return BOUNCE.replace("{token}", make_token(message.id, message.contact_id, key=key))


# Reports -------------------------------------------------------------------------------------------------------


@pytest.mark.long
@pytest.mark.parametrize("proof", ["return_address", "message_id"])
@pytest.mark.parametrize(
    ("action", "status", "state", "delivery", "suppressed"),
    [
        ("failed", "5.1.1", "given_up", "failed", True),  # RFC 3463 3.2; vector J-05
        ("Failed", "4.4.7 (too long tried)", "given_up", "failed", False),  # RFC 3464 2.3.3; vector J-07
        ("failed", "5.7.1", "given_up", "failed", False),  # a policy is about the message, not the address
        ("delayed", "4.4.1", "sent", "delayed", False),  # vector J-06
        ("delivered", "2.1.5", "sent", "delivered", False),
        ("relayed", "2.0.0", "sent", "handed_over", False),  # vector J-51
        ("exploded", "5.1.1", "sent", "handed_over", False),  # an action that nobody defined
    ],
)
def test_a_report_moves_its_message_by_the_published_classes(
    desk: Desk, proof: str, action: str, status: str, state: str, delivery: str, suppressed: bool
) -> None:
    done = desk.house.check_in()
    desk.house.deliver(after=91)
    ours = desk.first(done.visit_id)
    to = address_of(ours) if proof == "return_address" else "counter@example.org"
    desk.put(report(action, status, to=to, about="" if proof == "return_address" else ours.message_id))
    assert desk.take() == {"report": 1}
    got = desk.row(ours.id)
    assert (got.state, got.delivery) == (state, delivery)
    assert desk.contact(ours).undeliverable is suppressed and not desk.replies()
    if state == "given_up":
        assert got.reason == f"bounced:{status.split()[0]}"
        with desk.house.read() as unit:
            told = receipts.receipts_of(unit, ours.id)[-1]
        assert (told.verdict, told.text) == ("failed", "smtp; 550 no such mailbox")


def test_after_a_bounce_the_next_allowed_way_is_taken_and_then_a_call(desk: Desk) -> None:
    house = desk.house
    both, mail = house.check_in(), house.check_in(email="tam@example.org", phone="", name="Tam Okoro")
    for done in (both, mail):
        shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    for number, done in enumerate((both, mail)):
        ready = next(m for m in desk.lines.rows(done.visit_id, "ready"))
        contact = desk.contact(ready)
        # `take_receipt` is what gateways use; a letter comes to the same end through the same function.
        assert take_receipt(
            house.ctx.db, house.shop_id, message_id=ready.id, delivery=Delivery.FAILED, code="5.1.1", text="no",
            suppress=True, contact_id=contact.id, now=house.clock(), channels_on=house.ctx.channels_on,
        ), number  # fmt: skip
    house.deliver(after=1)
    assert desk.lines.states(both.visit_id, "ready") == [("sms", "given_up", "bounced:5.1.1"), ("email", "sent", "")]
    assert desk.lines.states(mail.visit_id, "ready") == [
        ("email", "given_up", "bounced:5.1.1"), ("call", "to_call", "")
    ]  # fmt: skip


@pytest.mark.long
def test_receipts_move_only_forward_whatever_their_order_and_number(desk: Desk) -> None:
    """RFC 3464 2.3.3: only failed and delivered end the way of a message; a late "delayed" is no news."""
    house = desk.house
    ranks = {"delayed": 2, "delivered": 3, "failed": 3, "handed_over": 1, "unknown": 2}
    tried = wrong = 0
    for order in itertools.permutations(ranks, 3):
        done = house.check_in(phone="", email=f"ines{tried}@example.org")
        house.deliver(after=91)
        ours, seen = desk.first(done.visit_id), ["handed_over"]
        for word in order:
            for _ in range(2):
                news = take_receipt(
                    house.ctx.db, house.shop_id, message_id=ours.id, delivery=Delivery(word), code="c", text="",
                    suppress=False, contact_id="", now=house.clock(), channels_on=house.ctx.channels_on,
                )  # fmt: skip
                further = ranks[word] > ranks[seen[-1]]
                wrong += news is not further
                seen += [word] if further else []
        wrong += desk.row(ours.id).delivery != seen[-1]
        tried += 1
    print(f"FIGURE receipts_forward orders={tried} wrong={wrong}")
    assert tried == 60 and not wrong


def test_a_bounced_address_is_not_used_again_until_it_is_corrected(desk: Desk) -> None:
    house, done = desk.house, desk.house.check_in(phone="")
    house.deliver(after=91)
    ours = desk.first(done.visit_id)
    desk.put(report("failed", "5.1.1", to=address_of(ours)))
    desk.take()
    shelve(house, done.ticket_ids[0])
    sent = len(desk.lines.mail.sent)
    house.deliver(after=91)
    assert [o.to for o in desk.lines.mail.sent[sent:] if o.to == "ines@example.org"] == []
    with house.read() as unit:
        (broken,) = view_replies.broken_on_sheet(unit)
    assert (broken.masked, broken.why) == ("i••@example.org", "bounced:5.1.1")
    reach.set_contact(
        house.ctx, house.actor(), done.visit_id, ours.person_id, channel="email", address="ines.farrow@example.org"
    )
    with house.read() as unit:
        assert view_replies.broken_on_sheet(unit) == ()
    # A report about the old address that comes late does not touch the new one.
    desk.put(report("failed", "5.1.1", to=address_of(ours), key="d2"))
    desk.take()
    assert not desk.contact(ours).undeliverable


@pytest.mark.parametrize("forged", ["no_proof", "wrong_key", "other_contact", "other_message_id"])
def test_a_forged_report_changes_nothing_and_is_shown_to_the_shop(desk: Desk, forged: str) -> None:
    house, done = desk.house, desk.house.check_in()
    house.deliver(after=91)
    ours = desk.first(done.visit_id)
    token = {"wrong_key": address_of(ours, b"x" * 32)}
    token["other_contact"] = BOUNCE.replace("{token}", make_token(ours.id, "somebody-else", key=KEY))
    about = ours.message_id.replace("@", ".9@") if forged == "other_message_id" else ""
    desk.put(report("failed", "5.1.1", to=token.get(forged, "counter@example.org"), about=about))
    assert desk.take() == {"unproved": 1}
    got = desk.row(ours.id)
    assert (got.state, got.delivery) == ("sent", "handed_over") and not desk.contact(ours).undeliverable
    (shown,) = desk.replies()
    assert (shown.kind, shown.state, shown.visit_id, shown.person_id) == ("auto", "new", "", "")


def test_a_report_about_a_message_that_is_just_leaving_waits_for_the_next_round(desk: Desk) -> None:
    house, done = desk.house, desk.house.check_in()
    from notify.store import outbox

    house.clock.advance(91)
    now = house.clock()
    with house.ctx.db.write(house.shop_id) as unit:
        (taken,) = outbox.claim(unit, now=now, until=now + timedelta(minutes=15), by="w")
    desk.put(report("failed", "5.1.1", to=address_of(taken)))
    assert desk.take() == {"later": 1} and len(list((desk.folder / "new").iterdir())) == 1
    house.deliver(after=16 * 60)
    assert desk.take() == {"report": 1}
    assert desk.row(taken.id).state == "given_up" and done.visit_id == taken.visit_id


# Replies -------------------------------------------------------------------------------------------------------


def test_an_answer_to_our_letter_ends_on_the_ticket_by_identity_or_by_return_address(desk: Desk) -> None:
    house, done = desk.house, desk.house.check_in()
    house.deliver(after=91)
    ours = desk.first(done.visit_id)
    desk.put(letter("May my sister collect it?", more=f"In-Reply-To: {ours.message_id}\n"))
    desk.put(letter("And on Monday?", key="m2", more=f"Delivered-To: {address_of(ours)}\n"))
    assert desk.take() == {"reply": 2}
    assert [(r.message_id, r.ticket_id, r.person_id) for r in desk.replies()] == [
        (ours.id, done.ticket_ids[0], ours.person_id)
    ] * 2


@pytest.mark.parametrize(("key", "starts"), [(KEY, True), (b"x" * 32, False)])
def test_a_return_address_names_our_message_only_when_we_made_it(desk: Desk, key: bytes, starts: bool) -> None:
    """A sender is easily forged (RFC 5321 7.1); the token is known to whoever got our message."""
    house, done = desk.house, desk.house.check_in(phone="")
    house.deliver(after=91)
    ours = desk.first(done.visit_id)
    desk.put(letter("STOP"))
    desk.put(letter("START", key="m2").replace("counter@example.org", address_of(ours, key)))
    assert desk.take() == {"reply": 2}
    with house.read() as unit:
        uses = people.allowed_uses(unit, [ours.person_id]).get(ours.person_id, {})
    assert bool(uses.get("email")) is starts


def test_our_own_notices_in_the_same_mailbox_are_no_replies(desk: Desk) -> None:
    desk.put(letter("A call is needed.", sender="counter@example.org", more="Auto-Submitted: auto-generated\n"))
    assert desk.take() == {"own": 1} and desk.replies() == []


def test_looking_only_changes_nothing_and_handled_letters_go_after_their_days(desk: Desk) -> None:
    desk.house.check_in()
    desk.put(letter("STOP"))
    before = sorted(p.name for p in desk.folder.rglob("*"))
    assert desk.take(dry_run=True) == {"reply": 1}
    assert sorted(p.name for p in desk.folder.rglob("*")) == before and desk.replies() == []
    assert desk.take() == {"reply": 1} and desk.take() == {}
    (kept,) = (desk.folder / "cur").iterdir()
    old = (desk.house.clock() - timedelta(days=31)).timestamp()
    import os

    os.utime(kept, (old, old))
    assert take_letters(desk.post, MaildirMailbox(desk.folder)).removed == 1


# Once, and hostile mail (TESTPLAN D15) -------------------------------------------------------------------------


class Cut(Exception):
    """The process dies here."""


def test_killed_between_commit_and_the_mark_a_letter_comes_again_and_acts_no_second_time(desk: Desk) -> None:
    house, done = desk.house, desk.house.check_in()
    house.deliver(after=91)

    def die(point: str) -> None:
        raise Cut(point)

    desk.put(letter("HELP"))
    with pytest.raises(Cut):
        desk.take(fault=die)
    assert desk.take() == {"nothing": 1}
    house.deliver(after=1)
    assert len(desk.replies()) == 1 and len(desk.lines.rows(done.visit_id, "help_answer")) == 1


def test_the_same_letter_in_two_mailboxes_at_once_acts_once(desk: Desk, tmp_path: Path) -> None:
    house, done = desk.house, desk.house.check_in()
    house.deliver(after=91)
    for name in ("new", "cur", "tmp"):
        (tmp_path / "second" / name).mkdir(parents=True)
    second = Desk(desk.lines, tmp_path / "second")
    for box in (desk, second):
        for _ in range(5):
            box.put(letter("STOP"))
    counts: list[dict[str, int]] = []
    threads = [threading.Thread(target=lambda box=box: counts.append(box.take())) for box in (desk, second)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(60)
    house.deliver(after=1)
    acted = sum(one.get("reply", 0) for one in counts)
    print(f"FIGURE D15_two_mailboxes letters=10 acted={acted} database={house.ctx.db.engine.dialect.name}")
    assert acted == 1 and len(desk.replies()) == 1
    assert len(desk.lines.rows(done.visit_id, "stop_confirmed")) == 1


HOSTILE = {
    "empty": "",
    "no header": "\n\nSTOP",
    "two writers": "From: a@example.net\nFrom: ines@example.org\n\nSTOP",
    "twenty thousand addresses": "From: eve@example.net\nTo: " + ", ".join(f"a{n}@example.net" for n in range(20000)),
    "nested": "From: eve@example.net\nMIME-Version: 1.0\n" + "".join(
        f'Content-Type: multipart/mixed; boundary="b{n}"\n\n--b{n}\n' for n in range(1000)) + "\n\nx",
    "huge": "From: ines@example.org\nSubject: my radio\n\n" + "x" * (3 * 1024 * 1024),
    "zero octets": "From: eve@example.net\nMessage-ID: <\0@example.net>\nIn-Reply-To: <\0\0>\n\n\0\0STOP",
    "half signs": "From: eve@example.net\nSubject: =?utf-8?q?=ED=A0=80?=\n\nx",
    "null return path": "Return-Path: <>\nFrom: ines@example.org\nMessage-ID: <h1@example.net>\n\nSTOP",
    "list": "From: ines@example.org\nList-Id: <x.example.net>\nMessage-ID: <h2@example.net>\n\nHELP",
}  # fmt: skip


def test_no_hostile_letter_blocks_the_honest_one_behind_it(desk: Desk) -> None:
    house, done = desk.house, desk.house.check_in()
    house.deliver(after=91)
    for text in HOSTILE.values():
        desk.put(text)
    for number in range(30):
        desk.put(letter("x" * 2000, sender=f"eve{number}@example.net", key=f"s{number}"))
    for number, bomb in enumerate(BOMBS):
        desk.put(carrying(bomb.make(), sender="eve@example.net", key=f"b{number}").decode("utf-8", "surrogateescape"))
    desk.put(letter("Is it done?", key="honest"))
    counts = desk.take()
    honest = [r for r in desk.replies() if r.text == "Is it done?"]
    rang = len(desk.lines.rows(done.visit_id, "reply_shop"))
    bad = len(HOSTILE) + len(BOMBS) + 30
    print(f"FIGURE D15_hostile hostile_mails={bad} blocked={1 - len(honest)} effects={rang - 1}")
    assert len(honest) == 1 and sum(counts.values()) == bad + 1 and desk.take() == {}
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
        assert people.allowed_uses(unit, [person])[person]["email"] == {"repair", "pickup"}
    # Ines' huge letter could not be read: it is shown to the shop, and that is the one effect.
    assert [r.kind for r in desk.replies() if r.subject == "my radio"] == ["other"] and rang == 2


def test_a_letter_that_trips_the_program_is_shown_unread_and_the_next_one_is_taken(desk: Desk) -> None:
    desk.house.check_in()
    desk.put(letter("STOP"))
    desk.put(letter("Is it done?", key="honest"))
    asked = itertools.count(1)

    def clock() -> datetime:
        if next(asked) == 2:  # the first look is for the letter's age, the second in the flow that takes it
            raise ZeroDivisionError
        now: datetime = desk.house.clock()
        return now

    post = replace(desk.post, ctx=replace(desk.house.ctx, clock=clock))
    assert take_letters(post, MaildirMailbox(desk.folder)).counts == {"unread": 1, "reply": 1}
    honest, unread = desk.replies()
    assert honest.text == "Is it done?" and honest.person_id
    assert (unread.kind, unread.state, unread.subject) == ("other", "new", "A letter that could not be read")
    assert desk.take() == {}


def test_a_letter_is_as_old_as_our_own_server_says(desk: Desk) -> None:
    now = desk.house.clock()
    stamp = email.utils.format_datetime(now - timedelta(minutes=9))
    forged = f"Received: from a by b; {stamp}\r\nReceived: from x by y; {email.utils.format_datetime(now)}\r\n\r\n"
    assert arrived(forged.encode(), now) == now - timedelta(minutes=9)  # RFC 5321 4.4: the newest stands on top
    later = email.utils.format_datetime(now + timedelta(days=1))
    assert arrived(f"Received: a; {later}\r\n\r\n".encode(), now) == now
    for broken in (b"", b"Received: x\r\n\r\n", b"Received: ; 99 Foo 2026\r\n\r\n", b"\xff\xfe"):
        assert arrived(broken, now) == now


def test_what_strangers_wrote_is_gone_from_every_byte_after_its_days(desk: Desk) -> None:
    desk.put(letter("Where is the harbour master's organ?", sender="ute@example.net"))
    desk.take()
    desk.house.clock.advance(31 * 86400)
    assert replies.forget_strangers(desk.house.ctx, desk.house.system(), keep_days=30) == 1
    assert desk.replies() == []
