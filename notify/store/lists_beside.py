"""A list in a file beside the backups: written only when it changed, and seen to have changed without being read."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import IO

from notify.store import archive


def write(folders: Sequence[Path], name: str, content: bytes) -> None:
    """Puts the file with this content into each folder, whole or not at all, where it is not there already."""
    for file in (folder / name for folder in folders):
        if not file.is_file() or file.read_bytes() != content:
            archive.write_file(file, partial(_put, content))


def stamp(folders: Sequence[Path], name: str) -> tuple[tuple[int, int, int] | None, ...]:
    """What changes with any of the copies; None for a folder that has none."""
    files = [folder / name for folder in folders]
    stats = [file.stat() if file.is_file() else None for file in files]
    return tuple((one.st_mtime_ns, one.st_size, one.st_ino) if one else None for one in stats)


def _put(content: bytes, out: IO[bytes]) -> str:
    out.write(content)
    return ""
