"""Watches a folder for files: waits for whole ones, takes each once, keeps what cannot be read for a person.

A file goes through four steps, and after a crash at any of them the next look ends what was begun:
it is moved to `taking`; its lines are taken, a hundred a transaction, each of which changes nothing when it comes
again; the lines that cannot be read are written to `refused`; it is moved to `taken`.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import islice
from pathlib import Path
from typing import BinaryIO

from notify.config.settings import Watch
from notify.core.actors import Actor
from notify.core.sources import Batch, Change, SourceTrouble, Taken, Trouble
from notify.flows import source_state
from notify.flows.context import Context
from notify.flows.take_changes import MOST, take
from notify.watch import drawers
from notify.watch.csv_rows import open_csv
from notify.watch.forgotten import forget_taken
from notify.watch.json_rows import open_json
from notify.watch.lines import MOST_REFUSED, Line, Sheet, too_large, wrong
from notify.watch.report import Report
from notify.watch.whole import Memory, has_writer, mark_of, open_regular, whole_files
from notify.watch.workbook import open_workbook

PAUSE = 0.05  # seconds between two turns of a long file, in which others may write
MOST_FILES = 500  # of one look
NOTED = 10.0  # seconds after which it is noted anew that the folder was looked at and nothing was there

Tell = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class _Look:
    """One look, and what it is done with."""

    ctx: Context
    shop_id: str
    watch: Watch
    folder: Path
    limit_bytes: int
    batch: Batch
    dry_run: bool
    tell: Tell
    pause: Callable[[float], None]
    fault: Callable[[str], None]


@dataclass(slots=True)
class _Done:
    """What came of one file so far."""

    taken: Taken = field(default_factory=Taken)
    unread: list[Line] = field(default_factory=list)
    lines: int = 0


@cache
def _memory_of(_folder: Path) -> Memory:
    return Memory()


def look(
    ctx: Context, shop_id: str, watch: Watch, *, limit_bytes: int, dry_run: bool = False,
    tell: Tell = lambda lines: None, memory: Memory | None = None, clock: Callable[[], float] = time.monotonic,
    wall_clock: Callable[[], float] = time.time, pause: Callable[[float], None] = time.sleep,
    fault: Callable[[str], None] = lambda point: None,
) -> tuple[Report, ...]:  # fmt: skip
    """Takes every whole file of the folder, oldest first; with `dry_run` nothing changes and nothing moves.

    `tell` hears after each turn how many lines of the file were looked at; `fault` is called at each step, for trials
    of what happens when it ends there. A file that is not whole yet is told as `waiting`.
    """
    folder = watch.folder or Path()
    memory, began = memory or _memory_of(folder), ctx.clock()
    batch = source_state.batch_of(ctx, shop_id, watch)
    one = _Look(ctx, shop_id, watch, folder, limit_bytes, batch, dry_run, tell, pause, fault)
    try:
        _check_folder(folder)
        files, waiting = whole_files(folder, memory, clock=clock, wall_clock=wall_clock, pause=pause)
    except (SourceTrouble, OSError) as error:
        return (_troubled(one, error),)
    begun = drawers.in_hand(folder)
    reports = [_take_file(one, file, begun=True) for file in begun]
    reports += [_take_file(one, file, begun=False) for file in files[:MOST_FILES]]
    reports += [Report(shown(found.path), problem=found.why, waiting=True) for found in waiting]
    told = tuple(report for report in reports if report is not None)
    if not dry_run:
        forget_taken(ctx, shop_id, folder, memory, clock())
        left = drawers.drop_old(folder, watch.keep_days, wall_clock())
        if not waiting and len(files) <= MOST_FILES and not drawers.in_hand(folder):
            _note(one, memory, began, clock(), left, found=bool(told))
    return told


def shown(file: Path) -> str:
    """Its name for people's screens: whoever named it may have put line ends or signs for the terminal in it."""
    return "".join(sign if sign.isprintable() else "?" for sign in file.name)


def _check_folder(folder: Path) -> None:
    if not folder.is_dir():
        raise SourceTrouble(Trouble.MISSING, "The folder is not there", "Make it, or correct the settings.")
    if inner := drawers.foreign(folder):
        what = f"{inner} in the folder is a link or a file where our own folder should be"
        raise SourceTrouble(Trouble.WRONG_ANSWER, what, "Remove it.")


def _troubled(one: _Look, error: SourceTrouble | OSError) -> Report:
    trouble = _as_trouble(error, "The folder cannot be read")
    if not one.dry_run:
        source_state.looked(one.ctx, one.shop_id, one.watch.name, trouble=trouble.trouble)
    return Report(shown(one.folder), trouble=trouble.trouble, problem=str(trouble))


def _as_trouble(error: SourceTrouble | OSError, what: str) -> SourceTrouble:
    if isinstance(error, SourceTrouble):
        return error
    words = os.strerror(error.errno) if error.errno else "unknown reason"
    return SourceTrouble(Trouble.REFUSED, f"{what}: {words}", "Look at its rights and at the room on its disk.")


