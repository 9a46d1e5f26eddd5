"""The vault: a data key per person, kept apart from the data. Longer than other rooms: only here are keys in memory."""

from __future__ import annotations

import hmac
import os
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager, suppress
from datetime import datetime
from itertools import chain

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from sqlalchemy import Connection, Engine, bindparam, delete, func, insert, inspect, select, text
from sqlalchemy.exc import IntegrityError

from notify.core.chunks import AT_ONCE
from notify.core.errors import Misconfigured, NotFound, Unavailable
from notify.store import key_store
from notify.store.engine import rewrite_tables
from notify.store.key_rings import FIELDS, Key, Kind, Ring, Rings, as_ring, blind_index
from notify.store.key_store import data_keys, erased, key_metadata
from notify.store.listed import listed
from notify.store.prepared import Prepared

__all__ = ["VEILED_CLAIM", "Key", "Vault", "data_keys"]
_KEY_OF = select(data_keys).where(data_keys.c.person_id == bindparam("person"))
_THEIRS = listed(data_keys.c.person_id, "people")
_KEYS_OF = select(data_keys.c.person_id, data_keys.c.master_id, data_keys.c.wrapped).where(_THEIRS)
_HAVE = select(data_keys.c.person_id).where(_THEIRS)
_BLANK = Prepared(data_keys.update().where(_THEIRS).values(wrapped=bindparam("blank")))
_DROP = Prepared(delete(data_keys).where(_THEIRS))
_KINDS: tuple[Kind, Kind] = ("master", "index")
_NONCE = 12
VEILED_CLAIM = "claim"  # the blind index of a forgotten person's claim link


