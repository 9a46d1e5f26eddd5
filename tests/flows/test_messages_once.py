"""One event makes one message however often it is raised; workers share; a dead one's lease runs out."""

from __future__ import annotations

import dataclasses
import threading
from collections import Counter
from datetime import timedelta

import pytest
from sqlalchemy import Engine, event, func, insert, select
from sqlalchemy.exc import IntegrityError

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.channels.memory import MemoryChannel
from notify.core.errors import Unavailable
from notify.dispatch.pace import LEAST
from notify.dispatch.send import GROUP
from notify.flows.check_in_form import DeviceForm
from notify.flows.record import record
from notify.store import messages, outbox
from notify.store import schema as s
from tests.flows.conftest import Lines
from tests.parts.house import House

pytestmark = pytest.mark.long

THREADS, EVENTS = 16, 100


def test_sixteen_threads_raising_the_same_hundred_events_make_a_hundred_messages(house: House) -> None:
    visit = house.check_in().visit_id
    gate, failed = threading.Barrier(THREADS), []

    def raise_all() -> None:
        gate.wait(timeout=30)
        try:
            for first in range(0, EVENTS, 20):
                with house.ctx.db.write(house.shop_id) as unit:
                    for n in range(first, first + 20):
                        record(house.ctx, unit, house.system(), "pickup_came_near", visit_id=visit, cause=f"race:{n}")
        except Exception as error:
            failed.append(error)

    threads = [threading.Thread(target=raise_all) for _ in range(THREADS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    t = s.messages
    with house.read() as unit:
        rows = unit.connection.execute(select(t).where(t.c.cause.like("race:%"))).mappings().all()
        raised = unit.connection.execute(
            select(func.count()).where(s.events.c.kind == "pickup_came_near").select_from(s.events)
        ).scalar_one()
    print(f"FIGURE A6_identity database={house.ctx.db.engine.dialect.name} raced={THREADS}x{EVENTS} rows={len(rows)}")
    assert not failed and raised == THREADS * EVENTS and len(rows) == EVENTS
    assert len({row["seq"] for row in rows}) == EVENTS
    again = dict(rows[0]) | {"id": "another", "seq": 10**6}
    with pytest.raises(IntegrityError), house.ctx.db.write_beside(house.shop_id) as unit:
        unit.connection.execute(insert(t).values(**again))  # even past the store, the database refuses a second one


def test_four_workers_on_one_outbox_send_each_message_once(lines: Lines) -> None:
    house = lines.house
    for n in range(30):
        house.check_in(DeviceForm(f"radio {n}"))
    house.clock.advance(91)
    failed: list[Exception] = []

    def work(name: str) -> None:
        worker = dataclasses.replace(house.services.dispatcher, name=name)
        try:
            while worker.run_once(house.shop_id):
                pass
        except Exception as error:
            failed.append(error)

    threads = [threading.Thread(target=work, args=(f"worker-{n}",)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    house.deliver()
    often = Counter(m.message_id for m in lines.mail.offered)
    print(f"FIGURE workers database={house.ctx.db.engine.dialect.name} workers=4 messages={len(often)} "
          f"doubled={sum(often.values()) - len(often)}")  # fmt: skip
    assert not failed and len(often) == 30 == sum(often.values())


def test_a_lease_that_ran_out_is_taken_over_and_a_fresh_one_is_respected(lines: Lines) -> None:
    house = lines.house
    house.check_in()
    house.clock.advance(91)
    with house.ctx.db.write_beside(house.shop_id) as unit:
        until = house.clock() + timedelta(minutes=15)
        assert len(outbox.claim(unit, now=house.clock(), until=until, by="one that died")) == 1
    assert house.deliver(after=60) == 0
    assert house.deliver(after=15 * 60) == 1 and len(lines.mail.sent) == 1


def test_what_could_not_begin_to_leave_well_before_its_lease_ends_is_left_to_the_next_worker(lines: Lines) -> None:
    """RFC 5321 4.5.3.2: the last dot may take ten minutes; a send that ends after the lease could be another's, too."""
    house = lines.house
    done = [house.check_in(DeviceForm(f"radio {n}"), phone="") for n in range(3)]
    house.clock.advance(91)

    def slow(outgoing: Outgoing) -> Receipt:
        house.clock.advance(241)
        return Receipt(Verdict.ACCEPTED, "250")

    lines.mail_line.answer = slow
    assert house.services.dispatcher.run_once(house.shop_id) == 3
    rows = [lines.rows(one.visit_id, "checked_in")[0] for one in done]
    assert [(str(m.state), m.attempts, m.reason) for m in rows] == [
        ("sent", 1, ""), ("waiting", 0, "no_time_left"), ("waiting", 0, "no_time_left")]  # fmt: skip
    house.deliver()
    often = Counter(outgoing.message_id for outgoing in lines.mail.offered)
    assert len(often) == often.total() == 3


class FullAfter(MemoryChannel):
    """Accepts each message; from the one after `spared` on the database takes nothing until `well` is called."""

    def __init__(self, engine: Engine, spared: int) -> None:
        super().__init__()
        self._engine, self._spared = engine, spared

    def send(self, outgoing: Outgoing, /) -> Receipt:
        if len(self.offered) == self._spared:
            event.listen(self._engine, "before_cursor_execute", _full)
        return super().send(outgoing)

    def well(self) -> None:
        event.remove(self._engine, "before_cursor_execute", _full)


def _full(*_: object) -> None:
    raise Unavailable("The disk with the database is full")


def test_what_was_sent_but_could_not_be_written_down_is_written_down_later_and_not_sent_again(house: House) -> None:
    for n in range(32):
        house.check_in(DeviceForm(f"radio {n}"), phone="")
    house.clock.advance(91)
    mail = FullAfter(house.ctx.db.engine, spared=LEAST)
    worker = dataclasses.replace(house.services.dispatcher, channels={"email": mail}, ticks=lambda: 0.0)
    assert worker.run_once(house.shop_id) == LEAST  # all well, and quick: so the next batch is larger than a group
    for _ in range(3):
        with pytest.raises(Unavailable):
            worker.run_once(house.shop_id)
    assert 1 <= len(mail.offered) - LEAST <= GROUP, "it went on sending although it could not write it down"
    mail.well()
    while worker.run_once(house.shop_id):
        pass
    often = Counter(m.message_id for m in mail.offered)
    with house.read() as unit:
        states = Counter(m.state for m in messages.list_messages(unit))
    print(f"FIGURE written_down_later database={house.ctx.db.engine.dialect.name} messages={len(often)} "
          f"sent_again={often.total() - len(often)}")  # fmt: skip
    assert often.total() == len(often) == 32 and states == {"sent": 32}


def test_what_was_claimed_when_the_disk_failed_leaves_as_soon_as_it_is_well(house: House) -> None:
    house.check_in(phone="")
    house.clock.advance(91)
    engine = house.ctx.db.engine

    def fail_after_the_claim(_conn: object, _cursor: object, statement: str, *_: object) -> None:
        if "bytes_sealed" in statement and statement.lstrip().lower().startswith("update"):
            raise Unavailable("The disk with the database is full")

    event.listen(engine, "before_cursor_execute", fail_after_the_claim)
    with pytest.raises(Unavailable):
        house.services.dispatcher.run_once(house.shop_id)
    event.remove(engine, "before_cursor_execute", fail_after_the_claim)
    assert house.deliver(after=1) == 1 and len(house.sent()) == 1  # not after the quarter of an hour that a lease takes


class NamesOneOddly(MemoryChannel):
    """Accepts each message; the third one under a name that no database can keep: half a character."""

    def send(self, outgoing: Outgoing, /) -> Receipt:
        receipt = super().send(outgoing)
        odd = len(self.offered) == 3
        return dataclasses.replace(receipt, provider_id="\ud800") if odd else receipt


def test_what_was_sent_is_never_sent_again_because_its_receipt_cannot_be_written_down(house: House) -> None:
    for n in range(5):
        house.check_in(DeviceForm(f"radio {n}"), phone="")
    house.clock.advance(91)
    mail = NamesOneOddly()
    worker = dataclasses.replace(house.services.dispatcher, channels={"email": mail})
    for _ in range(3):
        while worker.run_once(house.shop_id):
            pass
        house.clock.advance(3600)  # longer than any lease
    with house.read() as unit:
        states = Counter(m.state for m in messages.list_messages(unit))
    often = Counter(m.message_id for m in mail.offered)
    print(f"FIGURE odd_receipts database={house.ctx.db.engine.dialect.name} messages={len(often)} "
          f"sent_again={often.total() - len(often)}")  # fmt: skip
    assert often.total() == len(often) == 5 and states == {"sent": 5}
