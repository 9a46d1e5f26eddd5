"""Messages added by one process wake the others at once on PostgreSQL (LISTEN, NOTIFY)."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import text

from notify.flows import desk_notes
from notify.store.wake import Ear

pytestmark = pytest.mark.real
SOON, QUIET = 60.0, 1.5  # seconds until an ear is given up, and in which nothing may be heard


class Heard:
    """Counts what was heard; `again` waits for one more than there was."""

    def __init__(self) -> None:
        self.times: list[float] = []
        self._changed = threading.Condition()

    def __call__(self) -> None:
        with self._changed:
            self.times.append(time.monotonic())
            self._changed.notify_all()

    def again(self, than: int, seconds: float) -> bool:
        with self._changed:
            return self._changed.wait_for(lambda: len(self.times) > than, timeout=seconds)


@contextmanager
def listening(house: Any) -> Iterator[Heard]:
    if house.ctx.db.is_sqlite:
        pytest.skip("SQLite has one process: each of its commits wakes the dispatcher")
    heard = Heard()
    ear = Ear(house.ctx.db, heard)
    ear.start()
    try:
        assert heard.again(0, SOON), "an ear looks once as it begins"
        yield heard
    finally:
        assert ear.stop(seconds=SOON)


def test_a_message_that_was_added_is_heard_at_once_and_a_write_without_one_is_not(house: Any) -> None:
    with listening(house) as heard:
        before, began = len(heard.times), time.monotonic()
        done = house.check_in()
        assert heard.again(before, SOON)
        took = heard.times[before] - began
        time.sleep(QUIET)
        before = len(heard.times)
        desk_notes.add_note(house.ctx, house.actor(), done.ticket_ids[0], text="the dial sticks")
        assert not heard.again(before, QUIET), "a note is no message"
    print(f"FIGURE heard_after seconds={took:.3f} meant=2")


def test_nothing_is_heard_of_a_transaction_that_was_undone(house: Any) -> None:
    with listening(house) as heard:
        before = len(heard.times)
        with pytest.raises(ZeroDivisionError), house.ctx.db.write(house.shop_id) as unit:
            unit.connection.execute(text("notify shelfbell_outbox"))
            raise ZeroDivisionError
        assert not heard.again(before, QUIET)


def test_a_line_that_was_cut_is_opened_again_and_what_came_meanwhile_is_heard(house: Any) -> None:
    with listening(house) as heard:
        before = len(heard.times)
        with house.ctx.db.write(house.shop_id) as unit:
            cut = unit.connection.execute(
                text("select count(pg_terminate_backend(pid)) from pg_stat_activity "
                     "where datname = current_database() and query = 'listen shelfbell_outbox'")
            ).scalar()  # fmt: skip
        assert cut == 1
        house.check_in()  # while nobody listens
        assert heard.again(before, SOON), "an ear listens again within some seconds, and looks then"
        before = len(heard.times)
        house.check_in(email="late@example.org")
        assert heard.again(before, SOON)
