"""Attackers and bad luck around forgetting, requests and backups: what a reviewer found, and what must hold now.

Archives are made by hand with pyrage (age-encryption.org/v1) and Python's tarfile (POSIX.1-2001 and GNU base-256
sizes), as somebody would who knows only the public half of the key.
"""

from __future__ import annotations

import io
import os
import sqlite3
import tarfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pyrage  # type: ignore[import-untyped]
import pytest
from sqlalchemy import event, select, text

from notify.cli.backup import place_of
from notify.config.backup_rules import BACKUP_RULES
from notify.core.errors import Invalid, NotFound
from notify.flows import erasure_list, forget, keeping, requests, requests_due, restore, suppressions, view_day_sheet
from notify.flows.hear_reply import Heard, hear
from notify.store import archive, erasing, visits, whole_file
from notify.store import schema as s
from notify.store import suppressions as stops
from tests.flows.conftest import Lines
from tests.flows.test_requests import Asking
from tests.parts.backups import Kept, make_kept
from tests.parts.clock import FakeClock
from tests.parts.left_over import left_over

pytestmark = pytest.mark.long
E164 = "+447700900123"


@pytest.fixture
def kept(database_urls: Callable[[str], str], tmp_path: Path, clock: FakeClock, tzdata_only: None) -> Iterator[Kept]:
    made = make_kept(tmp_path, database_urls("sqlite"), clock)
    yield made
    made.house.services.close()


def test_the_words_of_a_request_are_overwritten_with_the_rest(lines: Lines) -> None:
    one = Asking(lines)
    one.ask("correction", note="My name is written Inez")
    one.give_back()
    with lines.house.read() as unit:
        before = unit.connection.execute(select(s.requests.c.note_sealed)).scalars().all()
    forget.erase_person(lines.house.ctx, lines.house.system(), one.person)
    with lines.house.read() as unit:
        after = unit.connection.execute(select(s.requests.c.note_sealed)).scalars().all()
        assert left_over(unit) == {}
    assert all(before) and after == [None]


def test_whoever_takes_an_erasure_back_while_the_night_runs_stays(lines: Lines) -> None:
    first = Asking(lines)
    second = Asking(lines, name="Tobiah Marlowe", email="tobiah@example.net", phone="07700 900124")
    asked = []
    for one in (first, second):
        one.give_back()
        asked.append(one.ask().id)
    lines.house.clock.advance(13 * 3600)

    def meanwhile(_copies: object) -> int:
        requests.withdraw(lines.house.ctx, lines.house.actor(), asked[1])
        return 0

    assert requests_due.erase_due(lines.house.ctx, lines.house.system(), drop_copies=meanwhile) == 1
    assert first.is_gone() and not second.is_gone() and second.row(asked[1]).state == "withdrawn"


def test_a_start_written_before_a_stop_that_was_said_here_ends_nothing(lines: Lines) -> None:
    """Told late by a spool, or sent anew by somebody: the newer word holds, whoever noted it."""
    house = lines.house
    written = house.clock()
    house.clock.advance(3600)
    suppressions.add(house.ctx, house.actor(), channel="sms", address=E164)
    house.check_in(email="")
    hear(house.ctx, house.shop_id, Heard("sms", E164, "START", written, "late", "sms"))
    with house.read() as unit:
        assert stops.standing(unit, "sms", E164) is not None
    house.clock.advance(60)
    hear(house.ctx, house.shop_id, Heard("sms", E164, "START", house.clock(), "new", "sms"))
    with house.read() as unit:
        assert stops.standing(unit, "sms", E164) is None


def _sized(header: tarfile.TarInfo, field: bytes = b"") -> bytes:
    """A header with another size field and the right check sum (POSIX: the sum of its octets, its own as spaces)."""
    raw = bytearray(header.tobuf(tarfile.USTAR_FORMAT))
    if field:
        raw[124:136] = field
    raw[148:156] = b" " * 8
    raw[148:156] = b"%06o\0 " % sum(raw)
    return bytes(raw)


def _info(name: str, size: int = 0, kind: bytes = tarfile.REGTYPE) -> tarfile.TarInfo:
    info = tarfile.TarInfo(name)
    info.size, info.type = size, kind
    return info


FORGED = {
    "a size below nothing": _sized(_info("shelfbell.db"), b"\xff" * 11 + b"\xfb") + b"x" * 4096,
    "a link": _sized(_info("shelfbell.db", kind=tarfile.SYMTYPE)),
    "a way out of the folder": _sized(_info("../../shelfbell.db", 512)) + b"x" * 512,
    "two lists": _sized(_info("shelfbell.db")) + 2 * _sized(_info("erased.txt")),
    "an endless manifest": _sized(_info("shelfbell.db")) + _sized(_info("manifest.json", 2 << 20)) + b"{" * (2 << 20),
    "a manifest that is a list": _sized(_info("shelfbell.db"))
    + _sized(_info("manifest.json", 2))
    + b"[]"
    + b"\0" * 510,
    "nothing": b"",
}


