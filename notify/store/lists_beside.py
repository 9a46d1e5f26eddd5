"""A list in a file beside the backups: written only when it changed, seen to have changed without being read, proved.

Its last line proves the others by the installation's index key, which a restore has and the disk of the backups has
not: whoever can write there can take a list away, which is said, and cannot add to it or take anybody off it.
"""

from __future__ import annotations

import hmac
from collections.abc import Callable, Sequence
from pathlib import Path

from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDFExpand

from notify.core.errors import Invalid
from notify.store.key_rings import Key, Ring
from notify.store.whole_file import write_file

_PROOF = b"# proof "


def signed(content: bytes, name: str, key: Key) -> bytes:
    """The content of a list of this name with the line that proves it."""
    return content + _PROOF + f"{key.id} {_proof(content, name, key)}\n".encode()


def proved(octets: bytes, name: str, ring: Ring) -> bytes:
    """The content that `signed` was given. Raises Invalid when no key of the ring proves all of it."""
    content, _, told = octets.rpartition(_PROOF)
    if not any(hmac.compare_digest(octets, signed(content, name, key)) for key in ring if told):
        raise Invalid(
            f"{name} is not as Shelfbell wrote it: it was changed, or belongs to another keys.index_key_file",
            "Nothing was changed here. Put another copy of it there (one lies in each folder of backups), bring back "
            "the older line of the key file, or move it away: then only the other copies count.", field=name,
        )  # fmt: skip
    return content


def write(folders: Sequence[Path], name: str, content: bytes, key: Key) -> None:
    """Puts the list into each folder, whole or not at all, where it is not there already under this very key."""
    octets = signed(content, name, key)
    for file in (folder / name for folder in folders):
        if not file.is_file() or file.read_bytes() != octets:
            write_file(file, lambda out: out.write(octets))


def read(folder: Path, name: str, ring: Ring) -> bytes:
    """The content of a folder's list; nothing where there is none. Raises Invalid when it is not proved."""
    file = folder / name
    return proved(file.read_bytes(), name, ring) if file.is_file() else b""


def keep_if_newer(
    name: str, seen: dict[str, object], *, stamps: Callable[[], tuple[object, object]], keep: Callable[[], object]
) -> None:
    """Calls `keep` unless neither of both stamps has changed since the caller's last look, which `seen` remembers.

    The first is of what the list is made of, the second of its files.
    """
    now = stamps()
    if seen.get(name) != now:
        keep()
        seen[name] = (now[0], stamps()[1])  # what was said meanwhile is written next time


def stamp(folders: Sequence[Path], name: str) -> tuple[tuple[int, int, int] | None, ...]:
    """What changes with any of the copies; None for a folder that has none."""
    files = [folder / name for folder in folders]
    stats = [file.stat() if file.is_file() else None for file in files]
    return tuple((one.st_mtime_ns, one.st_size, one.st_ino) if one else None for one in stats)


def _proof(content: bytes, name: str, key: Key) -> str:
    """HMAC-SHA-256 under a key for this name alone (RFC 5869 2.3; 3.3: a key that is random needs no extracting)."""
    own = HKDFExpand(SHA256(), 32, f"list beside backups: {name}".encode()).derive(key.secret)
    return hmac.digest(own, content, "sha256").hex()
