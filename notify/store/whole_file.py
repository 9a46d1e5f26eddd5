"""Writes a file whole or not at all, and steadily: others on the same disk do not wait for a large one at its end."""

from __future__ import annotations

import io
import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any

from notify.store.copying import BLOCK


class _Steady(io.FileIO):
    """Has the disk begin at once with what is written: the wait at the end is short, and nobody else's is long."""

    def write(self, data: Any) -> int:
        begin = self.tell()
        done = super().write(data)
        _advise(self.fileno(), begin, done)
        return done


def _advise(number: int, begin: int, length: int) -> None:
    """This part of a file (a length of 0: to its end) is not needed in memory: what is not on the disk goes there.

    On Linux: it is begun to be written, and dropped from memory where it is written; elsewhere no more than a hint.
    """
    if hasattr(os, "posix_fadvise"):
        os.posix_fadvise(number, begin, length, os.POSIX_FADV_DONTNEED)


def write_file(path: Path, fill: Callable[[IO[bytes]], object]) -> None:
    """Makes a file of `fill`'s octets, whole or not at all, for its owner only.

    Under another name first, waited for, then renamed: whoever sees the name sees the whole file.
    """
    beside = path.with_name(f".{path.name}.part-{os.getpid()}-{threading.get_ident()}")
    beside.unlink(missing_ok=True)  # of a process that was killed; a link that somebody put there is not followed
    number = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, 0o600)
    try:
        with io.BufferedWriter(_Steady(number, "wb"), 16 * BLOCK) as out:
            fill(out)
            out.flush()
            os.fsync(out.fileno())
            _advise(out.fileno(), 0, 0)  # whoever reads it now reads the disk, and not what memory holds of it
        os.replace(beside, path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Waits until the names in a folder are on the disk."""
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    except OSError:  # some network file systems cannot; the file itself is there
        pass
    finally:
        os.close(number)