@pytest.mark.parametrize("forged", sorted(FORGED))
def test_a_backup_made_by_whoever_knows_the_public_half_is_refused_and_leaves_nothing(
    forged: str, tmp_path: Path
) -> None:
    secret, public = archive.fresh_identity()
    file = tmp_path / "forged.age"
    locked = io.BytesIO()
    pyrage.encrypt_io(io.BytesIO(FORGED[forged] + b"\0" * 1024), locked, [pyrage.x25519.Recipient.from_str(public)])
    file.write_bytes(locked.getvalue())
    began = time.monotonic()
    with pytest.raises(Invalid):
        restore.unpack(file, tmp_path / "into.db", "main", [secret])
    assert time.monotonic() - began < 5
    assert {one.name for one in tmp_path.iterdir()} == {"forged.age", "into.db"}


def test_older_keys_put_back_take_nobody_off_the_list_beside_the_backups(kept: Kept) -> None:
    """Keys come back by the tools of a disk or of PostgreSQL, and a backup is made before anybody runs the restore."""
    house = kept.house
    done = house.check_in()
    with house.read() as unit:
        (who,) = visits.visit_people(unit, done.visit_id)["bringer"]
    vault = house.ctx.db.vault
    with vault.engine.connect() as connection:
        older = (
            connection.execute(text("select * from data_keys where person_id = :who"), {"who": who}).mappings().one()
        )
    forget.erase_person(house.ctx, house.system(), who)
    kept.back_up()
    with vault.engine.begin() as connection:
        connection.execute(text("delete from erased"))
        names = ", ".join(older)
        connection.execute(text(f"insert into data_keys ({names}) values (:{', :'.join(older)})"), dict(older))
    kept.back_up()
    erasure_list.keep(house.ctx, (kept.folder, kept.keys_folder))
    listed, apart = (erasure_list.read(one, vault.index_keys()) for one in (kept.folder, kept.keys_folder))
    assert set(listed) == set(apart) == {who}
    found = restore.after_care(house.ctx, listed, made_at=None)
    assert not vault.with_keys([who]) and found.listed == 1


def test_the_list_is_looked_at_again_only_when_one_of_its_copies_changed(kept: Kept) -> None:
    house, place, seen = kept.house, place_of(kept.house.services.settings), dict[str, object]()
    people_: list[str] = []
    ring = house.ctx.db.vault.index_keys()
    for n in range(2):
        done = house.check_in(email=f"n{n}@example.org")
        with house.read() as unit:
            people_ += visits.visit_people(unit, done.visit_id)["bringer"]
    for count, who in enumerate(people_, 1):
        forget.erase_person(house.ctx, house.system(), who)
        erasure_list.keep_if_newer(house.ctx, place.folders, seen)
        assert len(erasure_list.read(kept.folder, ring)) == count
    before = (kept.folder / erasure_list.LIST).stat().st_ino
    erasure_list.keep_if_newer(house.ctx, place.folders, seen)
    assert (kept.folder / erasure_list.LIST).stat().st_ino == before
    (kept.keys_folder / erasure_list.LIST).unlink()  # somebody's hand
    erasure_list.keep_if_newer(house.ctx, place.folders, seen)
    assert set(erasure_list.read(kept.keys_folder, ring)) == set(people_)


