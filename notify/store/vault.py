"""The vault: one data key per person, wrapped by the master key, kept apart from the data they open."""

from __future__ import annotations

import hashlib
import hmac
import os
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass, field

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from sqlalchemy import (
    Column,
    Connection,
    Engine,
    LargeBinary,
    MetaData,
    String,
    Table,
    bindparam,
    delete,
    insert,
    select,
    text,
)
from sqlalchemy.exc import IntegrityError

from notify.core.errors import Misconfigured, NotFound, Unavailable
from notify.store.engine import rewrite_tables

key_metadata = MetaData()
data_keys = Table(
    "data_keys",
    key_metadata,
    Column("person_id", String(36), primary_key=True),
    Column("master_id", String(40), nullable=False),
    Column("wrapped", LargeBinary, nullable=False),
)
_KEY_OF = select(data_keys).where(data_keys.c.person_id == bindparam("person"))
_KEYS_OF = select(data_keys).where(data_keys.c.person_id.in_(bindparam("people", expanding=True)))
_NONCE = 12
VEILED_CLAIM = "claim"  # the blind index of a forgotten person's claim link
_VERSION = b"\x01"


@dataclass(frozen=True, slots=True)
class Key:
    """A named 32-byte key; its text never shows the bytes."""

    id: str
    secret: bytes = field(repr=False)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a sealed text belongs; it cannot be opened anywhere else (AES-GCM associated data)."""

    table: str
    row: str
    column: str

    def aad(self) -> bytes:
        """The bytes that bind a ciphertext to this place."""
        return f"{self.table}\x00{self.row}\x00{self.column}".encode()


class Vault:
    """Seals and opens texts under the data key of the person they are about.

    A data key is written before anything is sealed with it and destroyed before anything is erased:
    at every crash point a text without its key is unreadable, never the other way round.
    """

    def __init__(self, engine: Engine, *, master: Key, index: Key, random: Callable[[int], bytes] = os.urandom) -> None:
        self._engine, self._master, self._index, self._random = engine, master, index, random
        self._cipher = AESGCM(master.secret)

    def prepare(self) -> None:
        """Creates the key table and checks that the master key opens what is there; raises Misconfigured if not."""
        with self._writing() as connection:  # one at a time: several processes may start on a fresh store
            key_metadata.create_all(connection)
            row = connection.execute(select(data_keys).limit(1)).first()
        if row is not None:
            self._unwrap(row.person_id, row.master_id, row.wrapped)

    def new_key(self, person_id: str) -> None:
        """Makes and stores a data key for a new person, in a transaction of its own."""
        nonce, key = self._random(_NONCE), self._random(32)
        wrapped = nonce + self._cipher.encrypt(nonce, key, person_id.encode())
        with self._writing() as connection:
            connection.execute(
                insert(data_keys).values(person_id=person_id, master_id=self._master.id, wrapped=wrapped)
            )

    def have_key(self, person_id: str) -> None:
        """Makes a data key unless there is one, in a transaction of its own."""
        with suppress(IntegrityError):  # somebody else made it in this very moment
            if not self.data_keys([person_id]):
                self.new_key(person_id)

    def destroy_keys(self, person_ids: Iterable[str]) -> int:
        """Destroys data keys for good; how many there were. What they sealed is unreadable from here on."""
        ids = list(person_ids)
        with self._writing() as connection:
            blank = self._random(_NONCE + 48)
            connection.execute(data_keys.update().where(data_keys.c.person_id.in_(ids)).values(wrapped=blank))
            gone = connection.execute(delete(data_keys).where(data_keys.c.person_id.in_(ids))).rowcount
        return gone

    def opener(self) -> Opener:
        """A short-lived view that unwraps each person's key at most once; made anew for every transaction."""
        return Opener(self)

    def data_key(self, person_id: str) -> bytes:
        """The person's data key; raises NotFound when it was destroyed."""
        with self._engine.connect() as connection:
            row = connection.execute(_KEY_OF, {"person": person_id}).first()
        if row is None:
            raise NotFound("The data of this person were erased", "Nothing can bring them back.")
        return self._unwrap(row.person_id, row.master_id, row.wrapped)

    def data_keys(self, person_ids: Iterable[str]) -> dict[str, bytes]:
        """The data keys of these people in one look; missing are those that `data_key` would refuse to give."""
        with self._engine.connect() as connection:
            rows = connection.execute(_KEYS_OF, {"people": list(person_ids)}).all()
        found = {}
        for row in rows:
            with suppress(Misconfigured):  # told when that very key is asked for: the others can be used
                found[row.person_id] = self._unwrap(row.person_id, row.master_id, row.wrapped)
        return found

    def lookup(self, channel: str, address: str) -> str:
        """The keyed blind index of an address: equal for equal ones, useless without the index key."""
        return hmac.new(self._index.secret, f"{channel}:{address}".encode(), hashlib.sha256).hexdigest()

    def row_mark(self, text: str) -> str:
        """The keyed name of what another system told: equal for equal texts, and not to be guessed without the key."""
        return hmac.digest(self._index.secret, f"told:{text}".encode(), "sha256").hex()

    def random(self, size: int) -> bytes:
        """Random bytes from the source that was handed in."""
        return self._random(size)

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

    def _unwrap(self, person_id: str, master_id: str, wrapped: bytes) -> bytes:
        if master_id != self._master.id:
            raise Misconfigured(
                f"The key store was made with master key {master_id!r}, not {self._master.id!r}",
                "Put the right key file back; nothing was changed.",
                field="keys.master_key_file",
            )
        try:
            return self._cipher.decrypt(wrapped[:_NONCE], wrapped[_NONCE:], person_id.encode())
        except InvalidTag:
            raise Misconfigured(
                "The master key does not open the key store",
                "Put the right key file back; nothing was changed.",
                field="keys.master_key_file",
            ) from None


