"""A new master or index key while serving: killed anywhere nothing is lost, and a wrong key changes nothing."""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import random
import signal
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select, text, update

from notify.cli.main import run
from notify.config.key_files import key_line, read_ring
from notify.core.errors import Conflict, Misconfigured, NotFound
from notify.flows import keys
from notify.store.key_store import data_keys
from tests.parts.house import House
from tests.parts.turning import Killed, Turned, killer, turn_slowly, with_keys_in

KINDS = ("master", "index")


# What PostgreSQL says to the same is looked at before a release: both take the same path but for their locks.
DEEP = (pytest.mark.real, pytest.mark.deep)
ON_BOTH = pytest.mark.parametrize("backend", ["sqlite", pytest.param("postgresql", marks=DEEP)], indirect=True)


@pytest.fixture
def turned(house: House) -> Turned:
    made = Turned(house)
    made.add(5)
    return made


@ON_BOTH
@pytest.mark.parametrize("kind", KINDS)
def test_a_new_key_is_in_place_and_the_old_one_opens_nothing_more(turned: Turned, kind: Any) -> None:
    old = read_ring(turned.file(kind))[0]
    behind = turned.file(kind).rename(turned.file(kind).with_suffix(".shared"))
    turned.file(kind).symlink_to(behind)  # as where several share one file
    beside = turned.again()  # another process that was there before
    made = keys.rotate(turned.house.ctx, kind, turned.file(kind))
    ring = read_ring(turned.file(kind))
    assert made.changed == 5 and not made.closed and not made.finished and made.proved
    assert ring[0][0] == made.id == "k2" and (ring[0][1] not in (old[1],))
    assert [one[0] for one in ring] == (["k2"] if kind == "master" else ["k2", "k1"])
    assert turned.file(kind).is_symlink() and read_ring(behind) == ring and behind.stat().st_mode & 0o777 == 0o600
    assert turned.unreadable() == turned.unreadable(beside) == turned.wrong_from_outside() == 0
    turned.add(2, services=beside)  # by a process that has read the old file only
    assert turned.unreadable() == turned.wrong_from_outside() == 0
    beside.close()


@ON_BOTH
@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_killed_at_any_point_nothing_is_lost_and_the_next_run_ends_it(turned: Turned, kind: Any) -> None:
    died = points = unreadable = 0
    for at in range(1, 30):
        try:
            keys.rotate(turned.house.ctx, kind, turned.file(kind), fault=killer(at), batch=2)
        except Killed:
            died += 1
        else:
            points = at - 1
            break
        beside = turned.again()  # a process that starts in this very state
        turned.add(1, services=beside)
        unreadable += turned.unreadable() + turned.unreadable(beside)
        beside.close()
        ended = keys.rotate(turned.house.ctx, kind, turned.file(kind))
        assert ended.proved and turned.unreadable() == turned.wrong_from_outside() == 0
        if kind == "index":  # the old line stays until it is retired
            keys.retire(turned.house.ctx, kind, read_ring(turned.file(kind))[1][0], turned.file(kind))
        assert len(read_ring(turned.file(kind))) == 1
    name = turned.house.ctx.db.engine.dialect.name
    print(f"FIGURE E7_points database={name} key={kind} points={points} died={died} unreadable={unreadable}")
    assert died == points >= 5 and unreadable == 0


@ON_BOTH
def test_no_key_wrapped_under_the_old_master_key_stays_readable_in_the_store(turned: Turned) -> None:
    engine = turned.house.ctx.db.vault.engine
    with engine.connect() as connection:
        old = [row.wrapped for row in connection.execute(select(data_keys))]
    files = Path(engine.url.database or "")

    def hits() -> int:
        stored = b"".join(file.read_bytes() for file in files.parent.glob(f"{files.name}*"))
        return sum(stored.count(one) for one in old)

    assert hits() >= len(old)
    assert keys.rotate(turned.house.ctx, "master", turned.file("master")).proved and hits() == 0


