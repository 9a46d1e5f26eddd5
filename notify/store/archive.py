"""A backup file: a tar of one database, the erasure list and a manifest, locked in the age format.

age (age-encryption.org/v1) and tar (POSIX.1-2001, pax) are open formats: `age -d -i KEY FILE | tar x` opens one without
this program. Written and read as streams, so that nothing in clear is ever kept in a named file. Each piece of 64 KiB
is authenticated before it is handed out, and the last one says that it is the last: what was cut off, changed or
locked for another key is refused.
"""

from __future__ import annotations

import io
import json
import tarfile
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from typing import IO, Any

import pyrage  # type: ignore[import-untyped]

from notify.core.errors import Invalid, Misconfigured
from notify.store.copying import BLOCK, Scratch

FORMAT = 1
MANIFEST, ERASED = "manifest.json", "erased.txt"
DATABASES = {"main": "shelfbell.db", "keys": "keys.db"}
_SMALL = 128 << 20  # the largest erasure list that is believed: two million people
_MANIFEST_MOST = 1 << 20
_OTHER = "The backup cannot be opened: it is damaged, cut off, none of ours, or locked for another key"
_CURE = "Nothing was written. Name the right key with --identity, or take another backup."
Take = Callable[[memoryview, int], object]
"""Is given octets of the database, and where they belong in its file."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup says of itself: `kind` is main or keys, `made_at` the moment of its snapshot in ISO 8601."""

    format: int
    kind: str
    made_at: str
    program: str
    step: str
    size: int


def write(
    out: IO[bytes], database: Scratch, manifest: Manifest, erased: bytes, *, recipients: list[str],
    progress: Callable[[int], None] = lambda octets: None,
) -> None:  # fmt: skip
    """Writes the locked archive."""
    stream = io.BufferedReader(_Stream(_pieces(database, manifest, erased, progress)), BLOCK)
    pyrage.encrypt_io(stream, out, [pyrage.x25519.Recipient.from_str(one) for one in recipients])


def read(
    file: IO[bytes], take: Take, *, identities: list[str], progress: Callable[[int], None] = lambda octets: None
) -> tuple[Manifest, bytes]:
    """Gives the octets of the database in an archive to `take`; its manifest and its erasure list.

    Raises Invalid when it cannot be opened, is none of ours, or is not what was locked (age authenticates each piece).
    """
    splitter = _Splitter(take, progress)
    try:
        pyrage.decrypt_io(file, splitter, [pyrage.x25519.Identity.from_str(one) for one in identities])
        splitter.finish()
    except (pyrage.DecryptError, tarfile.TarError, OSError, ValueError) as error:
        if isinstance(error, OSError) and error.errno:  # the disk, not the file's content
            raise
        raise Invalid(_OTHER, _CURE, field="file") from None
    return _judged(splitter)


def fresh_identity() -> tuple[str, str]:
    """A key for one use that is never written down, and its public half: it proves a backup without the shop's own."""
    made = pyrage.x25519.Identity.generate()
    return str(made), str(made.to_public())


def _judged(splitter: _Splitter) -> tuple[Manifest, bytes]:
    whole = splitter.small.get(MANIFEST)
    if whole is None or splitter.database is None:
        raise Invalid(_OTHER, _CURE, field="file")
    try:
        manifest = Manifest(**json.loads(whole))
    except (TypeError, ValueError):
        raise Invalid("The backup was made by a newer program", "Restore it with that one.", field="file") from None
    if manifest.format != FORMAT:
        raise Invalid("The backup was made by a newer program", "Restore it with that one.", field="file")
    if splitter.written != manifest.size or splitter.database != DATABASES.get(manifest.kind):
        raise Misconfigured("The backup holds another database than it says", "Take another backup.", field="file")
    return manifest, bytes(splitter.small.get(ERASED, b""))


def _pieces(database: Scratch, manifest: Manifest, erased: bytes, progress: Callable[[int], None]) -> Iterator[bytes]:
    yield _header(DATABASES[manifest.kind], manifest.size)
    written = 0
    for block in database.blocks():
        written += len(block)
        progress(written)
        yield block
    yield _padding(written)
    for name, content in ((ERASED, erased), (MANIFEST, json.dumps(asdict(manifest), indent=1).encode())):
        yield _header(name, len(content)) + content + _padding(len(content))
    yield b"\0" * (2 * tarfile.BLOCKSIZE)


def _header(name: str, size: int) -> bytes:
    info = tarfile.TarInfo(name)
    info.size, info.mode = size, 0o600
    return info.tobuf(tarfile.USTAR_FORMAT if size < 8 << 30 else tarfile.GNU_FORMAT)


def _padding(size: int) -> bytes:
    return b"\0" * (-size % tarfile.BLOCKSIZE)


class _Stream(io.RawIOBase):
    """Reads what a generator gives."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self._pieces, self._rest = pieces, memoryview(b"")

    def readable(self) -> bool:
        return True

    def readinto(self, into: Any) -> int:
        while not self._rest:
            piece = next(self._pieces, None)
            if piece is None:
                return 0
            self._rest = memoryview(piece)
        taken = min(len(into), len(self._rest))
        into[:taken], self._rest = self._rest[:taken], self._rest[taken:]
        return taken


class _Splitter(io.RawIOBase):
    """Takes the tar apart as it comes: the first member is given away, the small ones are kept."""

    def __init__(self, take: Take, progress: Callable[[int], None]) -> None:
        self.small: dict[str, bytearray] = {}
        self.database: str | None = None
        self.written = 0
        self._give, self._progress = take, progress
        self._held, self._rest, self._name, self._left, self._skip = bytearray(), bytearray(), "", 0, 0
        self._ended = False

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self._held += data  # pieces of 8 KiB: each on its own would cost more than opening it
        if len(self._held) >= BLOCK:
            self.finish()
        return len(data)

    def finish(self) -> None:
        """Uses what is still held back."""
        whole, self._held = memoryview(self._held), bytearray()
        while len(whole):
            whole = whole[self._take(whole) :]

    def _take(self, piece: memoryview) -> int:
        """Uses the first octets of what came; how many."""
        if self._left:
            return self._content(piece[: self._left])
        if self._skip:
            used = min(self._skip, len(piece))
            self._skip -= used
            return used
        used = min(tarfile.BLOCKSIZE - len(self._rest), len(piece))
        self._rest += piece[:used]
        if len(self._rest) == tarfile.BLOCKSIZE:
            self._begin(bytes(self._rest))
            self._rest.clear()
        return used

    def _begin(self, header: bytes) -> None:
        if self._ended or header == b"\0" * tarfile.BLOCKSIZE:
            self._ended = True
            return
        info = tarfile.TarInfo.frombuf(header, "utf-8", "strict")
        if info.size < 0 or not info.isreg():  # base-256 sizes have a sign
            raise ValueError("no member of ours")
        if self.database is None:
            self.database = info.name
        else:
            most = {ERASED: _SMALL, MANIFEST: _MANIFEST_MOST}.get(info.name, -1)
            if info.size > most or info.name in self.small:
                raise ValueError("a member that does not belong here")
            self.small[info.name] = bytearray()
        self._name, self._left, self._skip = info.name, info.size, -info.size % tarfile.BLOCKSIZE

    def _content(self, piece: memoryview) -> int:
        self._left -= len(piece)
        if self._name != self.database:
            self.small[self._name] += piece
            return len(piece)
        self._give(piece, self.written)
        self.written += len(piece)
        self._progress(self.written)
        return len(piece)
