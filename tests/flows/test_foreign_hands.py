"""What belongs to another shop, another person or nobody any more cannot be sent, set, read or erased by asking for it.

OWASP ASVS 5.0.0, 8.2.2: data is reached only by whoever may reach that very item.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from notify.core.actors import Actor
from notify.core.errors import Conflict, NotAllowed, NotFound
from notify.flows import forget, replies, set_up, staff_bell, view_messages, view_replies, view_why
from notify.flows.resend import resend
from notify.store import schema, staff
from tests.flows.conftest import Lines, words
from tests.flows.conftest import lines as lines
from tests.flows.test_ask_after import later, repaired
from tests.flows.test_hear_reply import first_sent, person_of, say
from tests.web.database_digest import changed_tables, digest


def neighbour(lines: Lines) -> Actor:
    """The owner of another shop of the same installation."""
    shop = set_up.make_shop(lines.house.ctx, settings={"name": "Ferry Slip Repairs", "language": "en"})
    with lines.house.ctx.db.write(shop) as unit:
        person = staff.add_staff(unit, name="Odile", role="owner", password_hash="h", pin_hash="",
                                 at=lines.house.clock())  # fmt: skip
    return Actor(shop, "staff", person, "owner")


def staff_of(lines: Lines, *, role: str = "counter") -> str:
    with lines.house.ctx.db.write(lines.house.shop_id) as unit:
        return staff.add_staff(unit, name=f"Wim {role}", role=role, password_hash="h", pin_hash="",
                               at=lines.house.clock())  # fmt: skip


def keys(lines: Lines, owner: str) -> bool:
    return bool(lines.house.ctx.db.vault.destroy_keys([owner]))


def test_the_neighbour_reaches_nothing_by_its_identifier(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in()
    house.deliver(after=91)
    ours, reply = first_sent(lines, done.visit_id).id, say(lines, "Is it done?")
    wim, theirs = staff_of(lines), neighbour(lines)
    staff_bell.set_bell(house.ctx, house.actor(), wim, email="wim@example.org", by="email")
    look = house.services.dispatcher.look
    asked: dict[str, Callable[[], Any]] = {
        "resend": lambda: resend(house.ctx, theirs, ours, reason="asked", look=look),
        "message": lambda: view_messages.view_one(house.ctx, theirs, ours),
        "why": lambda: view_why.view(house.ctx, theirs, done.ticket_ids[0]),
        "seen": lambda: replies.mark_seen(house.ctx, theirs, reply),
        "reply": lambda: view_replies.find_reply(house.ctx, theirs, reply[:30]),
        "bell": lambda: staff_bell.set_bell(house.ctx, theirs, wim, email="odile@example.net", by="email"),
        "bell off": lambda: staff_bell.forget_bell(house.ctx, theirs, wim),
    }
    before = digest(house)
    for ask in asked.values():
        with pytest.raises(NotFound):
            ask()
    assert not changed_tables(before, digest(house)) and view_replies.view(house.ctx, theirs).lines == ()
    print(f"FIGURE foreign_shop asked={len(asked)} reached=0")
    assert keys(lines, wim)  # the neighbour's try did not cost them their key


def test_only_the_owner_sets_the_bell_of_somebody_else(lines: Lines) -> None:
    house, wim, ola = lines.house, staff_of(lines), staff_of(lines, role="technician")
    counter = Actor(house.shop_id, "staff", wim, "counter")
    for ask in (lambda: staff_bell.set_bell(house.ctx, counter, ola, email="x@example.org", by="email"),
                lambda: staff_bell.forget_bell(house.ctx, counter, ola)):  # fmt: skip
        with pytest.raises(NotAllowed):
            ask()
    staff_bell.set_bell(house.ctx, counter, wim, email="wim@example.org", by="email")
    assert not keys(lines, ola) and keys(lines, wim)


def test_nothing_is_sent_once_more_to_whoever_was_forgotten(lines: Lines) -> None:
    house, done = lines.house, lines.house.check_in()
    house.deliver(after=91)
    say(lines, "Is it done?")
    house.deliver(after=1)
    sent = [m for m in lines.rows(done.visit_id) if m.state == "sent"]
    assert {bool(m.person_id) for m in sent} == {True, False}  # one to the customer and one to the shop about them
    forget.erase_person(house.ctx, house.actor(), person_of(lines, done))
    out = len(lines.mail.sent)
    for message in sent:
        if message.person_id:
            with pytest.raises(Conflict, match="forgotten"):
                resend(house.ctx, house.actor(), message.id, reason="asked", look=house.services.dispatcher.look)
        else:  # it may be planned for the shop, and does not leave: its words are gone
            resend(house.ctx, house.actor(), message.id, reason="asked", look=house.services.dispatcher.look)
    house.deliver(after=91)
    assert len(lines.mail.sent) == out
    assert lines.states(done.visit_id, "reply_shop")[-1] == ("email", "dropped", "forgotten")
    with house.read() as unit:
        rows = unit.connection.execute(schema.replies.select()).all()
    assert all(row.text_sealed is None for row in rows)


def test_what_somebody_writes_after_being_forgotten_reaches_nobodys_visit(lines: Lines) -> None:
    """Their address is known to nobody any more; a letter that names our old message is kept as a stranger's."""
    house, done = lines.house, lines.house.check_in()
    house.deliver(after=91)
    ours = first_sent(lines, done.visit_id).id
    forget.erase_person(house.ctx, house.actor(), person_of(lines, done))
    for number, word in enumerate(("START", "STOP", "HELP", "Is it done?")):
        say(lines, word, f"k{number}", answers=(ours,))
    out = len(lines.mail.sent)
    house.deliver(after=91)
    found = view_replies.view(house.ctx, house.actor()).lines
    assert [(line.who, line.visit_id, line.person) for line in found] == [("stranger", "", "")] * 4
    assert len(lines.mail.sent) == out


def test_staff_who_look_at_a_mail_do_not_get_the_customers_button(lines: Lines) -> None:
    """RFC 8058 7: the press must be the reader's own. Not in the mail as shown, and not where a customer quotes it."""
    done = repaired(lines)
    later(lines)
    (asked,) = lines.rows(done.visit_id, "all_well")
    links = re.findall(r"/u/[A-Za-z0-9_-]{36}", words(lines.mail.sent[-1]))
    shown = view_messages.view_one(lines.house.ctx, lines.house.actor(), asked.id)
    assert len(set(links)) == 1 and "/u/••••" in shown.text
    assert links[0] not in shown.text and links[0] not in shown.html
    whole = view_messages.view_one(lines.house.ctx, lines.house.actor(), asked.id, whole_links=True)
    assert links[0] in whole.text
    say(lines, f"You wrote: https://shop.example.org{links[0]} What is that?")
    (line,) = view_replies.view(lines.house.ctx, lines.house.actor()).lines
    assert links[0] not in line.text and "/u/••••" in line.text
