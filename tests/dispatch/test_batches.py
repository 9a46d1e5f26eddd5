"""A batch on a real database: order is kept, nobody at the counter waits for it, and what was forgotten stays so."""

from __future__ import annotations

import itertools
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.dispatch.deliver import Dispatcher
from notify.dispatch.prepare import Prepared, Preparer
from notify.flows import desk_notes, moves, questions
from notify.flows.check_in_form import DeviceForm
from notify.flows.forget import erase_person
from notify.store import messages, outbox
from notify.store.database import Unit
from notify.store.messages import Message


@dataclass
class Slow:
    """A channel of eight places whose answers come after a moment, some of them later than others."""

    lines: int = 8
    order: list[str] = field(default_factory=list)
    at_once: int = 0
    most: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def send(self, outgoing: Outgoing, /) -> Receipt:
        with self.lock:
            self.at_once += 1
            self.most = max(self.most, self.at_once)
            place = len(self.order)
        time.sleep(0.004 * (1 + place % 5))
        with self.lock:
            self.at_once -= 1
            self.order.append(outgoing.message_id.strip("<").split(".")[0])
        return Receipt(Verdict.ACCEPTED, "250")


@dataclass(frozen=True, slots=True)
class Meanwhile(Preparer):
    """The product's own preparer; `before` and `after` happen in another transaction while it looks."""

    before: Callable[[], object] = lambda: None
    after: Callable[[], object] = lambda: None

    def prepare_all(self, unit: Unit, claimed: Sequence[Message], *, now: datetime) -> Prepared:
        self.before()
        prepared = Preparer.prepare_all(self, unit, claimed, now=now)
        self.after()
        return prepared


def dispatcher(house: Any, channel: Any, **meanwhile: Callable[[], object]) -> Dispatcher:
    whole, seconds = house.services.dispatcher, itertools.count()
    preparer = Meanwhile(whole.preparer.composer, whole.preparer.rules, **meanwhile)
    return Dispatcher(house.ctx.db, preparer, {"email": channel}, house.clock, lambda: 0.5, "worker",
                      ticks=lambda: float(next(seconds)) / 100)  # fmt: skip


def drain(worker: Dispatcher, shop_id: str) -> list[int]:
    claimed = []
    while got := worker.run_once(shop_id):
        claimed.append(got)
    return claimed


def test_messages_of_one_person_leave_in_order_although_eight_leave_at_once(house: Any) -> None:
    channel = Slow()
    both = DeviceForm("Kestrel pocket radio"), DeviceForm("Lantern camera")
    visits = [house.check_in(*both, phone="", email=f"ines{number}@example.org") for number in range(6)]
    for visit, at in itertools.product(visits, (0, 1)):
        questions.ask(house.ctx, house.actor(), visit.ticket_ids[at], kind="price", wording="Go on?", price="45")
    house.clock.advance(91)  # a question about either device: both due, for everybody
    claimed = drain(dispatcher(house, channel), house.shop_id)
    with house.read() as unit:
        seq = {m.id: (m.visit_id, m.person_id, m.seq) for m in messages.list_messages(unit, limit=100)}
    told: dict[tuple[str, str], list[int]] = defaultdict(list)
    for message_id in channel.order:
        visit_id, person_id, number = seq[message_id]
        told[visit_id, person_id].append(number)
    two = sum(len(numbers) > 1 for numbers in told.values())
    wrong = sum(numbers != sorted(numbers) for numbers in told.values())
    print(f"FIGURE batch_order people={len(told)} told_twice={two} out_of_order={wrong} at_once={channel.most}")
    assert (wrong, two) == (0, 6) and channel.most > 1
    assert claimed[0] < sum(claimed), "one claim held both messages of somebody"


def test_one_claim_never_holds_two_messages_of_one_person_about_one_visit(house: Any) -> None:
    for number in range(4):
        done = house.check_in(phone="", email=f"ines{number}@example.org")
        for phase in ("in_line", "on_bench", "on_shelf"):
            moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    house.clock.advance(91)
    now = house.clock()
    with house.ctx.db.write(house.shop_id) as unit:
        claimed = outbox.claim(unit, now=now, until=now, by="w", limit=50)
    assert len(claimed) == len({(m.visit_id, m.person_id, m.channel) for m in claimed}) == 4


def test_the_counter_writes_while_a_batch_is_looked_at_and_composed(house: Any) -> None:
    done = house.check_in()
    house.clock.advance(91)
    written: list[str] = []

    def note() -> None:
        desk_notes.add_note(house.ctx, house.actor(), done.ticket_ids[0], text="the dial sticks")
        written.append("note")

    thread_ends = threading.Event()

    def write() -> None:
        note()
        thread_ends.set()

    def beside() -> None:
        threading.Thread(target=write).start()
        assert thread_ends.wait(30), "a writer had to wait for a message to be composed"

    channel = Slow()
    drain(dispatcher(house, channel, before=beside), house.shop_id)
    assert written and len(channel.order) == 1


def test_who_is_forgotten_between_the_look_and_the_sending_gets_nothing_and_nothing_is_kept(house: Any) -> None:
    house.check_in()
    house.clock.advance(91)
    with house.read() as unit:
        (message,) = messages.list_messages(unit)
    channel = Slow()
    forget = lambda: erase_person(house.ctx, house.actor(), message.person_id, prove=False)  # noqa: E731
    drain(dispatcher(house, channel, after=forget), house.shop_id)
    with house.read() as unit:
        found = messages.get_message(unit, message.id)
    assert found is not None
    assert (channel.order, found.state, found.reason, found.has_bytes) == ([], "dropped", "forgotten", False)


def test_a_worker_that_stops_leaves_what_it_claimed_to_the_next_one_at_once(house: Any) -> None:
    for number in range(5):
        house.check_in(email=f"ines{number}@example.org")
    house.clock.advance(91)
    channel, may = Slow(lines=1), iter([True, True, *[False] * 20])
    worker = dispatcher(house, channel)
    assert worker.run_once(house.shop_id, go_on=lambda: next(may)) == 5
    assert len(channel.order) == 2
    assert drain(dispatcher(house, channel), house.shop_id) == [3]
    assert len(set(channel.order)) == 5
