"""Backups are what the database was in one moment, come back to the last octet, and bring nobody back.

Independent readers: Debian's `age` opens the file (the format is age-encryption.org/v1), tar takes it apart, Python's
own sqlite3 reads what is inside. TESTPLAN B6.
"""

from __future__ import annotations

import json
import random
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from pyrage import x25519  # type: ignore[import-untyped]
from sqlalchemy import select

from notify.cli import restore
from notify.config.load import load
from notify.config.settings import Settings
from notify.core.erasure_list import as_text, read_octets
from notify.core.errors import Conflict, Invalid, Misconfigured, NotFound, NotifyError, Unavailable
from notify.flows import backup, erasure_list, forget, moves, view_backup
from notify.flows.check_in_form import DeviceForm
from notify.store import copying, job_runs, lists_beside, people, schema, visits
from notify.wiring import build
from tests.parts.backups import AFTER_CARE, Kept, age, dump, make_kept
from tests.parts.clock import FakeClock
from tests.parts.house import House
from tests.parts.shelved import shelve
from tests.parts.traces import files_below, hits, patterns

pytestmark = [pytest.mark.long]
WRITERS = 8
ABOUT = ["Ines Farrow", "ines@example.org", "+447700900123", "447700900123", "Kestrel pocket radio"]


@pytest.fixture
def kept(database_urls: Callable[[str], str], tmp_path: Path, clock: FakeClock, tzdata_only: None) -> Iterator[Kept]:
    made = make_kept(tmp_path, database_urls("sqlite"), clock)
    yield made
    made.house.services.close()


def bringer(house: House, visit_id: str) -> str:
    with house.read() as unit:
        return str(visits.visit_people(unit, visit_id)["bringer"][0])


def opened(config: Path, clock: FakeClock) -> Any:
    return build(load(config), clock=clock)


class Writers:
    """Threads that take devices in until they are stopped; `gate` is held for each writing."""

    def __init__(self, house: House) -> None:
        self.house, self.gate, self.stop, self.written = house, threading.Lock(), threading.Event(), 0
        self.threads = [threading.Thread(target=self._work, args=(n,)) for n in range(WRITERS)]

    def _work(self, number: int) -> None:
        done = 0
        while not self.stop.is_set() and done < 400:
            with self.gate:
                self.house.check_in(DeviceForm(f"radio {number} {done}"), email=f"n{number}-{done}@example.org")
                self.written += 1
            done += 1

    def __enter__(self) -> Writers:
        for one in self.threads:
            one.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop.set()
        for one in self.threads:
            one.join(60)


def the_moment(kept: Kept, writers: Writers, into: list[str]) -> Callable[[str], None]:
    """Reads the database by a connection of its own at the very moment of the snapshot, while nobody can write."""

    def fault(point: str) -> None:
        if point == "backup:before":
            writers.gate.acquire()
        elif point == "backup:snapshot":
            into.append(dump(main_file(kept)))
            writers.gate.release()

    return fault


def main_file(kept: Kept) -> Path:
    return Path(kept.house.services.settings.database.url.removeprefix("sqlite:///"))


def tampered(file: Path, chance: random.Random, how: str) -> Path:
    """A copy of a backup in which something is not as it was written."""
    whole = bytearray(file.read_bytes())
    if how == "cut":
        del whole[chance.randrange(len(whole)) :]
    elif how == "flipped":
        whole[chance.randrange(len(whole))] ^= 1 << chance.randrange(8)
    elif how == "longer":
        whole += b"\0"
    else:
        whole = bytearray(chance.randbytes(4096))
    out = file.with_name(f"bad-{how}-{chance.randrange(10**9)}.age")
    out.write_bytes(whole)
    return out


def refused(kept: Kept, settings: Settings, file: Path, **more: Any) -> bool:
    """Whether a restore ends with an error of ours and leaves nothing behind."""
    try:
        restore.bring_back(settings, restore.Files(file, **more), clock=kept.house.clock)
    except (Invalid, Misconfigured):
        return [one.name for one in settings.database.data_folder.iterdir() if one.name != "serve.lock"] == []
    return False