@ON_BOTH
def test_while_one_process_turns_a_key_another_is_refused(turned: Turned) -> None:
    said = []

    def meanwhile(point: str) -> None:
        beside = turned.again()
        for kind in KINDS:
            with pytest.raises(Conflict) as refused:
                keys.rotate(beside.context, kind, turned.file(kind))  # type: ignore[arg-type]
            said.append(refused.value.what)
        beside.close()

    keys.rotate(turned.house.ctx, "master", turned.file("master"), fault=meanwhile)
    assert len(said) >= 8 and set(said) == {"The keys are being changed already"}


@ON_BOTH
def test_an_old_index_key_goes_only_when_nothing_needs_it(turned: Turned) -> None:
    ctx, file = turned.house.ctx, turned.file("index")
    keys.rotate(ctx, "index", file)
    with turned.house.ctx.db.write(turned.house.shop_id) as unit:
        unit.connection.execute(text(
            "insert into suppressions (shop_id, id, channel, hash, key_id, reason, at, ended_how) "
            "values (:shop, 's1', 'sms', 'h', 'k1', 'asked', :at, '')"
        ), {"shop": turned.house.shop_id, "at": "2026-11-27T09:00:00.000000Z"})  # fmt: skip
        unit.connection.execute(text(  # one that the person ended themselves needs no key any more
            "insert into suppressions (shop_id, id, channel, hash, key_id, reason, at, ended_at, ended_how) "
            "values (:shop, 's2', 'sms', 'g', 'k1', 'asked', :at, :at, 'counter')"
        ), {"shop": turned.house.shop_id, "at": "2026-11-27T09:00:00.000000Z"})  # fmt: skip
    for anyway in (False, True):  # somebody who wants nothing more is never given up
        with pytest.raises(Conflict, match="1 suppressions"):
            keys.retire(ctx, "index", "k1", file, anyway=anyway)
    with turned.house.ctx.db.write(turned.house.shop_id) as unit:
        unit.connection.execute(text("delete from suppressions"))
    with pytest.raises(Conflict, match="current"):
        keys.retire(ctx, "index", "k2", file)
    with pytest.raises(NotFound):
        keys.retire(ctx, "index", "k9", file)
    assert [one[0] for one in read_ring(file)] == ["k2", "k1"]
    assert keys.retire(ctx, "index", "k1", file) == {}
    assert [one[0] for one in read_ring(file)] == ["k2"] and turned.unreadable_anew() == 0


@ON_BOTH
def test_a_master_key_that_wraps_something_is_never_dropped(turned: Turned) -> None:
    with pytest.raises(Killed):
        keys.rotate(turned.house.ctx, "master", turned.file("master"), fault=killer(2))
    for anyway in (False, True):
        with pytest.raises(Conflict, match="5 people"):
            keys.retire(turned.house.ctx, "master", "k1", turned.file("master"), anyway=anyway)
    assert [one[0] for one in read_ring(turned.file("master"))] == ["k2", "k1"] and turned.unreadable() == 0


@ON_BOTH
@pytest.mark.parametrize("kind", KINDS)
def test_a_line_that_is_only_prepared_is_not_used_until_it_is_adopted(turned: Turned, kind: Any) -> None:
    ctx, file = turned.house.ctx, turned.file(kind)
    assert keys.prepare(ctx, kind, file) == keys.prepare(ctx, kind, file) == "k2"
    turned.add(1)
    assert [(one.id, one.under) for one in keys.show(ctx) if one.kind == kind] == [("k1", 6)]
    assert keys.rotate(ctx, kind, file).id == "k2" and turned.wrong_from_outside() == 0


