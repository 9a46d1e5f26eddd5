"""The lock file by which a second `shelfbell serve` on the same data folder sees that the first one is there."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from notify.core.errors import Conflict, Misconfigured

NAME = "serve.lock"


@contextmanager
def only_one(folder: Path) -> Iterator[None]:
    """Holds the folder's lock; the kernel ends it with the process, however that dies.

    Raises Conflict with the number of the process that has it, Misconfigured if the folder is not writable.
    """
    try:
        handle = os.open(folder / NAME, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise Misconfigured(
            f"The data folder cannot be written to ({error.strerror})",
            "Give it to the user who runs Shelfbell, or run `shelfbell init`.",
            field="database.data_folder",
        ) from None
    try:
        _lock(handle)
        os.ftruncate(handle, 0)
        os.write(handle, f"{os.getpid()}\n".encode())
        yield
    finally:
        os.close(handle)


def is_served(folder: Path) -> bool:
    """Whether some `shelfbell serve` holds the folder's lock just now."""
    try:
        with only_one(folder):
            return False
    except Conflict:
        return True


def _lock(handle: int) -> None:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.read(handle, 20).decode("ascii", "replace").strip() or "of unknown number"
        raise Conflict(
            f"Shelfbell is already serving this data folder, as process {holder}",
            "Use that one, or stop it first.",
        ) from None
