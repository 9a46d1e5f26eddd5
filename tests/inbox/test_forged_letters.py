"""Letters written to stop the shop from hearing others: each is taken, and the honest one behind it acts.

RFC 5322 3.6.4 (Message-ID: visible ASCII between angle brackets, unique by promise only), RFC 5321 4.4 (Received).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import pytest

from notify.core.errors import Conflict
from notify.inbox.letter import read_letter
from notify.inbox.mailbox import Held
from notify.inbox.maildir import MaildirMailbox
from notify.inbox.take import take_letters
from notify.store import people, tickets
from tests.inbox.test_take import Desk, letter
from tests.inbox.test_take import desk as desk
from tests.inbox.test_take import lines as lines

LAST_EVENING = b"Received: from a by b; Fri, 31 Dec 9999 23:59:59 -1400\r\n"  # year 10000 in UTC


def told(desk: Desk) -> str:
    """A customer who had our first mail; their visit."""
    done = desk.house.check_in()
    desk.house.deliver(after=91)
    return str(done.visit_id)


def put(desk: Desk, raw: bytes, *, name: str = "000000.first") -> None:
    (desk.folder / "new" / name).write_bytes(raw.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n"))


def email_uses(desk: Desk, visit_id: str) -> frozenset[str]:
    with desk.house.read() as unit:
        person = tickets.tickets_of_visit(unit, visit_id)[0].person_id
        return people.allowed_uses(unit, [person]).get(person, {}).get("email", frozenset())


def test_a_letter_from_the_end_of_time_does_not_keep_the_next_one_away(desk: Desk) -> None:
    told(desk)
    put(desk, LAST_EVENING + letter("x", sender="eve@example.net").encode())
    desk.put(letter("Is it done?", key="honest"))
    assert desk.take() == {"reply": 2}
    assert {r.text for r in desk.replies()} == {"x", "Is it done?"}
    assert all(r.at <= desk.house.clock() for r in desk.replies())


def test_a_letter_that_cannot_be_marked_does_not_keep_the_next_one_away_and_acts_once(desk: Desk) -> None:
    told(desk)
    put(desk, letter("x", key="long").encode(), name="0" * 253)  # no room for the mark in the file's name
    desk.put(letter("Is it done?", key="honest"))
    assert desk.take() == {"not_marked": 1, "reply": 1}
    assert desk.take() == {"not_marked": 1}
    assert sorted(r.text for r in desk.replies()) == ["Is it done?", "x"]


def test_whoever_uses_a_message_id_first_does_not_swallow_the_letter_that_bears_it(desk: Desk) -> None:
    visit = told(desk)
    desk.put(letter("Hello", sender="eve@example.net", key="same"))
    desk.put(letter("Is it done?", key="same", more="Date: Wed, 25 Nov 2026 10:00:00 +0100\n"))
    desk.put(letter("STOP", key="same", more="Date: Wed, 25 Nov 2026 10:01:00 +0100\n"))
    assert desk.take() == {"reply": 3}
    assert {r.text for r in desk.replies()} == {"Hello", "Is it done?", "STOP"}
    assert email_uses(desk, visit) == frozenset()


def test_a_copy_by_another_way_is_the_same_letter() -> None:
    """What servers on the way add on top (RFC 5321 4.4) and a line at the end make no other letter of it."""
    whole = letter("STOP", more="Date: Wed, 25 Nov 2026 10:00:00 +0100\n").encode()
    again = b"Received: from mx2.example.net by mx.example.org; Wed, 25 Nov 2026 10:00:09 +0100\n" + whole + b"\n"
    assert read_letter(whole).key == read_letter(again).key
    assert read_letter(whole.replace(b"10:00:00", b"10:00:01")).key != read_letter(whole).key


def test_odd_octets_in_an_identifier_cost_the_identifier_and_not_the_wish(desk: Desk) -> None:
    visit = told(desk)
    odd = b"<\xff\x01@\xc3\xa4.example.org>"
    fields = b"Message-ID: %b\nIn-Reply-To: <a\0b@c>\nReferences: %b %b\n" % (odd, odd, odd)
    put(desk, b"From: ines@example.org\nTo: counter@example.org\nSubject: x\n" + fields + b"\nSTOP\n")
    assert desk.take() == {"reply": 1}
    assert [(r.kind, r.letter_id) for r in desk.replies()] == [("stop", "")]
    assert email_uses(desk, visit) == frozenset()
    desk.house.deliver(after=1)
    assert desk.lines.states(visit, "stop_confirmed") == [("email", "sent", "")]


def test_an_endless_identifier_is_none() -> None:
    """Cut in the middle it would break our answer's In-Reply-To."""
    assert read_letter(letter("x", key="a" * 300).encode()).message_id == ""
    assert read_letter(letter("x", key="a" * 150).encode()).message_id.endswith("@mail.example.org>")


class Stumbling:
    """A Maildir of which the named letters are never given out, as by a server that stumbles over what is in them."""

    def __init__(self, desk: Desk, *bad: str) -> None:
        self.real, self.bad, self.asked = MaildirMailbox(desk.folder), bad, 0
        self.done, self.remove_older, self.close = self.real.done, self.real.remove_older, self.real.close
        self.handled, self.remove = self.real.handled, self.real.remove

    def letters(self) -> Iterator[Held]:
        for held in self.real.letters():
            yield replace(held, read=partial(self._read, held))

    def _read(self, held: Held) -> bytes:
        self.asked += 1
        if held.uid.startswith(self.bad):
            raise Conflict("The mailbox does not answer", "Ask again.")
        return held.read()


def test_letters_over_which_the_server_stumbles_do_not_keep_away_what_came_after_them(desk: Desk) -> None:
    told(desk)
    for number in range(9):
        put(desk, letter("x", key=f"bad{number}").encode(), name=f"000000.bad{number}")
    desk.put(letter("Is it done?", key="honest"))
    desk.put(letter("And on Monday?", key="second"))
    for _ in range(2):
        with pytest.raises(Conflict):
            take_letters(desk.post, Stumbling(desk, "000000.bad"))
    assert sorted(r.text for r in desk.replies()) == ["And on Monday?", "Is it done?"]
    ill = Stumbling(desk, "")
    with pytest.raises(Conflict):
        take_letters(desk.post, ill)
    assert ill.asked == 6  # a mailbox that gives out nothing is soon left alone