def _note(one: _Look, memory: Memory, began: object, now: float, left: int, *, found: bool) -> None:
    """Notes a look without trouble, not more often than needed: an idle folder must cost nothing.

    Not while a file waits: what stands in it was said before now, and must not seem to be said after it.
    """
    if found or left != memory.noted or memory.noted_at is None or now - memory.noted_at >= NOTED:
        source_state.looked(one.ctx, one.shop_id, one.watch.name, position={"refused_files": left}, at=began)  # type: ignore[arg-type]
        memory.noted, memory.noted_at = left, now


def _take_file(one: _Look, file: Path, *, begun: bool) -> Report | None:
    name = shown(file)
    try:
        with open_regular(file) as opened:
            mark = mark_of(os.fstat(opened.fileno()))
            if begun and has_writer(opened.fileno()):
                return Report(name, problem="It is still being written: another program has it open.", waiting=True)
            if not one.dry_run and not begun:
                file = drawers.claim(one.folder, file, mark)
                one.fault("claimed")
            return _take_open(one, file, opened, name)
    except FileNotFoundError:  # somebody took it away, or another process was faster
        return None
    except OSError as error:
        trouble = _as_trouble(error, "It cannot be read or put away")
        return Report(name, trouble=trouble.trouble, problem=str(trouble))


def _take_open(one: _Look, file: Path, opened: BinaryIO, name: str) -> Report:
    done, sheet, trouble = _Done(), None, None
    try:
        before = os.fstat(opened.fileno())
        _check_size(one, before.st_size)
        batch = _named(one.batch, opened, before)
        sheet = _open(one, file, opened)
        _take_lines(one, sheet, batch, done, opened)
    except SourceTrouble as error:
        trouble = error
    except _ChangedError:
        return Report(name, done.taken, problem="It changed while it was read, and is read again.", waiting=True)
    if not one.dry_run:
        _put_away(one, file, sheet, done, trouble)
    refused = tuple((line.number, line.fault) for line in done.unread)
    return Report(name, done.taken, refused, trouble.trouble if trouble else None, str(trouble or ""))


class _ChangedError(Exception):
    """Somebody wrote into the file while it was read."""


def _check_size(one: _Look, size: int) -> None:
    if size > one.limit_bytes:
        advice = "Split it, or raise limits.watched_file_kilobytes."
        raise too_large(f"It is larger than {one.limit_bytes // 1024} kB", advice)


def _open(one: _Look, file: Path, opened: BinaryIO) -> Sheet:
    if file.suffix.lower() == ".xlsx":
        return open_workbook(opened, one.watch, limit_bytes=one.limit_bytes)
    return open_csv(opened, one.watch) if file.suffix.lower() == ".csv" else open_json(opened, one.watch)


def _named(batch: Batch, opened: BinaryIO, state: os.stat_result) -> Batch:
    """The batch under the name of this very file: what stands in it, and when it was written.

    What stands in it is not enough: a file for each change says the same again when a device is on the bench again.
    """
    opened.seek(0)
    content = hashlib.file_digest(opened, "sha256").hexdigest()  # type: ignore[arg-type]  # it is a buffered file
    opened.seek(0)
    return replace(batch, digest=hashlib.sha256(f"{content} {state.st_mtime_ns}".encode()).hexdigest())


def _take_lines(one: _Look, sheet: Sheet, batch: Batch, done: _Done, opened: BinaryIO) -> None:
    """The lines in turns, with pauses in which the counter and the messages get theirs; memory stays flat."""
    actor, mark = Actor(one.shop_id, "source", one.watch.name), mark_of(os.fstat(opened.fileno()))
    changes, is_last = _changes(sheet.lines, done), False
    while not is_last:
        turn = list(islice(changes, MOST))
        is_last = len(turn) < MOST
        if mark_of(os.fstat(opened.fileno())) != mark:
            raise _ChangedError
        new = take(
            one.ctx, actor, batch, turn, is_last=is_last, before=done.taken, refused=len(done.unread),
            dry_run=one.dry_run,
        )  # fmt: skip
        done.taken += new
        one.tell(done.lines)
        one.fault("turn")
        if not is_last and not new.known:
            one.pause(PAUSE)


def _changes(lines: Iterator[Line], done: _Done) -> Iterator[Change]:
    for line in lines:
        done.lines += 1
        if line.fault:
            done.unread.append(line)
            if len(done.unread) > MOST_REFUSED:
                raise wrong(f"More than {MOST_REFUSED} of its lines cannot be read", f"The last: {line.fault}.")
        else:
            yield Change(line.number, line.cells)


def _put_away(one: _Look, file: Path, sheet: Sheet | None, done: _Done, trouble: SourceTrouble | None) -> None:
    if trouble is not None:
        one.fault("refused")
        drawers.write_reason(drawers.put(file, drawers.REFUSED), str(trouble))
        return
    if done.unread and sheet is not None:
        drawers.write_refused(file, sheet, done.unread, one.watch.encoding)
        one.fault("refused")
    if one.watch.keep_days:
        drawers.put(file, drawers.TAKEN)
    else:
        file.unlink()
    one.fault("taken")