def test_a_link_laid_in_the_folder_of_backups_is_not_written_through(tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.write_text("ours")
    for name in (".erased.txt.part", f".erased.txt.part-{os.getpid()}-{threading.get_ident()}"):
        (tmp_path / name).symlink_to(victim)
    whole_file.write_file(tmp_path / "erased.txt", lambda out: str(out.write(b"list")))
    assert (victim.read_text(), (tmp_path / "erased.txt").read_bytes()) == ("ours", b"list")
    assert not (tmp_path / "erased.txt").is_symlink()


def test_what_killed_backups_left_in_the_folders_goes_a_day_later_and_nothing_else(kept: Kept) -> None:
    old = time.time() - timedelta(days=2).total_seconds()
    left = [kept.folder / ".shelfbell-20260101T000000Z.age.unproved", kept.folder / ".erased.txt.part-1-2",
            kept.folder / "..shelfbell-20260101T000000Z.age.unproved.part-1-2"]  # fmt: skip
    others = [kept.folder / ".notes", kept.folder / "shelfbell-mine.age"]
    young = kept.folder / ".shelfbell-20260102T000000Z.age.unproved"
    for one in (*left, *others, young):
        one.write_bytes(b"x")
        os.utime(one, None if one is young else (old, old))
    kept.back_up()
    assert [one.exists() for one in (*left, *others, young)] == [False] * 3 + [True] * 3


def test_what_becomes_of_somebody_is_found_by_index_however_large_the_shop(kept: Kept) -> None:
    """SQLite's own EXPLAIN QUERY PLAN: no step reads all parts or tickets of a shop (sqlite.org/eqp.html)."""
    house = kept.house
    done = house.check_in()
    asked: list[tuple[str, Any]] = []
    with house.read() as unit:
        (who,) = visits.visit_people(unit, done.visit_id)["bringer"]

    def hear_statement(_c: Any, _cursor: Any, statement: str, values: Any, _context: Any, _many: bool) -> None:
        asked.append((statement, values))

    event.listen(house.ctx.db.engine, "before_cursor_execute", hear_statement)
    with house.read() as unit:
        keeping.fate(house.ctx, unit, who)
        keeping.who_is_due(house.ctx, unit, among=[who])
    event.remove(house.ctx.db.engine, "before_cursor_execute", hear_statement)
    plan: list[str] = []
    with house.read() as unit:
        raw = unit.connection.connection.driver_connection
        for statement, values in asked:
            plan += [row[3] for row in raw.execute(f"explain query plan {statement}", values)]
    whole = [one for one in plan if "SCAN" in one or one.endswith(("_1 (shop_id=?)", "_1 (shop_id=?) LEFT-JOIN"))]
    assert len(plan) > 10 and [one for one in whole if "visit_people" in one or "tickets" in one] == []


def test_links_and_dots_make_no_folder_of_its_own_for_lock_and_key(tmp_path: Path) -> None:
    safe, data = tmp_path / "safe", tmp_path / "data"
    for one in (safe, data):
        one.mkdir()
    (tmp_path / "link").symlink_to(data)
    (tmp_path / "apart").symlink_to(safe)

    def broken(**more: Path) -> set[str]:
        values: dict[str, object] = dict.fromkeys(
            ("backup.key_file", "keys.master_key_file", "keys.index_key_file", "web.secret_file", "backup.recipient")
        )
        values |= {"database.data_folder": data, "backup.folder": safe, "backup.keys_folder": tmp_path / "keys",
                   "backup.key_file": tmp_path / "age.key"}  # fmt: skip
        values |= {name.replace("__", "."): value for name, value in more.items()}
        return {" ".join(rule.keys) for rule in BACKUP_RULES if rule.broken(values)}

    assert broken() == set()
    assert broken(backup__folder=tmp_path / "link") and broken(backup__folder=tmp_path / "x" / ".." / "data" / "b")
    assert broken(backup__keys_folder=tmp_path / "apart") and broken(backup__key_file=tmp_path / "apart" / "age.key")


def test_keys_are_rewritten_once_however_long_the_proof_of_an_erasure_waits(kept: Kept) -> None:
    house, said = kept.house, list[str]()
    done = house.check_in()
    with house.read() as unit:
        (who,) = visits.visit_people(unit, done.visit_id)["bringer"]
    event.listen(
        house.ctx.db.vault.engine, "before_cursor_execute", lambda _c, _k, statement, *_: said.append(statement)
    )
    main = house.services.settings.database.url.removeprefix("sqlite:///")
    with closing(sqlite3.connect(main, isolation_level=None)) as reader:
        reader.execute("begin")
        reader.execute("select count(*) from people").fetchone()
        forget.erase_person(house.ctx, house.system(), who, prove=False)
        assert [forget.confirm(house.ctx, house.system()) for _ in range(2)] == [False] * 2
        reader.execute("rollback")
    assert said.count("VACUUM") == 1
    assert forget.confirm(house.ctx, house.system()) and said.count("VACUUM") == 1
    other = house.check_in(email="other@example.org")
    with house.read() as unit:
        (second,) = visits.visit_people(unit, other.visit_id)["bringer"]
    assert forget.erase_person(house.ctx, house.system(), second) and said.count("VACUUM") == 2


class _Killed(BaseException):
    """As kill -9 between the keys and the rows."""


def test_whoever_lost_their_key_in_a_killed_run_is_finished_before_their_time_and_pages_are_whole_again(
    lines: Lines,
) -> None:
    """Somebody whose device is here, so that no period is over: nobody else would ever come back to them."""
    one, house = Asking(lines), lines.house
    seen = Heard("email", "ines@example.org", "Is it ready?", house.clock(), "<w1@example.org>", "mail")
    hear(house.ctx, house.shop_id, seen)

    def kill(_copies: object) -> int:
        raise _Killed

    house.deliver(after=91)  # so that there are copies to drop
    with pytest.raises(_Killed):
        forget.erase_person(house.ctx, house.actor(), one.person, drop_copies=kill)
    with pytest.raises(NotFound):
        view_day_sheet.view(house.ctx, house.actor())
    assert forget.finish_cut_off(house.ctx, house.system()) == 0  # the run may go on still
    house.clock.advance(forget.STILL.total_seconds())
    since, dropped = house.clock() - timedelta(hours=1), list[str]()

    def drop(copies: Any) -> int:
        dropped.extend(copies)
        return len(copies)

    assert forget.finish_cut_off(house.ctx, house.system(), since=since, drop_copies=drop) == 1
    assert dropped and view_day_sheet.view(house.ctx, house.actor())
    with house.read() as unit:
        assert left_over(unit) == {}
        assert erasing.list_erasures(unit)[0].reason == "cut_off"
    assert forget.finish_cut_off(house.ctx, house.system(), since=since) == 0
