"""The vault: the right key and the right place or nothing; a key is there before its text and gone before it."""

from __future__ import annotations

import hashlib
import hmac
import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from sqlalchemy import select, update

from notify import wiring
from notify.config.key_files import key_line
from notify.core.errors import Misconfigured, NotFound
from notify.flows.check_in_form import DeviceForm
from notify.store import schema as s
from notify.store import tickets
from notify.store.engine import open_engine
from notify.store.opener import Opener, Place
from notify.store.vault import Key, Vault, data_keys

HERE = Place("notes", "row-1", "text")
NOW = datetime(2026, 11, 27, 9, 0, tzinfo=UTC)


def make_vault(file: Path, *, master: bytes = b"m" * 32, master_id: str = "m1") -> Vault:
    vault = Vault(open_engine(f"sqlite:///{file}"), master=Key(master_id, master), index=Key("i1", b"i" * 32))
    vault.prepare()
    return vault


@pytest.fixture
def vault(tmp_path: Path) -> Any:
    made = make_vault(tmp_path / "keys.db")
    made.new_key("p1")
    made.new_key("p2")
    yield made
    made._engine.dispose()


def digest(file: Path) -> str:
    """All that is stored, whatever file of the three it lies in."""
    engine = open_engine(f"sqlite:///{file}", pooled=False)
    with engine.connect() as connection:
        rows = sorted(tuple(row) for row in connection.execute(select(data_keys)))
    return hashlib.sha256(repr(rows).encode()).hexdigest()


def test_a_sealed_text_opens_for_its_person_at_its_place_and_nowhere_else(vault: Vault) -> None:
    opener = Opener(vault)
    sealed = opener.seal("p1", HERE, "grüße ☎")
    assert Opener(vault).open("p1", HERE, sealed) == "grüße ☎"
    assert opener.seal("p1", HERE, "grüße ☎") != sealed  # a fresh nonce each time
    moved = [Place("notes", "row-2", "text"), Place("notes", "row-1", "name"), Place("parts", "row-1", "text")]
    refused = 0
    for person, place in [("p1", other) for other in moved] + [("p2", HERE)]:
        with pytest.raises(Misconfigured) as error:
            Opener(vault).open(person, place, sealed)
        refused += "does not belong to its row" in error.value.what
    flips = [sealed[:n] + bytes([sealed[n] ^ 1]) + sealed[n + 1 :] for n in range(1, len(sealed))]
    for damaged in flips:
        with pytest.raises(Misconfigured):
            Opener(vault).open("p1", HERE, damaged)
    print(f"FIGURE vault moved={len(moved) + 1} flipped_bytes={len(flips)} opened=0")
    assert refused == 4


def test_the_sealed_form_is_aes_gcm_as_an_independent_reading_says(vault: Vault) -> None:
    sealed = Opener(vault).seal("p1", HERE, "hello")
    with vault._engine.connect() as connection:
        row = connection.execute(select(data_keys).where(data_keys.c.person_id == "p1")).one()
    key = AESGCM(b"m" * 32).decrypt(row.wrapped[:12], row.wrapped[12:], b"p1")
    assert len(key) == 32
    assert AESGCM(key).decrypt(sealed[1:13], sealed[13:], b"notes\x00row-1\x00text") == b"hello"
    assert b"hello" not in sealed


def test_a_wrong_master_key_is_refused_by_name_and_changes_nothing(vault: Vault, tmp_path: Path) -> None:
    before = digest(tmp_path / "keys.db")
    for wrong in ({"master": b"x" * 32}, {"master_id": "m2"}):
        with pytest.raises(Misconfigured) as refused:
            make_vault(tmp_path / "keys.db", **wrong)
        assert refused.value.field == "keys.master_key_file" and "nothing was changed" in refused.value.advice
    assert digest(tmp_path / "keys.db") == before


def test_a_wiring_with_the_wrong_key_refuses_before_it_touches_the_database(house: Any, tmp_path: Path) -> None:
    house.check_in()
    settings = house.services.settings
    settings.keys.master_key_file.write_text(key_line(os.urandom(32)))
    with house.ctx.db.engine.execution_options(writes=True).begin() as connection:
        connection.exec_driver_sql("update alembic_version set version_num = '0000'")
    with pytest.raises(Misconfigured) as refused:
        wiring.build(settings, upgrade=True, channels={})
    assert refused.value.field == "keys.master_key_file"
    with house.ctx.db.engine.connect() as connection:  # not even the upgrade began
        assert connection.exec_driver_sql("select version_num from alembic_version").scalar_one() == "0000"


