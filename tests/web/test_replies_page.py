"""Replies on the pages: on the ticket, on the day sheet and in their list, until somebody has read them."""

from __future__ import annotations

from typing import Any

from notify.flows import view_replies
from notify.flows.hear_reply import Heard, hear
from notify.store import people, tickets
from tests.web.staff_pages import Reader


def say(house: Any, text: str, key: str, *, sender: str = "ines@example.org") -> str:
    return hear(house.ctx, house.shop_id, Heard("email", sender, text, house.clock(), key, "mail"))


def seen(client: Any, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return " ".join(" ".join(Reader(answer.get_data(as_text=True)).words).split())


def test_a_reply_stands_on_ticket_sheet_and_list_until_it_is_read(house: Any, signed_in: Any) -> None:
    done = house.check_in()
    ticket = done.ticket_ids[0]
    new = say(house, "May <b>my sister</b> collect it?", "k1")
    say(house, "Do you mend organs?", "k2", sender="ute@example.net")
    for path in ("/", "/replies", f"/tickets/{ticket}"):
        assert "May <b>my sister</b> collect it?" in seen(signed_in, path), path
    assert "ute@example.net, whom we do not know" in seen(signed_in, "/replies")
    assert "Do you mend organs?" not in seen(signed_in, f"/tickets/{ticket}")
    assert "replies wait to be read" in seen(signed_in, "/replies").lower()
    pressed = signed_in.post(f"/replies/{new}/seen", {"back": f"/tickets/{ticket}"}, seen=f"/tickets/{ticket}")
    assert pressed.status_code == 303 and pressed.headers["Location"].endswith(f"/tickets/{ticket}")
    assert "my sister" not in seen(signed_in, "/") and "my sister" in seen(signed_in, f"/tickets/{ticket}")


def test_an_address_that_does_not_work_is_named_with_what_to_do(house: Any, signed_in: Any) -> None:
    done = house.check_in()
    with house.ctx.db.write(house.shop_id) as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
        mail = next(c for c in people.contacts_of(unit, person) if c.channel == "email")
        people.mark_undeliverable(unit, mail.id, at=house.clock(), why="bounced:5.1.1")
    assert "i••@example.org does not work: a message to it came back" in seen(signed_in, "/")
    assert "it does not work (a message to it came back): correct it" in seen(
        signed_in, f"/tickets/{done.ticket_ids[0]}"
    )


def test_the_wish_to_be_forgotten_shows_its_last_day(house: Any, signed_in: Any) -> None:
    house.check_in()
    say(house, "Please delete all my data", "k1")
    assert "Answer them by Friday, 25 December." in seen(signed_in, "/replies")
    assert view_replies.view(house.ctx, house.actor()).new == 1