def back_and_forth(kept: Kept, rounds: int, tries: int) -> dict[str, int]:
    house, chance = kept.house, random.Random(7)
    first = house.check_in()
    counted = {"backups": 0, "restored": 0, "differing": 0, "tampered": 0, "tampered_accepted": 0, "resurrected": 0}
    for number in range(rounds):
        house.clock.advance(60)
        moments: list[str] = []
        with Writers(house) as writers:
            before = writers.written
            made = kept.back_up(fault=the_moment(kept, writers, moments))
            busy = writers.written - before
        counted["backups"] += 1
        assert busy > 0 or number, "nobody wrote while the backup was made"
        by_hand = age(kept.config.parent / "keys" / "backup.key", kept.folder / made.file, kept.home / f"hand{number}")
        told = json.loads((by_hand / "manifest.json").read_text())
        same = dump(by_hand / "shelfbell.db") == moments[0]
        other = kept.empty_copy(f"other{number}")
        settings = load(other)
        for how in ("cut", "flipped", "longer", "another") * tries:
            bad = tampered(kept.folder / made.file, chance, how)
            counted["tampered"] += 1
            counted["tampered_accepted"] += not refused(kept, settings, bad, keys=kept.keys_folder / made.keys_file)
            bad.unlink()
        if number == 0:  # forgotten after the first backup: no later restore of it may bring them back
            gone = bringer(house, first.visit_id)
            house.clock.advance(60)
            forget.erase_person(house.ctx, house.actor(), gone)
            erasure_list.keep(house.ctx, kept_place(kept).folders)
        after = kept.restore(other, made)
        counted["restored"] += 1
        data = other.parent / "data" / "shelfbell.db"
        if number:  # nobody was erased since: all but the after-care is as it was
            same &= untouched(data) == untouched(by_hand / "shelfbell.db")
        counted["differing"] += not same or told["size"] != (by_hand / "shelfbell.db").stat().st_size
        again = opened(other, house.clock)
        with again.context.db.read(house.shop_id) as unit:
            counted["resurrected"] += not people.get_person(unit, gone).forgotten
        with pytest.raises(NotFound):
            again.context.db.vault.data_key(gone)
        again.close()
        assert after.proved and hits([data], patterns(ABOUT)) == []
    return counted


def proved(kept: Kept, text: str, name: str = "erased.txt") -> bytes:
    return lists_beside.signed(text.encode(), name, kept.house.ctx.db.vault.index_key())


def kept_place(kept: Kept) -> Any:
    from notify.cli.backup import place_of

    return place_of(kept.house.services.settings)


def untouched(file: Path) -> str:
    """All but what the after-care writes, and the state of messages that may have left."""
    with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True)) as connection:
        states = connection.execute("select id, notice, person_id, created_at from messages order by id").fetchall()
    return dump(file, without=AFTER_CARE | {"messages", "sessions"}) + repr(states)


def test_what_comes_back_is_what_was_there_in_the_moment_of_the_backup_while_eight_wrote(kept: Kept) -> None:
    seen = back_and_forth(kept, rounds=3, tries=3)
    print("FIGURE B6_backup " + " ".join(f"{name}={number}" for name, number in seen.items()) + f" writers={WRITERS}")
    assert (seen["differing"], seen["tampered_accepted"], seen["resurrected"]) == (0, 0, 0)
    assert seen["restored"] == seen["backups"] == 3


@pytest.mark.deep
def test_twenty_backups_come_back_the_same(kept: Kept) -> None:
    seen = back_and_forth(kept, rounds=20, tries=25)
    print("FIGURE B6_backup " + " ".join(f"{name}={number}" for name, number in seen.items()) + f" writers={WRITERS}")
    assert (seen["differing"], seen["tampered_accepted"], seen["resurrected"]) == (0, 0, 0)
    assert seen["restored"] == seen["backups"] == 20


def test_a_backup_holds_nothing_in_clear_and_what_is_inside_it_neither(kept: Kept) -> None:
    kept.house.check_in()
    planted = kept.home / "planted"
    planted.write_bytes(b"xx Ines Farrow xx")
    made = kept.back_up()
    by_hand = age(kept.config.parent / "keys" / "backup.key", kept.folder / made.file, kept.home / "hand")
    files = [*files_below(kept.folder, kept.keys_folder), *files_below(by_hand)]
    found, control = hits(files, patterns(ABOUT)), hits([planted], patterns(ABOUT))
    modes = {oct(file.stat().st_mode & 0o777) for file in files_below(kept.folder, kept.keys_folder)}
    print(
        f"FIGURE B6_bytes files={len(files)} patterns={len(patterns(ABOUT))} hits={len(found)} planted={len(control)}"
    )
    assert found == [] and control and modes == {"0o600"}


