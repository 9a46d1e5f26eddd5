"""The three folders within a watched one: `taking` for the file in hand, `taken`, and `refused` for a person to see.

They hold contact data as the other system wrote them, for people who open them with a spreadsheet: so they are not
sealed, but for their owner alone (modes 700 and 600, where the file system knows modes) and gone after `keep_days`.
"""

from __future__ import annotations

import contextlib
import csv
import hashlib
import json
import os
from collections.abc import Sequence
from pathlib import Path

from notify.watch.lines import Line, Sheet, guarded
from notify.watch.whole import SUFFIXES, Mark

TAKING, TAKEN, REFUSED = DRAWERS = ("taking", "taken", "refused")
DAY = 86_400
_OURS = (*SUFFIXES, ".txt", ".part")


def foreign(folder: Path) -> str:
    """A drawer that is a link or a file; "" when all are as they should be.

    Whoever may write into the watched folder must not choose where we move and remove files.
    """
    return next((one for one in DRAWERS if (folder / one).is_symlink() or not _may_be(folder / one)), "")


def _may_be(drawer: Path) -> bool:
    return drawer.is_dir() or not drawer.exists()


def private(drawer: Path) -> Path:
    """Makes a drawer that only its owner may open."""
    drawer.mkdir(mode=0o700, exist_ok=True)
    return drawer


def claim(folder: Path, file: Path, mark: Mark) -> Path:
    """Moves a file into `taking`, so that its name is free for the next one, which then cannot be mistaken for it."""
    named = f"{short(file)}.{_name_of(mark)}{file.suffix}"
    return move(file, private(folder / TAKING) / named)


def put(file: Path, drawer: str) -> Path:
    """Moves a file in hand into another drawer. Raises OSError."""
    return move(file, private(file.parent.parent / drawer) / file.name)


def move(file: Path, target: Path) -> Path:
    """Moves and closes to others. Raises OSError."""
    file.replace(target)
    closed(target)
    return target


def closed(file: Path) -> None:
    """For its owner only, where the file system can; a share may not."""
    with contextlib.suppress(OSError):
        file.chmod(0o600)


def short(file: Path) -> str:
    """Its name without the ending, short enough to bear a mark: file systems take 255 octets."""
    return os.fsdecode(os.fsencode(file.stem)[:200])


def _name_of(mark: Mark) -> str:
    return hashlib.sha256(repr(mark).encode()).hexdigest()[:8]


def drop_old(folder: Path, keep_days: int, now: float) -> int:
    """Removes what has lain in `taken` and `refused` for so many days; how many files with refused lines are left.

    Counted from when it was put there, not from when it was written. What was refused stays for a day at least: it is
    nowhere else.
    """
    left = 0
    for drawer, days in ((TAKEN, keep_days), (REFUSED, max(1, keep_days))):
        for file in _files(folder / drawer):
            with contextlib.suppress(FileNotFoundError):
                if now - file.lstat().st_ctime > days * DAY:
                    file.unlink()
                elif drawer == REFUSED and file.suffix.lower() in SUFFIXES:
                    left += 1
    return left


def empty_taken(folder: Path) -> None:
    """Overwrites and removes every file that was taken. Raises OSError."""
    for file in _files(folder / TAKEN):
        with contextlib.suppress(FileNotFoundError):
            number = os.open(file, os.O_WRONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
            with open(number, "wb") as out:
                out.write(b"\0" * os.fstat(number).st_size)
                out.flush()
                os.fsync(number)
            file.unlink()


def _files(drawer: Path) -> list[Path]:
    if not drawer.is_dir() or drawer.is_symlink():
        return []
    with os.scandir(drawer) as entries:
        return [
            drawer / one.name
            for one in entries
            if one.name.lower().endswith(_OURS) and one.is_file(follow_symlinks=False)
        ]


def in_hand(folder: Path) -> list[Path]:
    """What a crash left in `taking`, oldest first."""
    found = [file for file in _files(folder / TAKING) if file.suffix.lower() in SUFFIXES]
    return sorted(found, key=lambda file: (file.lstat().st_mtime_ns, file.name))


def write_refused(file: Path, sheet: Sheet, lines: Sequence[Line], encoding: str) -> None:
    """Writes the lines that could not be read, with their reasons, under their header: to correct and put back.

    Written whole or not at all, and the same again after a crash. No cell is a formula to a spreadsheet.
    Raises OSError.
    """
    drawer = private(file.parent.parent / REFUSED)
    target = drawer / (file.stem + (".jsonl" if not sheet.header else ".csv"))
    part = target.with_name(target.name[-200:] + ".part")
    auto = "utf-8-sig" if sheet.header else "utf-8"
    number = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
    with open(number, "w", encoding=auto if encoding == "auto" else encoding, errors="replace", newline="") as out:
        if sheet.header:
            writer = csv.writer(out, delimiter=sheet.delimiter, lineterminator="\n")
            writer.writerow(["line", "reason", *map(guarded, sheet.header)])
            writer.writerows([line.number, line.fault, *map(guarded, line.raw)] for line in lines)
        else:
            for line in lines:
                out.write(json.dumps({"line": line.number, "reason": line.fault, "text": "".join(line.raw)}) + "\n")
        out.flush()
        os.fsync(number)
    part.replace(target)


def write_reason(file: Path, reason: str) -> None:
    """Why a whole file was put into `refused`, beside it. That it cannot be written is no reason to stop."""
    with contextlib.suppress(OSError):
        note = file.with_name(file.name + ".txt")
        note.write_text(reason + "\n", "utf-8")
        closed(note)
