"""Which files of a watched folder are whole: nobody writes them any more, as far as that can be told.

| what is seen of a file | still for so long, then it is whole |
|---|---|
| ends as it should, and nobody has it open to write (as the system tells of files on this machine) | 0.3 s |
| the system does not tell who has it open (a share, somebody else's file) | 2 s |
| it grew while it was looked at, or its last line has no end | 3 s |
| it is empty, or a workbook whose directory (written last) is missing | 60 s |
| somebody has it open to write | never, while that is so |

Still means that size, time and identity are the same on two looks. The figures are common practice, no source.
"""

from __future__ import annotations

import fcntl
import os
import signal
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from notify.watch.zip_checks import is_whole

STILL, UNTOLD, GREW, BROKEN = 0.3, 2.0, 3.0, 60.0  # seconds
SUFFIXES = (".csv", ".xlsx", ".jsonl", ".ndjson", ".json")
_UNFINISHED = (".", "~$", "#")  # how programs name what they are still writing, or their locks (common practice)

Mark = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Waiting:
    """A file that is not whole yet, and why."""

    path: Path
    why: str


@dataclass(slots=True)
class _Seen:
    """A file as it was on the last look; `since` when it has been so, `looks` how often it was seen so."""

    mark: Mark
    since: float
    grew: bool = False
    looks: int = 1


@dataclass(slots=True)
class Memory:
    """What a process remembers of a folder between two looks. Lost with it, and nothing is lost with that."""

    seen: dict[str, _Seen] = field(default_factory=dict)
    noted_at: float | None = None
    noted: int = -1  # files with refused lines, when that was last noted
    forgot_at: float | None = None  # when it was last asked whether somebody was forgotten


def whole_files(
    folder: Path, memory: Memory, *, clock: Callable[[], float], wall_clock: Callable[[], float],
    pause: Callable[[float], None],
) -> tuple[list[Path], list[Waiting]]:  # fmt: skip
    """(those that are whole, oldest first; the others). When there are new ones it looks twice. Raises OSError."""
    if _glance(folder, memory, clock()):
        pause(1.1 * STILL)
        _glance(folder, memory, clock())
    found: list[tuple[int, str, Path]] = []
    waiting = []
    for name, seen in memory.seen.items():
        path = folder / name
        why = _why_not(path, seen, clock(), wall_clock())
        if why:
            waiting.append(Waiting(path, why))
        elif why is not None:
            found.append((seen.mark[2], name, path))
    return [path for _, _, path in sorted(found)], waiting


def _glance(folder: Path, memory: Memory, now: float) -> bool:
    """Looks once; whether there is a file that was not there before in this form."""
    before, memory.seen = memory.seen, {}
    fresh = False
    for name, mark in _candidates(folder):
        known = before.get(name)
        if known and known.mark == mark:
            known.looks += 1
            memory.seen[name] = known
        else:
            same = known is not None and known.mark[0] == mark[0]
            memory.seen[name] = _Seen(mark, now, grew=same)
            fresh = True
    return fresh


def _candidates(folder: Path) -> Iterator[tuple[str, Mark]]:
    with os.scandir(folder) as entries:
        for entry in entries:
            name = entry.name
            if not name.lower().endswith(SUFFIXES) or name.startswith(_UNFINISHED):
                continue
            try:
                state = entry.stat(follow_symlinks=False)
            except OSError:  # it went away
                continue
            if stat.S_ISREG(state.st_mode):
                yield name, mark_of(state)


def mark_of(state: os.stat_result) -> Mark:
    """By which two looks tell that a file is the same."""
    return state.st_ino, state.st_size, state.st_mtime_ns


def open_regular(path: Path) -> BinaryIO:
    """Opens a file to read it; never through a link, and never waits for a pipe. Raises OSError."""
    number = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    if not stat.S_ISREG(os.fstat(number).st_mode):
        os.close(number)
        raise FileNotFoundError(path.name)
    return open(number, "rb")


def _why_not(path: Path, seen: _Seen, now: float, wall: float) -> str | None:
    """Why it is not whole yet; "" if it is, and also if it cannot be opened, which is told later. None: it is gone."""
    still = now - seen.since
    if seen.looks > 1 and still >= STILL:
        still = max(still, wall - seen.mark[2] / 1e9)
    try:
        with open_regular(path) as file:
            needed, why = _needed(file, path, seen)
    except FileNotFoundError:
        return None
    except OSError:
        return ""
    return why if still < needed else ""


def _needed(file: BinaryIO, path: Path, seen: _Seen) -> tuple[float, str]:
    writer = has_writer(file.fileno())
    if writer:
        return float("inf"), "It is still being written: another program has it open."
    if not seen.mark[1]:
        return BROKEN, "It is empty so far."
    if path.suffix.lower() == ".xlsx":
        return (STILL, _SETTLES) if is_whole(file) else (BROKEN, "It is still being written: its end is missing.")
    if seen.grew or not _ends(file, seen.mark[1]):
        return GREW, _SETTLES
    return (UNTOLD if writer is None else STILL), _SETTLES


_SETTLES = "It was still being written a moment ago."


def _ends(file: BinaryIO, size: int) -> bool:
    file.seek(max(0, size - 4))
    last = file.read(4)
    return b"\n" in last[-2:] or b"\r" in last[-2:]


def has_writer(number: int) -> bool | None:
    """Whether somebody has the file open to write; None where the system does not tell.

    A read lease is granted only when nobody does (fcntl(2), F_SETLEASE). It is given back at once; the signal that
    would ask for it is set to one that does nothing.
    """
    try:
        fcntl.fcntl(number, fcntl.F_SETSIG, signal.SIGURG)
        fcntl.fcntl(number, fcntl.F_SETLEASE, fcntl.F_RDLCK)
    except BlockingIOError:
        return True
    except OSError:
        return None
    fcntl.fcntl(number, fcntl.F_SETLEASE, fcntl.F_UNLCK)
    return False