class Vault:
    """The data keys of people, under which their texts are sealed (see opener.py), and the blind indexes.

    A data key is written before anything is sealed with it and destroyed before anything is erased:
    at every crash point a text without its key is unreadable, never the other way round.
    """

    def __init__(
        self,
        engine: Engine,
        *,
        master: Key | Sequence[Key],
        index: Key | Sequence[Key],
        random: Callable[[int], bytes] = os.urandom,
        reread: Callable[[], tuple[Ring, Ring]] | None = None,
        stamp: Callable[[], object] = lambda: None,
    ) -> None:
        """`master` and `index` are the lines of the key files; `reread` reads them again when `stamp` differs."""
        self._engine, self._random = engine, random
        self._destroyed = 0  # how often keys were destroyed by this process
        self._tidied: object = None  # what stood destroyed when `tidy_once` last did its work
        self.rings = Rings(as_ring(master), as_ring(index), reread=reread, stamp=stamp)
        self._ciphers = {key.id: AESGCM(key.secret) for key in self.rings.of("master")}

    def prepare(self, at: datetime | None = None) -> None:
        """Checks that both key files are those of this store, then makes the tables that are missing.

        A fresh store takes the first line of each file as its current key, known since `at`. Raises Misconfigured,
        naming the setting, when a file is another one's, and nothing is changed then.
        """
        with self._engine.connect() as connection:
            if not self._new_facts(connection) and inspect(connection).has_table(erased.name):
                return
        with self._writing() as connection:  # one at a time: several processes may start on a fresh store
            new = self._new_facts(connection)
            key_metadata.create_all(connection)
            for name, value in new.items():
                key_store.set_fact(connection, name, value, at)

    def check(self) -> None:
        """Raises Misconfigured when a key file is not that of this store; changes nothing."""
        with self._engine.connect() as connection:
            self._new_facts(connection)

    def new_key(self, person_id: str) -> None:
        """Makes and stores a data key for a new person, in a transaction of its own."""
        self._make_key(person_id)

    def have_key(self, person_id: str) -> None:
        """Makes a data key unless there is one, in a transaction of its own; takes it from the erasure list again."""
        with suppress(IntegrityError):  # somebody else made it in this very moment
            if not self.data_keys([person_id]):
                self._make_key(person_id, again=True)

    def destroy_keys(self, person_ids: Iterable[str], *, at: datetime | None = None) -> int:
        """Destroys data keys for good and lists whose they were, in one transaction; how many there were.

        What they sealed is unreadable from here on, and a restored copy knows by the list whom to leave out.
        Without `at` nothing is listed: keys of what is nobody's data, or of staff, who get another one when they want.
        """
        ids = list(person_ids)
        with self._writing() as connection:
            values = {"people": ids, "blank": self._random(_NONCE + 48)}
            _BLANK.write(connection, values)
            gone = _DROP.write(connection, values)
            if at is not None:
                key_store.list_erased(connection, ids, at)
        self._destroyed += 1
        return gone

    def erased(self, since: datetime | None = None) -> tuple[tuple[str, datetime], ...]:
        """The erasure list, whole or since then: whose key was destroyed, and when, the oldest first."""
        wanted = select(erased) if since is None else select(erased).where(erased.c.at >= since)
        with self._engine.connect() as connection:
            rows = connection.execute(wanted.order_by(erased.c.at, erased.c.person_id)).all()
        return tuple((row.person_id, row.at) for row in rows)

    def erased_stamp(self) -> tuple[int, datetime | None]:
        """How many stand on the erasure list, and since when the newest does: another one when the list has changed."""
        with self._engine.connect() as connection:
            count, newest = connection.execute(select(func.count(), func.max(erased.c.at))).one()
        return int(count), newest

    def with_keys(self, person_ids: Iterable[str]) -> frozenset[str]:
        """Those of these people who have a data key; opens none."""
        with self._engine.connect() as connection:
            return frozenset(connection.execute(_HAVE, {"people": list(person_ids)}).scalars())

    def list_erased(self, person_ids: Iterable[str], at: datetime) -> None:
        """Takes people onto the erasure list that another copy of it names; those listed already keep their time."""
        with self._writing() as connection:
            key_store.list_erased(connection, person_ids, at)

    @property
    def engine(self) -> Engine:
        """The key store itself, for its backup and for turning its keys."""
        return self._engine

    def data_key(self, person_id: str) -> bytes:
        """The person's data key; raises NotFound when it was destroyed."""
        with self._engine.connect() as connection:
            row = connection.execute(_KEY_OF, {"person": person_id}).first()
        if row is None:
            raise NotFound("The data of this person were erased", "Nothing can bring them back.")
        return self.unwrap(row.person_id, row.master_id, row.wrapped)

    def data_keys(self, person_ids: Iterable[str]) -> dict[str, bytes]:
        """The data keys of these people in one look; missing are those that `data_key` would refuse to give."""
        found = {}
        with self._engine.connect() as connection:
            rows = connection.execute(_KEYS_OF, {"people": list(person_ids)}).partitions(AT_ONCE)
            for person_id, master_id, wrapped in chain.from_iterable(rows):
                try:
                    found[person_id] = self.unwrap(person_id, master_id, wrapped)
                except Misconfigured:  # told when that very key is asked for: the others can be used
                    continue
        return found

    def lookup(self, channel: str, address: str) -> str:
        """The keyed blind index of an address: equal for equal ones, useless without the current index key."""
        return blind_index(self.index_key(), channel, address)

    def lookups(self, channel: str, address: str) -> tuple[str, ...]:
        """The blind index by every index key that something may still stand under: what a search asks for."""
        return tuple(blind_index(key, channel, address) for key in self.index_keys())

    def index_keys(self) -> Ring:
        """Every index key of the file, the newest first; a key that was added a moment ago is among them."""
        return self.rings.of("index")

    def index_key(self) -> Key:
        """The index key under which something new is written: while there are several, the store says which."""
        ring = self.index_keys()
        if len(ring) == 1:
            return ring[0]
        with self._engine.connect() as connection:
            return self._key("index", key_store.current_id(connection, "index") or ring[0].id)

    def row_mark(self, text: str) -> str:
        """The keyed name of what another system told: equal for equal texts, and not to be guessed without the key.

        It stands under the oldest line of the file, so that a new index key makes nothing look new that was seen.
        """
        return hmac.digest(self.index_keys()[-1].secret, f"told:{text}".encode(), "sha256").hex()

    def random(self, size: int) -> bytes:
        """Random bytes from the source that was handed in."""
        return self._random(size)

    def checkpoint(self) -> None:
        """Moves the key store's journal into its file (SQLite), as far as readers let it; see Database.checkpoint."""
        if self._engine.dialect.name == "sqlite":
            with self._engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                connection.exec_driver_sql("pragma wal_checkpoint(PASSIVE)")

    def tidy_once(self) -> bool:
        """The same as `tidy`, unless it was done since the last key was destroyed.

        While an erasure waits for closed hours this is asked each minute, and each rewriting holds up new keys.
        """
        destroyed = (self.erased_stamp(), self._destroyed)
        if destroyed != self._tidied and self.tidy():
            self._tidied = destroyed
        return destroyed == self._tidied

    def tidy(self) -> bool:
        """Leaves no destroyed key readable in the key file or its journal; False when a reader was in the way."""
        if self._engine.dialect.name != "sqlite":
            return rewrite_tables(self._engine, [data_keys.name])
        try:
            with self._engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                connection.exec_driver_sql("VACUUM")
                busy = connection.execute(text("pragma wal_checkpoint(TRUNCATE)")).first()
        except Unavailable:  # somebody writes, or the disk is full: the next run does it
            return False
        return busy is not None and busy[0] == 0

    def _writing(self) -> AbstractContextManager[Connection]:
        return self._engine.execution_options(writes=True).begin()

    def wrap(self, person_id: str, key: bytes, master_id: str) -> bytes:
        """A data key as it is stored, under this master key."""
        nonce = self._random(_NONCE)
        return nonce + self._cipher(master_id).encrypt(nonce, key, person_id.encode())

    def unwrap(self, person_id: str, master_id: str, wrapped: bytes) -> bytes:
        """The data key in a stored one; raises Misconfigured when no line of the key file opens it."""
        try:
            return self._cipher(master_id).decrypt(wrapped[:_NONCE], wrapped[_NONCE:], person_id.encode())
        except InvalidTag:
            raise _wrong("The master key does not open the key store") from None

    def _make_key(self, person_id: str, *, again: bool = False) -> None:
        key = self._random(32)
        with self._writing() as connection:
            # Read in here: from the moment another key is current, nobody wraps under the old one any more.
            master = key_store.current_id(connection, "master", held=True) or self.rings.of("master")[0].id
            wrapped = self.wrap(person_id, key, master)
            connection.execute(insert(data_keys).values(person_id=person_id, master_id=master, wrapped=wrapped))
            if again:
                connection.execute(delete(erased).where(erased.c.person_id == person_id))

    def _new_facts(self, connection: Connection) -> dict[str, str]:
        """What the store has to be told of its keys; raises Misconfigured when they are not its keys."""
        known = key_store.facts(connection)
        rings = {kind: self.rings.of(kind) for kind in _KINDS}
        key_store.check_apart(rings["master"], rings["index"])
        for kind in _KINDS:
            key_store.check_ring(kind, rings[kind], known)
        if inspect(connection).has_table(data_keys.name):
            row = connection.execute(select(data_keys).limit(1)).first()
            if row is not None:
                self.unwrap(row.person_id, row.master_id, row.wrapped)
        new = (key_store.missing_facts(kind, rings[kind], known) for kind in _KINDS)
        return {name: value for facts in new for name, value in facts.items()}

    def _cipher(self, master_id: str) -> AESGCM:
        if master_id not in self._ciphers:
            self._ciphers[master_id] = AESGCM(self._key("master", master_id).secret)
        return self._ciphers[master_id]

    def _key(self, kind: Kind, key_id: str) -> Key:
        found = self.rings.find(kind, key_id)
        if found is None:
            here = ", ".join(repr(key.id) for key in self.rings.of(kind))
            raise _wrong(f"The key store was made with {kind} key {key_id!r}, not {here}", kind)
        return found


def _wrong(what: str, kind: Kind = "master") -> Misconfigured:
    return Misconfigured(what, "Put the right key file back; nothing was changed.", field=FIELDS[kind])
