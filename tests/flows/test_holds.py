"""After a contact was changed: who is told at the old one, and for how long the right ticket alone is not enough."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from notify.core.errors import Conflict, NotAllowed
from notify.flows import handover, holds, reach, set_up
from notify.flows.check_in_form import PersonForm
from notify.store import events, people, visits
from tests.flows.conftest import REFUSED, Lines, words
from tests.parts.shelved import shelve, token_of

pytestmark = pytest.mark.long

DAY = 24 * 3600


def person_of(lines: Lines, visit_id: str, role: str = "bringer") -> str:
    with lines.house.read() as unit:
        return str(visits.visit_people(unit, visit_id)[role][0])


def change(lines: Lines, visit_id: str, channel: str = "sms", address: str = "07700 900999", **more: Any) -> str:
    """Staff note another address; what it takes to deliver what follows."""
    role = more.pop("role", "bringer")
    new = reach.set_contact(lines.house.ctx, lines.house.actor(), visit_id, person_of(lines, visit_id, role),
                            channel=channel, address=address, **more)  # fmt: skip
    lines.house.deliver()
    return new


def hold(lines: Lines, visit_id: str, hours: int = 24) -> holds.Hold | None:
    with lines.house.read() as unit:
        return holds.hold_on(unit, visit_id, lines.house.clock(), hours)


def told_old(lines: Lines, visit_id: str) -> list[tuple[str, str]]:
    return [(m.channel, str(m.state)) for m in lines.rows(visit_id, "contact_changed_old")]


def in_use(lines: Lines, **whom: Any) -> str:
    """A visit of which its people have heard, an hour ago; the device is ready."""
    done = lines.house.check_in(**whom)
    shelve(lines.house, done.ticket_ids[0])
    lines.house.deliver(after=91)
    lines.house.clock.advance(3600)
    return str(done.visit_id)


def test_the_old_number_is_told_at_once_and_only_it_without_a_name_or_a_device(lines: Lines) -> None:
    visit_id = in_use(lines)
    before = len(lines.text.sent), len(lines.mail.sent)
    change(lines, visit_id)
    assert told_old(lines, visit_id) == [("sms", "sent")]
    (message,) = lines.text.sent[before[0] :]
    said = words(message)
    assert "447700900123" in message.to or "07700900123" in message.to
    assert "Tramstop Bench" in said and "1632 960123" in said
    assert not any(secret in said for secret in ("Ines", "Farrow", "radio", "Kestrel", "900999", "/c/"))
    assert len(lines.mail.sent) == before[1]


def test_the_warning_goes_to_the_old_address_and_never_to_the_new_one(lines: Lines) -> None:
    visit_id = in_use(lines, phone="")
    before = len(lines.mail.sent)
    change(lines, visit_id, "email", "thief@example.net")
    assert [m.to for m in lines.mail.sent[before:]] == ["ines@example.org"]
    whole = lines.mail.sent[before].payload.decode()
    assert "thief" not in whole and "Ines" not in whole and "Kestrel" not in whole


def test_a_changed_contact_holds_the_right_ticket_for_a_day_and_staff_words_release_it(lines: Lines) -> None:
    visit_id = in_use(lines)
    change(lines, visit_id)
    found = hold(lines, visit_id)
    assert found is not None and found.until - found.since == timedelta(hours=24)
    with lines.house.read() as unit:
        ticket = events.story_of(unit, visit_id=visit_id)[1].ticket_id
    give: dict[str, Any] = {"ticket_ids": [ticket], "token": token_of(lines.house, ticket)}
    with pytest.raises(NotAllowed):
        handover.hand_back(lines.house.ctx, lines.house.actor(), **give)
    lines.house.clock.advance(DAY - 1)
    assert hold(lines, visit_id) is not None
    lines.house.clock.advance(1)
    assert hold(lines, visit_id) is None
    handover.hand_back(lines.house.ctx, lines.house.actor(), **give)


def test_a_slip_corrected_within_the_hour_before_anything_left_is_no_change(lines: Lines) -> None:
    visit_id = str(lines.house.check_in().visit_id)
    lines.house.clock.advance(60)
    change(lines, visit_id)
    assert hold(lines, visit_id) is None and told_old(lines, visit_id) == []


@pytest.mark.parametrize("whom", [{"phone": "", "email": ""}, {}], ids=["no_contact", "nothing_left_yet"])
def test_more_than_an_hour_later_it_is_a_change_whatever_was_sent(lines: Lines, whom: dict[str, str]) -> None:
    """Whoever has nothing stored is the easiest to speak for: "please note my number"."""
    visit_id = str(lines.house.check_in(**whom).visit_id)
    lines.house.clock.advance(3601)
    change(lines, visit_id)
    assert hold(lines, visit_id) is not None and told_old(lines, visit_id) == []


def test_the_same_address_typed_again_or_put_back_is_no_change(lines: Lines) -> None:
    visit_id = in_use(lines)
    change(lines, visit_id, "email", "ines@example.org")
    change(lines, visit_id, "sms", "+44 7700 900123", in_repaired_device=True)
    assert hold(lines, visit_id) is None and told_old(lines, visit_id) == []


def test_a_first_number_beside_a_known_address_holds_and_the_address_is_told(lines: Lines) -> None:
    visit_id = in_use(lines, phone="")
    change(lines, visit_id)
    assert hold(lines, visit_id) is not None and told_old(lines, visit_id) == [("email", "sent")]


def test_removing_an_address_tells_it_and_holds_nothing(lines: Lines) -> None:
    visit_id = in_use(lines)
    change(lines, visit_id, address="")
    assert hold(lines, visit_id) is None and told_old(lines, visit_id) == [("sms", "sent")]


def test_another_number_of_who_is_told_holds_as_well_since_that_one_gets_the_link(lines: Lines) -> None:
    visit_id = in_use(lines, tell=PersonForm("Tam Okoro", "07700 900456"))
    change(lines, visit_id, role="tell")
    assert hold(lines, visit_id) is not None and told_old(lines, visit_id) == [("sms", "sent")]


def test_a_contact_that_never_worked_or_lies_in_the_device_is_not_told(lines: Lines) -> None:
    house = lines.house
    lines.text_line.answer = REFUSED
    dead = in_use(lines, email="")
    lines.text_line.answer = None
    change(lines, dead)
    with_us = in_use(lines, phone="07700 900321", email="")
    with house.ctx.db.write(house.shop_id) as unit:
        person = visits.visit_people(unit, with_us)["bringer"][0]
        (old,) = people.contacts_of(unit, person)
        people._change_contact(unit, old.id, in_repaired_device=True)
    change(lines, with_us)
    assert told_old(lines, dead) == told_old(lines, with_us) == []
    assert hold(lines, dead) is not None and hold(lines, with_us) is not None


@pytest.mark.parametrize(
    ("how", "ago", "told"),
    [("reply", 60, False), ("one_click", 60, False), ("counter", 60, True), ("claim_page", 60, True),
     ("counter", 2 * DAY, False)],
)  # fmt: skip
def test_a_stop_silences_the_warning_only_from_its_reader_or_long_before(
    lines: Lines, how: str, ago: int, told: bool
) -> None:
    """A thief at the counter would first say "send nothing more there"; the reader of the number says it by a reply."""
    visit_id = in_use(lines)
    reach.set_use(lines.house.ctx, lines.house.actor(), visit_id, person_of(lines, visit_id), channel="sms",
                  purposes=("repair", "pickup"), allowed=False, how=how)  # fmt: skip
    lines.house.clock.advance(ago)
    change(lines, visit_id)
    assert told_old(lines, visit_id) == ([("sms", "sent")] if told else [])


def test_staff_who_made_sure_lift_the_hold_with_words_and_an_event_and_a_later_change_holds_anew(lines: Lines) -> None:
    house = lines.house
    visit_id = in_use(lines)
    change(lines, visit_id)
    house.clock.advance(60)
    with pytest.raises(NotAllowed, match="How did you make sure"):
        holds.lift_hold(house.ctx, house.actor(), visit_id, checked="ok")
    holds.lift_hold(house.ctx, house.actor(), visit_id, checked="called the old number")
    assert hold(lines, visit_id) is None
    with pytest.raises(Conflict):
        holds.lift_hold(house.ctx, house.actor(), visit_id, checked="called the old number")
    with house.read() as unit:
        (lifted,) = (e for e in events.story_of(unit, visit_id=visit_id) if e.kind == "hold_lifted")
    assert "called" not in repr(lifted)
    house.clock.advance(60)
    change(lines, visit_id, address="07700 900998")
    assert hold(lines, visit_id) is not None


def test_the_hours_of_the_hold_are_the_shops_and_none_means_never(lines: Lines) -> None:
    house = lines.house
    visit_id = in_use(lines)
    change(lines, visit_id)
    assert hold(lines, visit_id, 0) is None and hold(lines, visit_id, 1) is not None
    set_up.change_settings(house.ctx, house.actor(), {"hold_hours": 48})
    with house.read() as unit:
        assert house.ctx.shop(unit).hold_hours == 48
    house.clock.advance(47 * 3600)
    assert hold(lines, visit_id, 48) is not None


def test_an_address_given_up_before_the_check_in_holds_like_any_stranger_s(lines: Lines) -> None:
    """Whoever shared a number with the customer years ago knows it, and asks the shop to note it again."""
    first = in_use(lines)
    person = person_of(lines, first)
    change(lines, first, address="07700 900555")
    lines.house.clock.advance(30 * 86400)
    with lines.house.ctx.db.write(lines.house.shop_id) as unit:
        later = visits.add_visit(unit, waits_here=False, people={"bringer": [person]}, at=lines.house.clock())
    lines.house.clock.advance(7200)
    change(lines, later, address="07700 900123")  # theirs before the first visit, and no longer at the second
    assert hold(lines, later) is not None
