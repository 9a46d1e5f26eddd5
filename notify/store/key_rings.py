"""The keys of the two key files as they lie in memory: the current one and older ones that still read."""

from __future__ import annotations

import hmac
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from notify.core.errors import Misconfigured

Kind = Literal["master", "index"]
FIELDS: dict[str, str] = {"master": "keys.master_key_file", "index": "keys.index_key_file"}


@dataclass(frozen=True, slots=True)
class Key:
    """A named 32-byte key; its text never shows the bytes."""

    id: str
    secret: bytes = field(repr=False)


Ring = tuple[Key, ...]


def as_ring(keys: Key | Sequence[Key]) -> Ring:
    """One key or several as a ring."""
    return (keys,) if isinstance(keys, Key) else tuple(keys)


def check_value(kind: Kind, key: Key) -> str:
    """What tells one key from another of the same name, and the two kinds apart; it opens nothing (HMAC-SHA-256)."""
    return hmac.digest(key.secret, f"key check:{kind}:{key.id}".encode(), "sha256").hex()[:32]


def blind_index(key: Key, channel: str, address: str) -> str:
    """What an address is found by: 64 hexadecimal digits, useless without the key (HMAC-SHA-256, RFC 2104)."""
    return hmac.digest(key.secret, f"{channel}:{address}".encode(), "sha256").hex()


class Rings:
    """Both rings; read anew when a file changed (`stamp` differs) or when a key is asked for that nobody knows yet."""

    def __init__(
        self,
        master: Ring,
        index: Ring,
        *,
        reread: Callable[[], tuple[Ring, Ring]] | None = None,
        stamp: Callable[[], object] = lambda: None,
    ) -> None:
        self._reread, self._stamp = reread, stamp
        self._seen = stamp()
        self._rings: dict[str, Ring] = {"master": master, "index": index}

    def of(self, kind: Kind) -> Ring:
        """The ring of this kind, the newest line of its file first."""
        if self._stamp() != self._seen:
            self.read_again()
        return self._rings[kind]

    def find(self, kind: Kind, key_id: str) -> Key | None:
        """The key of this name; the files are read anew when it is not known."""
        found = self._named(kind, key_id)
        if found is None:
            self.read_again()
            found = self._named(kind, key_id)
        return found

    def read_again(self) -> None:
        """Reads both files anew. One that cannot be read right now leaves everything as it was."""
        if self._reread is None:
            return
        seen = self._stamp()
        try:
            master, index = self._reread()
        except Misconfigured:  # half a copy, or an unmounted folder: what is known still opens what it opened
            return
        self._rings, self._seen = {"master": master, "index": index}, seen

    def _named(self, kind: Kind, key_id: str) -> Key | None:
        return next((key for key in self._rings[kind] if key.id == key_id), None)
