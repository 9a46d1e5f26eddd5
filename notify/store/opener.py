"""Seals and opens texts under the data key of the person they are about, each bound to the place where it stands."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from notify.core.errors import Misconfigured
from notify.store.key_rings import Key, blind_index
from notify.store.vault import Vault

_NONCE = 12
_VERSION = b"\x01"


class Place(NamedTuple):
    """Where a sealed text belongs; it cannot be opened anywhere else (AES-GCM associated data)."""

    table: str
    row: str
    column: str

    def aad(self) -> bytes:
        """The bytes that bind a ciphertext to this place."""
        return f"{self.table}\x00{self.row}\x00{self.column}".encode()


class Opener:
    """Seals and opens for the time of one transaction."""

    def __init__(self, vault: Vault) -> None:
        self._vault = vault
        self._ciphers: dict[str, AESGCM] = {}
        self._index: Key | None = None

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
        """The blind index of an address, for writing it down."""
        return self.marked(channel, address)[0]

    def marked(self, channel: str, address: str) -> tuple[str, str]:
        """The blind index of an address and the name of the key it was made with; one key for the whole transaction."""
        self._index = self._index or self._vault.index_key()
        return blind_index(self._index, channel, address), self._index.id

    def lookups(self, channel: str, address: str) -> tuple[str, ...]:
        """The blind index of an address by every key that a row may stand under, for finding it."""
        return self._vault.lookups(channel, address)

    def _cipher(self, person_id: str) -> AESGCM:
        if person_id not in self._ciphers:
            self._ciphers[person_id] = AESGCM(self._vault.data_key(person_id))
        return self._ciphers[person_id]