class Opener:
    """Seals and opens for the time of one transaction."""

    def __init__(self, vault: Vault) -> None:
        self._vault = vault
        self._ciphers: dict[str, AESGCM] = {}

    def fetch(self, person_ids: Iterable[str]) -> None:
        """Unwraps the keys of many people at once, but for those that are known already."""
        unknown = set(person_ids) - self._ciphers.keys()
        keys = self._vault.data_keys(unknown) if unknown else {}
        self._ciphers |= {person_id: AESGCM(key) for person_id, key in keys.items()}

    def seal(self, person_id: str, place: Place, plain: str | bytes) -> bytes:
        """Encrypts `plain` for `place` under the person's key."""
        nonce = self._vault.random(_NONCE)
        data = plain.encode() if isinstance(plain, str) else plain
        return _VERSION + nonce + self._cipher(person_id).encrypt(nonce, data, place.aad())

    def open(self, person_id: str, place: Place, sealed: bytes) -> str:
        """The text sealed at `place`; raises NotFound when the person was forgotten."""
        return self.open_bytes(person_id, place, sealed).decode()

    def open_bytes(self, person_id: str, place: Place, sealed: bytes) -> bytes:
        """Like open, for bytes."""
        try:
            return self._cipher(person_id).decrypt(sealed[1 : 1 + _NONCE], sealed[1 + _NONCE :], place.aad())
        except InvalidTag:
            raise Misconfigured(
                f"A sealed {place.table}.{place.column} does not belong to its row",
                "Restore the database from a backup; a row was swapped or damaged.",
            ) from None

    def lookup(self, channel: str, address: str) -> str:
        """The blind index of an address."""
        return self._vault.lookup(channel, address)

    def _cipher(self, person_id: str) -> AESGCM:
        if person_id not in self._ciphers:
            self._ciphers[person_id] = AESGCM(self._vault.data_key(person_id))
        return self._ciphers[person_id]
