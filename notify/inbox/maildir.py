"""A mailbox in a folder of this machine: a Maildir, into which a mail server delivers one file a letter.

The standard library's own would follow links and open whatever lies there; here only plain files are letters.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

from notify.core.errors import Conflict, Misconfigured, NotFound
from notify.inbox.fields import LARGEST_HEADER
from notify.inbox.letter import LARGEST
from notify.inbox.mailbox import MOST_LETTERS, Held

# Maildir's own convention: unique name, then ":2," and one letter a flag in order of the alphabet; S is "seen".
_INFO, _SEEN = ":2,", "S"


@dataclass(frozen=True, slots=True)
class _File:
    path: Path
    size: int
    changed: float  # seconds since the epoch: when it was delivered; marking it does not change that

    @property
    def uid(self) -> str:
        return self.path.name.partition(_INFO)[0]

    @property
    def flags(self) -> str:
        return self.path.name.partition(_INFO)[2]

    @property
    def handled(self) -> bool:
        return self.path.parent.name == "cur" and _SEEN in self.flags


class MaildirMailbox:
    """See mailbox.Mailbox. What stands in `new`, or in `cur` without the mark of being seen, was not handled yet.

    `tmp`, where letters are still being written, is never looked at. Raises Misconfigured if it is no Maildir.
    """

    def __init__(self, folder: Path) -> None:
        if not all((folder / name).is_dir() for name in ("new", "cur")):
            raise Misconfigured(
                "The folder named in inbox.maildir is no Maildir",
                "It must have the folders new and cur, and Shelfbell must be allowed to read them.",
                field="inbox.maildir",
            )
        self._folder = folder
        self._seen: dict[str, _File] = {}  # where the letters shown last were then

    def letters(self) -> Iterator[Held]:
        """In the order of their names, which begin with the time of delivery."""
        waiting = sorted((file for file in self._files("new", "cur") if not file.handled), key=lambda file: file.uid)
        self._seen = {file.uid: file for file in waiting[:MOST_LETTERS]}
        for file in list(self._seen.values()):
            yield Held(file.uid, file.size, partial(self._read, file.uid))

    def done(self, uid: str) -> None:
        """Into `cur`, marked as seen."""
        file = self._find(uid)
        if file and not file.handled:
            flags = "".join(sorted({*file.flags, _SEEN}))
            with suppress(NotFound), _translated():
                file.path.rename(self._folder / "cur" / f"{uid}{_INFO}{flags}")

    def remove_older(self, than: datetime) -> int:
        """By the time of delivery."""
        old = [file for file in self._files("cur") if file.handled and file.changed < than.timestamp()]
        for file in old:
            with _translated():
                file.path.unlink(missing_ok=True)
        return len(old)

    def handled(self) -> Iterator[Held]:
        """In no order."""
        files = [file for file in self._files("cur") if file.handled]
        self._seen = {file.uid: file for file in files}
        return (Held(file.uid, file.size, partial(self._read, file.uid)) for file in files)

    def remove(self, uids: Sequence[str]) -> None:
        """Overwritten before they are removed: on a copy-on-write or flash disk older blocks may outlive this."""
        for file in filter(None, map(self._find, uids)):
            with suppress(NotFound), _translated():
                _shred(file.path)

    def close(self) -> None:
        """Nothing stays open."""

    def _files(self, *folders: str) -> Iterator[_File]:
        for folder in folders:
            with _translated(), os.scandir(self._folder / folder) as entries:
                for entry in entries:
                    if file := _plain_file(entry):
                        yield file

    def _find(self, uid: str) -> _File | None:
        """Where it is now: a mail program may have moved it meanwhile."""
        file = self._seen.get(uid)
        if file and file.path.is_file():
            return file
        return next((file for file in self._files("new", "cur") if file.uid == uid), None)

    def _read(self, uid: str) -> bytes:
        """At most LARGEST octets; of a larger letter only where its header is."""
        file = self._find(uid)
        if file is None:
            raise NotFound("The letter is no longer in the mailbox", "Somebody else took it out.")
        with _translated():
            # Not through a link, and without waiting for a pipe that was put in its place meanwhile.
            handle = os.open(file.path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
            with os.fdopen(handle, "rb") as opened:
                size = os.fstat(handle).st_size
                return opened.read(LARGEST_HEADER if size > LARGEST else LARGEST)


def _shred(path: Path) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    with os.fdopen(handle, "wb") as opened:
        opened.write(b"\0" * os.fstat(handle).st_size)
        opened.flush()
        os.fsync(handle)
    path.unlink(missing_ok=True)


@contextmanager
def _translated() -> Iterator[None]:
    """What the system refuses, without the name of a file."""
    try:
        yield
    except FileNotFoundError:
        raise NotFound("The letter is no longer in the mailbox", "Somebody else took it out.") from None
    except OSError:
        raise Conflict("The Maildir could not be read or written", "Check who may do so in inbox.maildir.") from None


def _plain_file(entry: os.DirEntry[str]) -> _File | None:
    try:
        state = entry.stat(follow_symlinks=False)
    except OSError:  # it went in between
        return None
    plain = stat.S_ISREG(state.st_mode) and not entry.name.startswith(".")
    return _File(Path(entry.path), state.st_size, state.st_mtime) if plain else None
