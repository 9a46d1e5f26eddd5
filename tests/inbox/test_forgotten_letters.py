"""What a forgotten person wrote, and reports about their mail, leave the mailbox at once; others' letters stay."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from notify.core.errors import Conflict
from notify.flows import forget
from notify.inbox.imap import ImapMailbox, ImapPlace
from notify.inbox.maildir import MaildirMailbox
from notify.inbox.take import Post, take_letters
from notify.store import tickets
from tests.flows.conftest import lines as lines
from tests.inbox.test_imap import box as box
from tests.inbox.test_imap import place as place
from tests.inbox.test_take import Desk, letter, report
from tests.inbox.test_take import desk as desk
from tests.parts.imap_server import ImapServer
from tests.parts.traces import files_below, hits, patterns

pytestmark = pytest.mark.long
OURS, OTHERS = "my sister Wilhelmina collects it", "Good morning, here is nobody you know"


def written(desk: Desk) -> tuple[str, list[str]]:
    """A customer, and four letters: a new one, an answer, a report about their mail, and a stranger's."""
    house = desk.house
    done = house.check_in(email="ines@example.org", name="Ines Farrow")
    house.deliver(after=91)
    sent = desk.first(done.visit_id)
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
    return person, [
        letter(OURS, key="new"),
        letter("Thank you.", sender="ines.alias@example.org", key="two", more=f"In-Reply-To: {sent.message_id}\n"),
        report("delayed", "4.4.1", about=sent.message_id, says="451 <ines@example.org> is busy"),
        letter(OTHERS, sender="ute@example.org", key="other"),
    ]


def test_letters_of_a_forgotten_person_leave_the_maildir_with_the_next_look(desk: Desk) -> None:
    person, wrote = written(desk)
    for one in wrote:
        desk.put(one)
    desk.take()
    wanted = patterns([OURS, "ines@example.org", "ines.alias@example.org"])
    before = hits(files_below(desk.folder), wanted)
    house = desk.house
    forget.erase_person(house.ctx, house.actor(), person)
    broken = replace(desk.post)  # a mailbox that breaks: what has to go is not lost
    mailbox = MaildirMailbox(desk.folder)
    mailbox.remove = _refuse  # type: ignore[method-assign]  # the foreign side, not ours
    with pytest.raises(Conflict):
        take_letters(broken, mailbox)
    still = hits(files_below(desk.folder), wanted)
    taken = take_letters(desk.post, MaildirMailbox(desk.folder))
    after = hits(files_below(desk.folder), wanted)
    left = [file for file in files_below(desk.folder) if OTHERS.encode() in file.read_bytes()]
    print(f"FIGURE E1_mailbox patterns={len(wanted)} before={len(before)} hits={len(after)} letters={taken.forgotten}")
    assert len(before) >= 4 and still == before and after == [] and taken.forgotten == 3 and len(left) == 1
    assert take_letters(desk.post, MaildirMailbox(desk.folder)).forgotten == 0


def _refuse(uids: Any) -> None:
    raise Conflict("The mailbox does not answer", "It is asked again.")


@pytest.mark.real
def test_letters_of_a_forgotten_person_leave_a_real_imap_mailbox(
    desk: Desk, imap_server: ImapServer, box: ImapMailbox, place: ImapPlace
) -> None:
    person, wrote = written(desk)
    for one in wrote:
        imap_server.put(one.replace("\n", "\r\n").encode())
    post: Post = desk.post
    take_letters(post, box)
    forget.erase_person(desk.house.ctx, desk.house.actor(), person)
    taken = take_letters(post, box)
    client = imap_server.open()
    left = [message.text.strip() for message in client.fetch(mark_seen=False)]
    client.logout()
    print(f"FIGURE E1_imap letters={len(wrote)} removed={taken.forgotten} left={len(left)}")
    assert taken.forgotten == 3 and left == [OTHERS]