def test_the_wrong_key_the_wrong_kind_and_a_place_that_is_taken_are_refused_and_nothing_is_written(kept: Kept) -> None:
    kept.house.check_in()
    made, other = kept.back_up(), kept.empty_copy("other")
    wrong = other.parent / "keys" / "wrong.key"
    wrong.write_text(f"{x25519.Identity.generate()}\n")
    wrong.chmod(0o600)
    main, keys = kept.folder / made.file, kept.keys_folder / made.keys_file
    assert refused(kept, load(other), main, keys=keys, identity=wrong)
    assert refused(kept, load(other), keys, keys=keys)
    assert refused(kept, load(other), main, keys=main)
    assert refused(kept, load(other), kept.folder / "erased.txt", keys=keys)
    assert refused(kept, load(other), kept.folder / "none.age", keys=keys)
    (kept.folder / "erased.txt").write_text("somebody yesterday\n")  # half a list would bring somebody back
    assert refused(kept, load(other), main, keys=keys)
    (kept.folder / "erased.txt").unlink()
    master = other.parent / "keys" / "master.key"
    right = master.read_text()
    master.write_text((other.parent / "keys" / "web.key").read_text())
    assert refused(kept, load(other), main, keys=keys)
    master.write_text(right)
    kept.restore(other, made)
    with pytest.raises(Conflict, match="already"):
        kept.restore(other, made)


def test_whoever_has_no_key_in_the_copy_of_the_keys_is_emptied_and_counted(kept: Kept) -> None:
    house = kept.house
    house.check_in()
    early = kept.back_up()
    house.clock.advance(60)
    late = house.check_in(name="Tobiah Marlowe", email="tobiah@example.net", phone="07700 900124")
    made, other = kept.back_up(), kept.empty_copy("other")
    after = kept.restore(other, made, keys=kept.keys_folder / early.keys_file)
    who = bringer(house, late.visit_id)
    again = opened(other, house.clock)
    with again.context.db.read(house.shop_id) as unit:
        assert people.get_person(unit, who).forgotten
    again.close()
    assert (after.lost, after.erased) == (1, 0)


def test_the_erasure_list_of_any_copy_counts_and_one_named_by_hand_too(kept: Kept) -> None:
    house = kept.house
    gone = [bringer(house, house.check_in(email=f"n{n}@example.org").visit_id) for n in range(4)]
    made = kept.back_up()
    house.clock.advance(60)
    at = house.clock()
    by_hand = kept.home / "by-hand.txt"
    for file, who in ((kept.folder / "erased.txt", gone[0]), (kept.keys_folder / "erased.txt", gone[1]),
                      (by_hand, gone[2])):  # fmt: skip
        file.write_bytes(proved(kept, as_text({who: at})))
    other = kept.empty_copy("other")
    after = kept.restore(other, made, erasures=by_hand)
    again = opened(other, house.clock)
    with again.context.db.read(house.shop_id) as unit:
        left = [people.get_person(unit, who).forgotten for who in gone]
    listed = dict(again.context.db.vault.erased())
    again.close()
    assert left == [True, True, True, False] and after.erased == 3 and listed == dict.fromkeys(gone[:3], at)


def test_messages_that_may_have_left_are_not_sent_again_and_those_to_come_are(kept: Kept) -> None:
    house = kept.house
    done = house.check_in()
    shelve(house, done.ticket_ids[0])
    made = kept.back_up()
    house.clock.advance(5 * 3600)
    other = kept.empty_copy("other")
    after = kept.restore(other, made)
    again = opened(other, house.clock)
    with again.context.db.read(house.shop_id) as unit:
        rows = unit.connection.execute(select(schema.messages)).all()
    dropped = [row for row in rows if row.reason == "restored"]
    moved = [row for row in rows if row.state == "waiting" and row.channel != "call"]
    seen = view_backup.view(again.context, house.shop_id)
    again.close()
    assert after.dropped == len(dropped) >= 1 and not [row for row in moved if row.due_at <= house.clock()]
    assert {row.notice for row in dropped} >= {"ready"}
    assert seen.restored_from == made.made_at and seen.dropped == after.dropped
    house.clock.advance(8 * 86400)
    assert view_backup.view(opened(other, house.clock).context, house.shop_id).restored_at is None


def test_what_happened_before_the_restore_and_is_told_later_tells_no_customer(kept: Kept) -> None:
    house = kept.house
    done = house.check_in()
    made = kept.back_up()
    house.clock.advance(4 * 3600)
    happened = house.clock() - timedelta(hours=2)
    other = kept.empty_copy("other")
    kept.restore(other, made)
    house.clock.advance(60)
    again = opened(other, house.clock)
    for phase, outcome in (("in_line", ""), ("on_bench", ""), ("proving", ""), ("on_shelf", "repaired")):
        moves.move(again.context, house.actor(), done.ticket_ids[0], phase, outcome=outcome, at=happened)
    with again.context.db.read(house.shop_id) as unit:
        rows = unit.connection.execute(select(schema.messages).where(schema.messages.c.notice == "ready")).all()
    again.close()
    assert [(row.state, row.reason) for row in rows if row.person_id] == [("skipped", "restored")]


