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

from notify.cli import restore
from notify.cli.backup import keep_list_beside
from notify.config.load import load
from notify.core.errors import Invalid
from notify.core.stop_list import Granted, Stop, as_text, read_octets, united
from notify.flows import granted, moves, reach, requests, suppressions
from notify.store import people, schema, tickets
from notify.store import requests as store_requests
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
    print(f"FIGURE restored_stops stopped={after.stopped} unused={after.unused} written_to_again={back}")
    assert told == {wants.visit_id} and (after.stopped, after.unused) == (2, 1)
    assert optional == {"repair", "pickup"}


def test_a_stop_on_any_copy_of_the_list_counts_and_a_damaged_one_is_none() -> None:
    ended = replace(STOP, ended_at=AT + timedelta(days=1), ended_how="reply")
    assert read_octets(as_text([ended, STOP]).encode()) == (ended,) == united([STOP], [ended])
    assert len(united([STOP], [replace(STOP, shop_id="t")])) == 2
    one = Granted("s", "r", "p", "v", "restriction", "counter", AT, AT, None)
    assert read_octets(as_text([one, STOP, replace(one, ended_at=AT)]).encode()) == (STOP, replace(one, ended_at=AT))
    line, other = as_text([STOP]).splitlines()[1], as_text([one]).splitlines()[1]
    for bad in (
        line[:-9],
        "null",
        "[]",
        line.replace("+00:00", ""),
        line.replace("0" * 64, "07700900123"),
        "\xff",
        other.replace("restriction", "erasure"),
        other.replace("+00:00", "", 1),
        other.replace('"p"', "7"),
    ):
        with pytest.raises(Invalid, match="Line 2"):
            read_octets(f"# head\n{bad}\n".encode())


@pytest.mark.long
def test_what_was_restricted_or_objected_to_after_the_backup_stands_again_once_it_is_brought_back(kept: Kept) -> None:
    """GDPR art. 18(2) and 21(1) know no exception for whoever lost their data."""
    house, ids = kept.house, list[str]()
    aside, objects, over = (house.check_in(email=f"{name}@example.net", phone="") for name in ("odile", "ivo", "una"))

    def ask(done: Any, kind: str) -> str:
        with house.read() as unit:
            who = person_of(unit, done)
        taken = requests.ask(house.ctx, house.actor(), done.visit_id, who, kind=kind, how="counter", made_sure="a pass")
        requests.finish(house.ctx, house.actor(), taken.id)
        ids.append(taken.id)
        return who

    ended = ask(over, "restriction")
    made = kept.back_up()
    house.clock.advance(60)
    whose = [ask(aside, "restriction"), ask(objects, "objection"), ended]
    granted.lift(house.ctx, house.actor(), ids[0], told="said it to them")
    keep_list_beside(house.services)
    listed = (kept.folder / "stopped.txt").read_text()
    assert all(one in listed for one in ids) and "@" not in listed and "a pass" not in listed
    other = kept.empty_copy("other")
    after = kept.restore(other, made)
    with closing(build(load(other), clock=house.clock)) as again, again.context.db.read(house.shop_id) as unit:
        told = {one.person_id: one for one in people.recipients(unit, whose)}
        rows = [store_requests.get_request(unit, one) for one in ids]
        ways = [(told[who].set_aside, [sorted(way.objected) for way in told[who].reaches]) for who in whose]
    assert ways == [(True, [[]]), (False, [["reminder"]]), (False, [[]])] and after.stopped == 3
    assert [(one.state, one.in_force, one.lifted_at is None) for one in rows] == [
        ("done", False, False), ("done", True, True), ("done", False, True),
    ]  # fmt: skip
    once_more = restore.finish(load(other), restore.Files(kept.folder / made.file), clock=house.clock)
    assert once_more.stopped == 0
