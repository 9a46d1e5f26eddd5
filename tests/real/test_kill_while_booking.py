"""kill -9 while thirty-two customers book over HTTP: a place and the word about it are both there, or neither is."""

from __future__ import annotations

import random
import threading
import time
from collections import Counter
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import timedelta
from http.client import HTTPException
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from notify.flows import check_in, pickup
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import messages, tickets
from notify.wiring import Services, system_clock
from tests.parts.installation import NEVER_QUIET, Installation, Serving, make_installation, owner_of
from tests.web.test_claim_race import Customer

pytestmark = pytest.mark.real
CLIENTS = 32
_ENDED = ("sent", "waiting", "dropped")  # dropped: what was said is no longer so, because of their next press


@dataclass
class Crowd:
    """Customers who press one time after the other; what each was told before the line broke."""

    port: int
    paths: list[str]
    slots: list[str]
    told: list[tuple[str, str, str]] = field(default_factory=list)  # claim path, key, answer
    broken: int = 0
    keys: Any = field(default_factory=lambda: count(1))

    def press(self, seconds: float) -> list[threading.Thread]:
        """Everybody begins; they go on until the line breaks or the time is over."""
        until = time.monotonic() + seconds
        threads = [threading.Thread(target=self._one, args=(n, path, until)) for n, path in enumerate(self.paths)]
        for thread in threads:
            thread.start()
        return threads

    def _one(self, number: int, path: str, until: float) -> None:
        dice = random.Random(number + next(self.keys))
        customer = Customer(self.port, path)
        with closing(customer.connection), suppress(OSError, HTTPException):
            customer.open()
            while time.monotonic() < until:
                once = f"press-{next(self.keys)}"
                status, where = customer.take(dice.choice(self.slots), once)
                self.told.append((path, once, where.partition("said=")[2] if status == 303 else str(status)))
            return
        self.broken += 1


def ready(services: Services) -> list[tuple[str, str]]:
    """(visit, claim path) of as many customers as there are clients, each with a device on the shelf."""
    owner, found = owner_of(services), []
    for number in range(CLIENTS):
        person = PersonForm(name=f"Customer {number}", email=f"customer{number}@example.org")
        done = check_in.check_in(services.context, owner, VisitForm(bringer=person, devices=(DeviceForm("Radio"),)))
        with services.context.db.read(owner.shop_id) as unit:
            found.append((done.visit_id, f"/c/{tickets.get_ticket(unit, done.ticket_ids[0]).token}"))
    with services.context.db.write(owner.shop_id) as unit:
        unit.connection.execute(text("update tickets set phase = 'on_shelf', outcome = 'repaired'"))
    return found


@pytest.mark.parametrize("kills", [2, pytest.param(20, marks=pytest.mark.deep)], ids=["quick", "deep"])
def test_a_booking_and_the_word_about_it_survive_a_kill_together_or_not_at_all(kills: int, tmp_path: Path) -> None:
    chance = random.Random(20261127)
    shop = make_installation(tmp_path, public_url="https://bell.example.org", **{
        "bell.wait_seconds": 0, "invite.organizer": "pickup-{token}@example.org", **NEVER_QUIET,
    })  # fmt: skip
    services = shop.open()
    visits = ready(services)
    offers = pickup.offers(services.context, owner_of(services), visits[0][0])
    slots = [f"{one.slot.local:%Y-%m-%dT%H:%M}/{one.slot.fold}" for one in offers][20:220]
    crowd = Crowd(shop.port, [path for _, path in visits], slots)
    try:
        for _ in range(kills):
            kill_once(shop, crowd, chance)
        with Serving(shop):
            time.sleep(0.5)
        report = judge(shop, crowd, dict(visits))
    finally:
        shop.close()
    print(f"FIGURE booking_crashes crashes={kills} clients={CLIENTS} acknowledged={report['acknowledged']} "
          f"cut_off={crowd.broken} bookings={report['bookings']} acknowledged_lost={report['lost']} "
          f"without_invite={report['without']} invite_without_booking={report['alone']} "
          f"said_twice={report['twice']}")  # fmt: skip
    assert report["acknowledged"] > 20 * kills and crowd.broken >= kills
    assert not any(report[name] for name in ("lost", "without", "alone", "twice", "odd"))


def kill_once(shop: Installation, crowd: Crowd, chance: random.Random) -> None:
    """One life of the process: it dies while everybody presses."""
    process = Serving(shop)
    try:
        process.wait_ready(seconds=60)
        threads = crowd.press(60)
        before = len(crowd.told)
        while len(crowd.told) < before + 60 and any(thread.is_alive() for thread in threads):  # they have all begun
            time.sleep(0.01)
        time.sleep(chance.uniform(0, 0.4))
    finally:
        errors = process.kill()
    for thread in threads:
        thread.join()
    assert " ERROR " not in errors, errors


def judge(shop: Installation, crowd: Crowd, visits: dict[str, str]) -> Counter[str]:
    """Every event of a booking against the outbox, and every answer against the events."""
    services = shop.open(clock=lambda: system_clock() + timedelta(minutes=5))
    (shop_id,) = services.shop_ids()
    while services.dispatcher.run_once(shop_id):
        pass
    report = Counter[str]()
    with services.context.db.read(shop_id) as unit:
        ask = unit.connection.exec_driver_sql
        keys = {row[0]: row[1] for row in ask("select key, json_extract(result, '$.booking') from idempotency")}
        events = {(row[0], row[1]): row[2] for row in ask(
            "select json_extract(codes, '$.booking'), json_extract(codes, '$.revision'), kind from events "
            "where kind in ('pickup_booked', 'pickup_moved')")}  # fmt: skip
        live = {row[0]: row[1] for row in ask("select id, revision from bookings")}
        sent = [one for one in messages.list_messages(unit, limit=1_000_000)
                if one.notice in ("pickup_confirmed", "pickup_moved") and one.person_id]  # fmt: skip
    told = Counter((str(one.refs["booking"]), int(one.refs["revision"])) for one in sent)
    visit_of = {path: visit for visit, path in visits.items()}
    acknowledged = [(visit_of[path], once) for path, once, said in crowd.told if said in ("booked", "moved")]
    report["acknowledged"] = len(acknowledged)
    report["bookings"] = len(events)
    report["lost"] = sum(1 for visit, once in acknowledged if keys.get(f"book:{visit}:{once}") not in live)
    report["without"] = sum(1 for one in events if not told[one])
    report["alone"] = sum(1 for one in told if one not in events or one[0] not in live)
    report["twice"] = sum(1 for number in told.values() if number != 1)
    # Every change of a booking is in the story: none is half there.
    report["odd"] = sum(1 for one, revision in live.items() if {(one, n) for n in range(revision + 1)} - set(events))
    report["odd"] += sum(1 for one in sent if one.state not in _ENDED)
    return report
