"""The edges of backup and restore, each of which somebody broke on purpose without another test noticing."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from pyrage import x25519  # type: ignore[import-untyped]
from sqlalchemy import select, update

from notify.cli.backup import place_of
from notify.config.load import load
from notify.core.erasure_list import united
from notify.core.errors import Invalid, Misconfigured, Unavailable
from notify.flows import backup, pickup, restore, view_backup
from notify.flows.hear_reply import Heard, hear
from notify.store import archive, copying, migrate, schema, staff, whole_file
from notify.store.engine import open_engine
from notify.wiring import build
from tests.flows.test_pickup import at, ready_visit
from tests.parts.backups import AFTER_CARE, Kept, dump, make_kept
from tests.parts.calendar_mail import objects, order_errors
from tests.parts.clock import FakeClock
from tests.parts.house import House
from tests.parts.shelved import shelve

pytestmark = pytest.mark.long
DAY, HOUR = 86400, timedelta(hours=1)
WRITTEN = AFTER_CARE | {"alembic_version", "messages", "sessions"}  # by a restore


@pytest.fixture
def kept(database_urls: Callable[[str], str], tmp_path: Path, clock: FakeClock, tzdata_only: None) -> Iterator[Kept]:
    made = make_kept(tmp_path, database_urls("sqlite"), clock)
    yield made
    made.house.services.close()


def test_three_good_backups_and_one_of_the_keys_stay_however_short_their_life(kept: Kept) -> None:
    place = replace(place_of(kept.house.services.settings), keep=HOUR, keep_keys=HOUR)
    for _ in range(5):
        kept.house.clock.advance(DAY)
        backup.make(kept.house.ctx, place)
    assert [len(backup.kept(*one)) for one in ((kept.folder, "main"), (kept.keys_folder, "keys"))] == [3, 1]


@pytest.mark.parametrize("how", ["an octet of the database", "its moment", "an octet of the file"])
def test_a_file_that_is_not_the_copy_to_the_last_octet_is_no_backup(kept: Kept, tmp_path: Path, how: str) -> None:
    """A disk that gives back something else: each time a whole archive under the right key, but for the last."""
    kept.house.check_in()
    place = place_of(kept.house.services.settings)

    def swap(point: str) -> None:
        if point != "backup:locked":
            return
        [file] = kept.folder.glob(".*.unproved")
        if how == "an octet of the file":
            whole = bytearray(file.read_bytes())
            whole[len(whole) // 2] ^= 1
            file.write_bytes(whole)
            return
        with copying.scratch(tmp_path) as other:
            with file.open("rb") as locked:
                told, listed = archive.read(locked, other.put, identities=[place.proof])
            if how == "its moment":
                told = replace(told, made_at=(kept.house.clock() - HOUR).isoformat())
            else:
                other.put(memoryview(b"\xff"), told.size - 1)
            whole_file.write_file(
                file, lambda out: archive.write(out, other, told, listed, recipients=[place.recipient])
            )  # fmt: skip

    with pytest.raises((Invalid, Unavailable)):
        kept.back_up(fault=swap)
    assert list(kept.folder.iterdir()) == [] and view_backup.view(kept.house.ctx).failed


@pytest.mark.real
def test_what_was_written_is_read_from_the_disk_when_it_is_proved_and_not_from_memory() -> None:
    """Counted by Linux (read_bytes of proc(5): what came from the storage itself) below /var/tmp, which is on a disk
    since it outlives a restart (FHS 3.0, 5.15). Both from memory."""

    def fetched() -> int:
        lines = Path("/proc/self/io").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("read_bytes"))

    with tempfile.TemporaryDirectory(dir="/var/tmp") as folder:
        file, octets = Path(folder) / "a.age", os.urandom(4 << 20)
        whole_file.write_file(file, lambda out: out.write(octets))
        before = fetched()
        assert file.read_bytes() == octets
        from_disk = fetched() - before
    print(f"FIGURE read_back octets={len(octets)} from_disk={from_disk}")
    assert from_disk >= len(octets) * 9 // 10


def test_a_backup_of_a_newer_program_is_told_and_not_taken(kept: Kept, tmp_path: Path) -> None:
    secret = x25519.Identity.generate()
    file = tmp_path / "newer.age"
    with copying.scratch(tmp_path) as copy:
        copying.copy(kept.house.ctx.db.engine, copy)
        told = archive.Manifest(archive.FORMAT, "main", kept.house.clock().isoformat(), "9.0", "9999", copy.size())
        with file.open("wb") as out:
            archive.write(out, copy, told, b"", recipients=[str(secret.to_public())])
    with pytest.raises(Misconfigured, match="newer program"):
        restore.unpack(file, tmp_path / "into.db", "main", [str(secret)])


def first_tables_only(file: Path, folder: Path) -> None:
    """Takes a database back to the first step: it has the tables and triggers that alembic makes for that step."""
    with closing(sqlite3.connect(file)) as connection:
        for name, kind in connection.execute("select name, type from sqlite_master where name like 'consents!_%' "
                                             "escape '!' and type = 'trigger'").fetchall():  # fmt: skip
            connection.execute(f"drop {kind} {name}")
        connection.execute("update alembic_version set version_num = '0001'")
        connection.commit()
        made = set(connection.execute("select sql from sqlite_master where name not like 'sqlite%'"))
    engine = open_engine(f"sqlite:///{folder / 'first.db'}", pooled=False)
    with engine.connect().execution_options(writes=True) as writing, writing.begin():
        config = migrate._config()
        config.attributes["connection"] = writing
        command.upgrade(config, "0001")
    with closing(sqlite3.connect(folder / "first.db")) as connection:
        assert made == set(connection.execute("select sql from sqlite_master where name not like 'sqlite%'"))


def test_a_backup_of_older_tables_is_made_before_their_upgrade_and_brought_to_todays_by_a_restore(
    kept: Kept, tmp_path: Path
) -> None:
    kept.house.check_in()
    kept.house.services.close()
    file = Path(kept.house.services.settings.database.url.removeprefix("sqlite:///"))
    first_tables_only(file, tmp_path)
    before = dump(file, without=WRITTEN)
    with pytest.raises(Misconfigured, match="step 0001"):
        build(load(kept.config), clock=kept.house.clock)
    with closing(build(load(kept.config), clock=kept.house.clock, or_older=True)) as services:
        made = backup.make(services.context, place_of(services.settings))
    other = kept.empty_copy("other")
    kept.restore(other, made)
    data = other.parent / "data" / "shelfbell.db"
    with closing(sqlite3.connect(data)) as connection:
        step = connection.execute("select version_num from alembic_version").fetchone()[0]
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            connection.execute("delete from consents")
    assert step == migrate.newest() > "0001" and dump(data, without=WRITTEN) == before


def test_of_two_lists_everybody_counts_and_the_earlier_time(clock: FakeClock) -> None:
    early, late = clock(), clock() + HOUR
    assert united({"a": late, "b": late}, {"a": early, "c": early}) == {"a": early, "b": late, "c": early}
    assert united({"a": early}, {"a": late}) == {"a": early}


def _rows(house: House, table: Any = schema.messages) -> list[Any]:
    with house.read() as unit:
        return list(unit.connection.execute(select(table)))


def _change(house: House, row: Any, **values: Any) -> None:
    m = schema.messages
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(update(m).where(m.c.shop_id == house.shop_id, m.c.id == row.id).values(**values))


def test_after_a_restore_what_was_tried_or_caught_up_on_is_dropped_and_calls_and_the_rest_stay(house: House) -> None:
    for n in range(3):
        house.check_in(phone="", email=f"n{n}@example.org")
    tried, called, to_come = (one for one in _rows(house) if one.person_id)
    house.clock.advance(60)
    _change(house, tried, attempts=1, due_at=house.clock() + HOUR)
    _change(house, to_come, due_at=house.clock() + HOUR)
    _change(house, called, channel="call", due_at=house.clock() - HOUR)
    shelved = house.check_in()
    shelve(house, shelved.ticket_ids[0])
    house.deliver(after=91)
    house.clock.advance(20 * DAY)
    _change(house, tried, state="waiting", ended_at=None, attempts=1, due_at=house.clock() + HOUR)
    _change(house, to_come, state="waiting", ended_at=None, attempts=0, due_at=house.clock() + HOUR)
    _change(house, called, state="waiting", ended_at=None, channel="call", due_at=house.clock() - HOUR)
    before = {one.id for one in _rows(house)}
    after = restore.after_care(house.ctx, {}, made_at=house.clock() - HOUR)
    now = {one.id: one for one in _rows(house)}
    assert (now[tried.id].state, now[tried.id].reason) == ("dropped", "restored")
    assert now[to_come.id].state == now[called.id].state == "waiting"
    caught_up = [one for key, one in now.items() if key not in before and one.channel != "call"]
    assert caught_up and {one.reason for one in caught_up if one.state == "dropped"} == {"restored"}
    assert not [one for one in caught_up if one.state == "waiting"]
    assert after.dropped == sum(one.reason == "restored" for one in now.values())


def test_after_a_restore_everybody_is_signed_out_and_what_strangers_wrote_without_a_key_is_emptied(
    house: House,
) -> None:
    hear(house.ctx, house.shop_id, Heard("sms", "+447700900999", "Is this the fish shop?", house.clock(), "x", "sms"))
    (letter,) = _rows(house, schema.replies)
    assert letter.text_sealed
    house.ctx.db.vault.destroy_keys([letter.sealed_for])
    with house.ctx.db.write(house.shop_id) as unit:
        ada = staff.add_staff(unit, name="Ada", role="counter", password_hash="h", pin_hash="", at=house.clock())
        staff.add_session(unit, session_hash="h", staff_id=ada, at=house.clock(), expires_at=house.clock() + HOUR)
    after = restore.after_care(house.ctx, {}, made_at=house.clock())
    (letter,) = _rows(house, schema.replies)
    assert letter.text_sealed is None and letter.sender_sealed is None
    assert (after.erased, after.lost, after.signed_out) == (0, 0, 1) and _rows(house, schema.sessions) == []


def test_a_pickup_that_is_changed_after_a_restore_outranks_whatever_the_lost_database_had_sent(kept: Kept) -> None:
    """RFC 5545 3.8.7.4 and RFC 5546 2.1.5: a calendar keeps the higher SEQUENCE. Objects are read by vobject."""

    def book(house: House, hour: int) -> None:
        pickup.book(house.ctx, house.customer(), visit, at(hour))
        house.deliver(after=91)

    house = kept.house
    visit, _ = ready_visit(house)
    book(house, 11)
    made, other = kept.back_up(), kept.empty_copy("other")
    for hour in (12, 13):
        book(house, hour)
    kept.restore(other, made)
    house.clock.advance(120)
    services = build(load(other), clock=house.clock, channels=house.channels)
    again = House(services, house.clock, house.shop_id, house.channels)
    assert [one.sequence for one in objects(house)] == [0, 1, 2]
    book(again, 14)
    pickup.cancel(again.ctx, again.customer(), visit)
    again.deliver(after=91)
    services.close()
    seen = objects(house)
    print(f"FIGURE restored_sequence objects={len(seen)} order_errors={len(order_errors(seen))}")
    assert [one.method for one in seen[3:]] == ["REQUEST", "CANCEL"] and order_errors(seen) == []
    assert 2 < seen[3].sequence < seen[4].sequence < 2**31  # RFC 5545 3.3.8