def test_a_destroyed_key_opens_nothing_and_leaves_the_others_alone(vault: Vault) -> None:
    one, two = Opener(vault).seal("p1", HERE, "one"), Opener(vault).seal("p2", HERE, "two")
    assert vault.destroy_keys(["p1", "unknown"], at=NOW) == 1
    with pytest.raises(NotFound):
        Opener(vault).open("p1", HERE, one)
    assert Opener(vault).open("p2", HERE, two) == "two"


def test_destroyed_keys_are_gone_from_the_bytes_of_the_key_file(vault: Vault, tmp_path: Path) -> None:
    with vault._engine.connect() as connection:
        wrapped = connection.execute(select(data_keys.c.wrapped).where(data_keys.c.person_id == "p1")).scalar_one()

    def hits() -> int:
        return sum(f.read_bytes().count(wrapped) for f in tmp_path.glob("keys.db*"))

    assert hits() > 0
    vault.destroy_keys(["p1"])
    assert vault.tidy() and hits() == 0


def test_a_key_is_written_before_anything_is_sealed_with_it(house: Any) -> None:
    """Seen by another connection while the check-in has not committed: the key is there, the person is not."""
    db, seen = house.ctx.db, []
    with db.write(house.shop_id) as unit:
        from notify.store import people

        person = people.add_person(unit, name="Ines Farrow", language="en", at=house.clock())
        with db.vault._engine.connect() as keys:
            seen.append(keys.execute(select(data_keys.c.person_id).where(data_keys.c.person_id == person)).first())
        with db.engine.connect() as beside:
            seen.append(beside.execute(select(s.people.c.id).where(s.people.c.id == person)).first())
        unit.connection.rollback()
    assert seen[0] is not None and seen[1] is None


def test_a_ciphertext_moved_to_another_row_or_column_of_the_tables_is_refused(house: Any) -> None:
    done = house.check_in(DeviceForm("Kestrel radio", fault="hums"), DeviceForm("Vantage camera", fault="stuck"))
    t = s.tickets
    one, two = done.ticket_ids
    with house.ctx.db.write(house.shop_id) as unit:
        fault = select(t.c.fault_sealed).where(t.c.id == two).scalar_subquery()
        unit.connection.execute(update(t).where(t.c.id == one).values(fault_sealed=fault))
    with house.read() as unit, pytest.raises(Misconfigured, match=r"tickets\.fault"):
        tickets.get_ticket(unit, one)
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(update(t).where(t.c.id == two).values(device_sealed=t.c.fault_sealed))
    with house.read() as unit, pytest.raises(Misconfigured, match=r"tickets\.device"):
        tickets.get_ticket(unit, two)


def test_the_blind_index_is_keyed_hmac_sha_256_and_tells_channels_apart(vault: Vault) -> None:
    want = hmac.new(b"i" * 32, b"sms:+447700900123", hashlib.sha256).hexdigest()
    assert vault.lookup("sms", "+447700900123") == want
    assert vault.lookup("email", "+447700900123") != want
    assert hashlib.sha256(b"+447700900123").hexdigest() != want
    assert "i" * 32 not in repr(Key("i1", b"i" * 32))


def test_one_key_in_both_files_is_refused_and_makes_no_store(tmp_path: Path) -> None:
    same = bytes(range(32))
    wrong = Vault(open_engine(f"sqlite:///{tmp_path / 'keys.db'}"), master=Key("k1", same), index=Key("k1", same))
    with pytest.raises(Misconfigured, match="the same key"):
        wrong.prepare()
    with wrong.engine.connect() as connection:
        assert connection.exec_driver_sql("select count(*) from sqlite_master").scalar() == 0
    wrong.engine.dispose()


def test_whoever_gets_a_key_again_is_taken_from_the_erasure_list(vault: Vault) -> None:
    vault.destroy_keys(["p1", "p2"], at=NOW)
    assert [who for who, _ in vault.erased()] == ["p1", "p2"]
    vault.have_key("p1")
    assert [who for who, _ in vault.erased()] == ["p2"] and vault.with_keys(["p1", "p2"]) == {"p1"}
