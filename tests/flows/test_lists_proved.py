"""Whoever can write where backups lie takes nobody off the lists beside them, adds nobody, and is found out.

The proof is counted anew by RFC 2104 and RFC 5869 2.3 (one block of HKDF-Expand, for which a random key needs no
extracting, 3.3) with Python's own hmac, from the key file alone.
"""

from __future__ import annotations

import base64
import hmac
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from notify.cli import restore, restore_says
from notify.cli.backup import keep_list_beside
from notify.config.load import load
from notify.core.errors import Invalid
from notify.flows import erasure_list, forget, keys, suppressions
from notify.flows.backup import Made
from notify.store import key_rings, lists_beside, tickets
from tests.parts.backups import Kept, make_kept
from tests.parts.clock import FakeClock

pytestmark = pytest.mark.long
LISTS = ("erased.txt", "stopped.txt")


@pytest.fixture
def kept(database_urls: Callable[[str], str], tmp_path: Path, clock: FakeClock, tzdata_only: None) -> Iterator[Kept]:
    made = make_kept(tmp_path, database_urls("sqlite"), clock)
    yield made
    made.house.services.close()


@pytest.fixture
def made(kept: Kept) -> Made:
    """A backup with somebody forgotten and somebody else who wants nothing more."""
    house = kept.house
    gone = house.check_in()
    house.check_in(email="tobiah@example.net", phone="")
    with house.read() as unit:
        who = tickets.get_ticket(unit, gone.ticket_ids[0]).person_id
    forget.erase_person(house.ctx, house.actor(), who)
    suppressions.add(house.ctx, house.actor(), channel="email", address="tobiah@example.net")
    return kept.back_up()


def by_hand(content: bytes, name: str, secret: bytes) -> str:
    own = hmac.digest(secret, f"list beside backups: {name}".encode() + b"\x01", "sha256")
    return hmac.digest(own, content, "sha256").hex()


def changed(octets: bytes, other: bytes) -> dict[str, bytes]:
    """Ways of changing a list, with another list of the same installation at hand."""
    head, somebody, proof = octets.splitlines(keepends=True)
    return {
        "somebody taken off": head + proof, "somebody added": head + somebody + somebody.replace(b"a", b"b") + proof,
        "a line after the proof": octets + somebody, "without a proof": head + somebody, "empty": b"",
        "an empty proof": head + somebody + b"# proof \n", "cut off": octets[:-9], "the other list": other,
        "another case": octets[:-65] + octets[-65:].upper(), "not text": b"\xff" + octets,
    }  # fmt: skip


def test_a_list_that_was_changed_is_refused_and_nothing_is_written(kept: Kept, made: Made) -> None:
    whole = {name: (kept.folder / name).read_bytes() for name in LISTS}
    tried = 0
    for name, other in zip(LISTS, reversed(LISTS), strict=True):
        for number, (how, bad) in enumerate(changed(whole[name], whole[other]).items()):
            (kept.folder / name).write_bytes(bad)
            config = kept.empty_copy(f"{name}{number}")
            with pytest.raises(Invalid, match=name) as refused:
                kept.restore(config, made)
            assert "another copy" in refused.value.advice, how
            assert [one.name for one in (config.parent / "data").iterdir()] == ["serve.lock"], how
            tried += 1
        (kept.folder / name).write_bytes(whole[name])
    print(f"FIGURE lists_changed tried={tried} accepted=0")
    with pytest.raises(Invalid):  # nor does the next backup take it over
        (kept.folder / LISTS[0]).write_bytes(changed(whole[LISTS[0]], b"")["somebody taken off"])
        kept.back_up()


def test_the_proof_is_what_the_standard_says_and_goes_on_under_a_new_key(kept: Kept, made: Made) -> None:
    line = (kept.config.parent / "keys" / "index.key").read_text().strip()
    secret = base64.urlsafe_b64decode(line.partition(":")[2] + "=")
    for name in LISTS:
        content, _, told = (kept.keys_folder / name).read_bytes().rpartition(b"# proof ")
        assert told.decode().split() == [line.partition(":")[0], by_hand(content, name, secret)]
    new, old = key_rings.Key("k2", b"n" * 32), key_rings.Key("k1", secret)
    lists_beside.write([kept.folder], LISTS[0], content, new)
    assert lists_beside.read(kept.folder, LISTS[0], (new, old)) == content
    with pytest.raises(Invalid, match="index_key_file"):
        lists_beside.read(kept.folder, LISTS[0], (old,))


def test_once_the_index_key_is_another_one_the_lists_are_proved_by_it(kept: Kept, made: Made) -> None:
    seen: dict[str, object] = {}
    keep_list_beside(kept.house.services, seen)
    keys.rotate(kept.house.ctx, "index", kept.config.parent / "keys" / "index.key")
    keep_list_beside(kept.house.services, seen)
    new = kept.house.ctx.db.vault.index_key()
    for folder, name in ((folder, name) for folder in (kept.folder, kept.keys_folder) for name in LISTS):
        content, _, told = (folder / name).read_bytes().rpartition(b"# proof ")
        assert told.decode().split() == [new.id, by_hand(content, name, new.secret)] and new.id != "k1"
    other = kept.empty_copy("other")
    assert kept.restore(other, made).listed == 1  # the list inside the backup is under the older line, which is there


def test_a_list_that_is_missing_is_said_first_and_its_other_copy_counts(kept: Kept, made: Made) -> None:
    (kept.folder / "erased.txt").unlink()
    after = kept.restore(kept.empty_copy("other"), made)
    said = restore_says.told(after)
    assert after.missing == ("safe/erased.txt",) and said[0].startswith("safe/erased.txt is missing: whoever was forg")
    (kept.keys_folder / "stopped.txt").unlink()
    after = restore.finish(
        load(kept.empty_copy("third")), restore.Files(kept.folder / made.file), clock=kept.house.clock
    )
    assert after.missing == ("apart/stopped.txt", "safe/erased.txt")
    erasure_list.keep(kept.house.ctx, [kept.folder])
    assert len(erasure_list.read(kept.folder, kept.house.ctx.db.vault.index_keys())) == 1


def test_whoever_is_erased_while_a_list_is_written_stands_on_it_after_the_next_look() -> None:
    """Of each list: what it is made of changes while it is written, and that is not taken for what was written."""
    erased, written, seen = ["ines"], list[list[str]](), dict[str, object]()

    def keep() -> None:
        written.append(list(erased))
        if len(written) == 1:
            erased.append("tam")

    for _ in range(3):
        lists_beside.keep_if_newer("x", seen, stamps=lambda: (len(erased), len(written)), keep=keep)
    assert written == [["ines"], ["ines", "tam"]]
