"""Whatever a customer answers to, a calendar entry too, ends where answers go (RFC 5322 3.6.2, RFC 5546 1.4)."""

from __future__ import annotations

import email
import random
from datetime import date, time
from email import policy
from pathlib import Path

from icalendar import Calendar

from notify import wiring
from notify.channels.memory import MemoryChannel
from notify.config.first_setup import write_first_installation
from notify.config.load import load
from notify.core.actors import Actor
from notify.flows import pickup, set_up
from tests.parts.clock import FakeClock
from tests.parts.house import SHOP, House
from tests.parts.shelved import shelve


def test_without_a_mailbox_of_its_own_a_pickups_answers_go_where_all_others_go(
    clock: FakeClock, tmp_path: Path, tzdata_only: None
) -> None:
    config = write_first_installation(
        tmp_path / "shop", public_url="https://bell.example.org", random_bytes=random.Random(3).randbytes,
        changed={"mail.sender_address": "bench@example.org", "mail.reply_to": "answers@example.org"},
    )  # fmt: skip
    mail = MemoryChannel()
    services = wiring.build(load(config), clock=clock, channels={"email": mail}, upgrade=True)
    shop_id = set_up.make_shop(services.context, settings=SHOP)
    owner = Actor(shop_id, "staff", "staff-owner", "owner")
    for weekday in range(7):
        set_up.add_hours(services.context, owner, weekday=weekday, opens=time(9), closes=time(18), capacity=2,
                         valid_from=date(2026, 1, 1))  # fmt: skip
    house = House(services, clock, shop_id, {"email": mail})
    done = house.check_in(phone="")
    shelve(house, done.ticket_ids[0])
    pickup.book(house.ctx, house.customer(), done.visit_id, pickup.offers(
        house.ctx, house.customer(), done.visit_id)[0].slot.local)  # fmt: skip
    house.deliver(after=91)
    letters = [email.message_from_bytes(one.payload, policy=policy.default) for one in mail.sent]
    services.close()
    to_customer = [one for one in letters if "ines@example.org" in one["To"]]
    assert {one["Reply-To"] for one in to_customer} == {"answers@example.org"}
    entries = [
        part.get_content() for one in to_customer for part in one.walk() if part.get_content_type() == "text/calendar"
    ]
    organizers = [str(event["ORGANIZER"]) for text in entries for event in Calendar.from_ical(text).walk("VEVENT")]
    assert organizers and set(organizers) == {"mailto:answers@example.org"}