def test_old_backups_go_only_after_a_new_good_one_and_never_on_the_word_of_a_clock_that_leapt(kept: Kept) -> None:
    house, day = kept.house, 86400
    kept.back_up()
    for _ in range(40):
        house.clock.advance(day)
        made = kept.back_up()
    ages = [(house.clock() - at).days for at, _ in backup.kept(kept.folder, "main")]
    keys = [(house.clock() - at).days for at, _ in backup.kept(kept.keys_folder, "keys")]
    assert max(ages) == 35 and len(ages) == 36 and max(keys) == 7 and len(keys) == 8
    assert made.removed
    house.clock.advance(700 * day)
    leapt = kept.back_up()
    assert leapt.removed == () and len(backup.kept(kept.folder, "main")) == 37
    kept.folder.rename(kept.home / "unplugged")
    house.clock.advance(60)
    with pytest.raises(Unavailable, match="not there"):
        kept.back_up()
    assert view_backup.view(house.ctx).failed and not view_backup.view(house.ctx).late
    house.clock.advance(27 * 3600)
    assert view_backup.view(house.ctx).late


def test_a_damaged_database_gives_no_backup_and_removes_none(kept: Kept) -> None:
    house = kept.house
    for n in range(60):
        house.check_in(email=f"n{n}@example.org")
    kept.back_up()
    house.ctx.db.checkpoint(truncate=True)
    house.services.close()
    file = main_file(kept)
    with closing(sqlite3.connect(file)) as connection:
        root = connection.execute("select rootpage from sqlite_master where name = 'ix_messages_visit'").fetchone()[0]
        size = connection.execute("pragma page_size").fetchone()[0]
    with file.open("r+b") as out:  # an index that names other rows than there are: only a whole check sees it
        out.seek((root - 1) * size + size - 40)
        out.write(b"\x00" * 24)
    house.clock.advance(86400)
    with pytest.raises(NotifyError):
        kept.back_up()
    assert len(backup.kept(kept.folder, "main")) == 1 and list(kept.folder.glob(".*")) == []


def test_a_recipient_alone_locks_a_backup_which_only_its_key_opens(kept: Kept) -> None:
    kept.house.check_in()
    away = x25519.Identity.generate()
    text = kept.config.read_text().replace('#recipient = ""', f'recipient = "{away.to_public()}"')
    kept.config.write_text(text)
    (kept.config.parent / "keys" / "backup.key").unlink()
    from notify.cli.backup import place_of

    made = backup.make(kept.house.ctx, place_of(load(kept.config)))
    key = kept.home / "away.key"
    key.write_text(f"{away}\n")
    key.chmod(0o600)
    other = kept.empty_copy("other")
    assert made.proved_with == "passing_key"
    with pytest.raises(Misconfigured, match="public half"):
        kept.restore(other, made)
    assert kept.restore(other, made, identity=key).proved
    assert age(key, kept.folder / made.file, kept.home / "hand").is_dir()


def test_no_plain_copy_outlives_a_kill_and_what_a_restore_left_is_swept(tmp_path: Path) -> None:
    with copying.scratch(tmp_path) as made:
        made.target.execute("create table t (a)")
        assert list(tmp_path.iterdir()) == []  # it has no name from the first octet on
    (tmp_path / ".scratch-left").touch()
    (tmp_path / ".restore-left").mkdir()
    (tmp_path / ".restore-left" / "shelfbell.db").write_bytes(b"x")
    assert (copying.sweep(tmp_path), restore.sweep(tmp_path)) == (1, 1) and list(tmp_path.iterdir()) == []


def test_a_damaged_erasure_list_is_no_list(tmp_path: Path) -> None:
    at = FakeClock()()
    listed = {"a": at, "b": at + timedelta(seconds=1)}
    assert read_octets(as_text(listed).encode()) == listed
    for bad in ("a", "a yesterday", "a 2026-11-25T09:00:00"):
        with pytest.raises(Invalid, match="Line 1"):
            read_octets(bad.encode())


def test_nobody_is_told_of_a_restore_that_never_was(kept: Kept) -> None:
    seen = view_backup.view(kept.house.ctx, kept.house.shop_id)
    assert (seen.restored_at, seen.good_at, seen.never) == (None, job_runs.NEVER, True)
