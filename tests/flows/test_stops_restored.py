"""A backup that comes back writes to nobody who stopped after it was made.

GDPR art. 7(3) and 47 CFR 64.1200(a)(10): a stop holds from when it was said; that an older copy of the data comes back
is no new consent. PostgreSQL by its own tools: tests/real/test_restore_drill.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from notify.cli.backup import keep_list_beside
from notify.config.load import load
from notify.core.errors import Invalid
from notify.core.stop_list import Stop, as_text, read_octets, united
from notify.flows import moves, reach, suppressions
from notify.store import people, schema, tickets
from notify.wiring import build
from tests.parts.backups import Kept, make_kept
from tests.parts.clock import FakeClock

EVERY = ("repair", "pickup", "afterwards")
AT = datetime(2026, 11, 25, 9, tzinfo=UTC)
STOP = Stop("s", "i", "sms", "0" * 64, "k1", "reply", AT, None, "")


@pytest.fixture
def kept(database_urls: Callable[[str], str], tmp_path: Path, clock: FakeClock, tzdata_only: None) -> Iterator[Kept]:
    made = make_kept(tmp_path, database_urls("sqlite"), clock)
    yield made
    made.house.services.close()


def person_of(unit: Any, done: Any) -> str:
    return tickets.get_ticket(unit, done.ticket_ids[0]).person_id


def use(kept: Kept, done: Any, channel: str, *, allowed: bool, purposes: tuple[str, ...] = EVERY) -> None:
    house = kept.house
    with house.read() as unit:
        who = person_of(unit, done)
    reach.set_use(house.ctx, house.actor(), done.visit_id, who, channel=channel, purposes=purposes, allowed=allowed,
                  how="counter", wanted=True)  # fmt: skip


@pytest.mark.long
def test_nobody_who_stopped_after_the_backup_is_written_to_once_it_is_brought_back(kept: Kept) -> None:
    house = kept.house
    stops = house.check_in(email="odile@example.net", phone="")
    wants = house.check_in(email="tobiah@example.net", phone="")
    asked = house.check_in(email="", phone="07700 900124")
    use(kept, asked, "sms", allowed=True)
    suppressions.add(house.ctx, house.actor(), channel="email", address="tobiah@example.net")
    made = kept.back_up()
    house.clock.advance(60)
    use(kept, stops, "email", allowed=False)
    suppressions.end(house.ctx, house.actor(), channel="email", address="tobiah@example.net", wanted=True)
    keep_list_beside(house.services)
    assert "@" not in (kept.folder / "stopped.txt").read_text()
    other = kept.empty_copy("other")
    after = kept.restore(other, made)
    with closing(build(load(other), clock=house.clock)) as again:
        for done in (stops, wants):
            for phase, outcome in (("in_line", ""), ("on_bench", ""), ("proving", ""), ("on_shelf", "repaired")):
                moves.move(again.context, house.actor(), done.ticket_ids[0], phase, outcome=outcome)
        with again.context.db.read(house.shop_id) as unit:
            rows = unit.connection.execute(select(schema.messages).where(schema.messages.c.notice == "ready")).all()
            who = person_of(unit, asked)
            optional = people.allowed_uses(unit, [who])[who]["sms"]
    told = {row.visit_id for row in rows if row.state == "waiting" and row.channel == "email"}
    back = len(told & {stops.visit_id})
    print(f"FIGURE restored_stops stopped={after.stopped} set_aside={after.set_aside} written_to_again={back}")
    assert told == {wants.visit_id} and (after.stopped, after.set_aside) == (2, 1)
    assert optional == {"repair", "pickup"}


def test_a_stop_on_any_copy_of_the_list_counts_and_a_damaged_one_is_none() -> None:
    ended = replace(STOP, ended_at=AT + timedelta(days=1), ended_how="reply")
    assert read_octets(as_text([ended, STOP]).encode()) == (ended,) == united([STOP], [ended])
    assert len(united([STOP], [replace(STOP, shop_id="t")])) == 2
    line = as_text([STOP]).splitlines()[1]
    for bad in (line[:-9], "null", "[]", line.replace("+00:00", ""), line.replace("0" * 64, "07700900123"), "\xff"):
        with pytest.raises(Invalid, match="Line 2"):
            read_octets(f"# head\n{bad}\n".encode())