@ON_BOTH
def test_an_old_master_key_stays_while_something_under_it_does_not_open(turned: Turned) -> None:
    with turned.house.ctx.db.vault.engine.begin() as connection:
        first = min(turned.told)
        connection.execute(update(data_keys).where(data_keys.c.person_id == first).values(wrapped=b"x" * 60))
    made = keys.rotate(turned.house.ctx, "master", turned.file("master"))
    assert (made.changed, made.closed, made.left) == (4, 1, ("k1",))
    assert [one[0] for one in read_ring(turned.file("master"))] == ["k2", "k1"]


@ON_BOTH
def test_what_was_told_by_another_system_is_known_again_after_a_new_index_key(turned: Turned) -> None:
    vault = turned.house.ctx.db.vault
    before = vault.row_mark("J-1")
    keys.rotate(turned.house.ctx, "index", turned.file("index"))
    assert vault.row_mark("J-1") == before != vault.row_mark("J-2")


@ON_BOTH
def test_a_key_file_that_may_not_be_written_is_told_before_anything_is_changed(
    turned: Turned, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no(*_args: object) -> None:
        raise OSError(30, "Read-only file system")

    before = digest(turned.house)
    monkeypatch.setattr(os, "replace", no)  # the system's call: root may write into any folder here
    for kind in KINDS:
        with pytest.raises(Misconfigured, match="nothing was") as refused:
            keys.rotate(turned.house.ctx, kind, turned.file(kind))  # type: ignore[arg-type]
        assert "Read-only" in refused.value.advice
    assert digest(turned.house) == before and not list(turned.file("master").parent.glob(".*.key.*"))


def digest(house: House) -> str:
    """Every row of both databases."""
    parts = []
    for engine in (house.ctx.db.engine, house.ctx.db.vault.engine):
        from sqlalchemy import MetaData

        tables = MetaData()
        with engine.connect() as connection:
            tables.reflect(connection)
            for table in tables.sorted_tables:
                parts.append(repr(sorted(repr(tuple(row)) for row in connection.execute(table.select()))))
    return hashlib.sha256("".join(parts).encode()).hexdigest()


def _another(turned: Turned, kind: str) -> None:
    turned.file(kind).write_text(key_line(random.Random(7).randbytes(32), key_id="k7"))


def _right_name_wrong_bytes(turned: Turned, kind: str) -> None:
    turned.file(kind).write_text(key_line(random.Random(7).randbytes(32)))


def _swapped(turned: Turned, kind: str) -> None:
    master, index = (turned.file(one).read_text() for one in KINDS)
    turned.file("master").write_text(index)
    turned.file("index").write_text(master)


def _damaged(turned: Turned, kind: str) -> None:
    turned.file(kind).write_text(turned.file(kind).read_text()[:-4])


def _the_others_copy(turned: Turned, kind: str) -> None:
    other = turned.file("index" if kind == "master" else "master")
    turned.file(kind).write_text(other.read_text())


def _older_one_lost(turned: Turned, kind: str) -> None:
    with pytest.raises(Killed):
        keys.rotate(turned.house.ctx, kind, turned.file(kind), fault=killer(2))  # type: ignore[arg-type]
    turned.file(kind).write_text(turned.file(kind).read_text().splitlines()[0] + "\n")


COMMANDS = [["key", "rotate", "KIND"], ["upgrade"], ["forget"], ["key", "show"], ["ticket", "list"]]
FAULTS = [_another, _right_name_wrong_bytes, _swapped, _damaged, _the_others_copy, _older_one_lost]


@ON_BOTH
@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_a_wrong_key_starts_nothing_and_changes_nothing(turned: Turned, kind: Any, capsys: Any) -> None:
    config = next(turned.file(kind).parent.parent.glob("*.toml"))
    shown, cases = [], 0
    kept = {one: turned.file(one).read_text() for one in KINDS}
    for fault in FAULTS:
        fault(turned, kind)
        files, before = {one: turned.file(one).read_text() for one in KINDS}, digest(turned.house)
        with pytest.raises(Misconfigured) as refused:
            turned.again()
        assert refused.value.field.startswith("keys.")
        for command in COMMANDS[:3] if fault is _right_name_wrong_bytes else COMMANDS[:1]:
            cases += 1
            command = [word.replace("KIND", kind) for word in command]
            assert run([*command, "--config", str(config)], here=config.parent) == 6, (fault, command)
            shown.append(capsys.readouterr().err)
        assert digest(turned.house) == before
        assert {one: turned.file(one).read_text() for one in KINDS} == files
        if fault is not _older_one_lost:
            for one, words in kept.items():
                turned.file(one).write_text(words)
            assert turned.unreadable_anew() == 0
    secrets = [line.partition(":")[2] for words in kept.values() for line in words.split()]
    assert not any(secret in text for secret in secrets for text in shown) and "Traceback" not in "".join(shown)
    print(f"FIGURE E7_wrong_key database={turned.house.ctx.db.engine.dialect.name} key={kind} faults={len(FAULTS)} "
          f"refused={cases} changed=0")  # fmt: skip


def _kill_while_serving(turned: Turned, kills: int, longest: float) -> None:
    """Children turn keys and are killed by the system at a chance moment, while a thread here writes and reads."""
    chance, stop, unreadable, died = random.Random(71), threading.Event(), [0], 0

    def serve() -> None:
        while not stop.is_set():
            turned.add(1)
            unreadable[0] += turned.unreadable()
            time.sleep(0.01)

    for n in range(3 * kills):
        _let_go(turned)  # a fork must not copy an open connection
        kind = KINDS[n % 2]
        whole = (turned.settings, kind, turned.file(kind), turned.house.clock)
        child = multiprocessing.get_context("fork").Process(target=turn_slowly, args=whole)
        child.start()
        stop.clear()
        thread = threading.Thread(target=serve)
        thread.start()
        child.join(chance.uniform(0.02, longest))
        child.kill()
        child.join(60)
        stop.set()
        thread.join(60)
        died += child.exitcode == -signal.SIGKILL
        unreadable[0] += turned.unreadable() + turned.unreadable_anew()
        if died == kills:
            break
    for kind in KINDS:
        keys.rotate(turned.house.ctx, kind, turned.file(kind))  # type: ignore[arg-type]
    unreadable[0] += turned.unreadable() + turned.wrong_from_outside()
    engines = turned.house.ctx.db.engine.dialect.name, turned.house.ctx.db.vault.engine.dialect.name
    print(f"FIGURE E7 database={engines[0]} keys={engines[1]} kills={died} unreadable={unreadable[0]} "
          f"people={len(turned.told)}")  # fmt: skip
    assert unreadable[0] == 0 and died == kills


def _let_go(turned: Turned) -> None:
    turned.house.ctx.db.close()
    turned.house.ctx.db.vault.engine.dispose()


@ON_BOTH
@pytest.mark.real
def test_killed_by_the_system_while_serving_nothing_is_lost(turned: Turned) -> None:
    _kill_while_serving(turned, 3, 0.25)


@ON_BOTH
@pytest.mark.real
@pytest.mark.deep
def test_killed_fifty_times_while_serving_nothing_is_lost(turned: Turned) -> None:
    turned.add(40)
    _kill_while_serving(turned, 50, 1.0)


@pytest.mark.real
@pytest.mark.deep
@pytest.mark.parametrize("backend_name", ["postgresql"])
@pytest.mark.parametrize("kills", [3, 50])
def test_the_same_with_the_keys_in_another_postgresql_database(
    backend_name: str, kills: int, database_urls: Callable[[str], str], tmp_path: Path, clock: Any, tzdata_only: None
) -> None:
    from tests.parts.house import make_house

    made = make_house(tmp_path, database_urls(backend_name), clock=clock)
    turned = Turned(with_keys_in(made, database_urls(backend_name)))
    turned.add(5 if kills == 3 else 40)
    _kill_while_serving(turned, kills, 0.25 if kills == 3 else 1.0)
    _let_go(turned)
