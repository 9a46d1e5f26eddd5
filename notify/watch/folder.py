"""Watches a folder for CSV files: waits for whole ones, takes them, keeps what was refused for a person."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from notify.config.settings import Watch
from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.flows.context import Context
from notify.flows.take_changes import Batch, Change, Taken, take_changes
from notify.watch.rows import Sheet, read_sheet

SETTLED = timedelta(seconds=3)  # a file untouched for so long is taken to be whole
KEPT = timedelta(
    days=14
)  # taken files and refused lines hold contact data: kept no longer (common practice, no source)

# So many lines hold up a counter for less than a second; then others may write (two cores, SQLite: 5 ms a line).
AT_ONCE, PAUSE = 100, 0.1
INNER = ("taken", "refused")


@dataclass(frozen=True, slots=True)
class Report:
    """What one file came to. `problem` is set when it could not be read at all."""

    file: str
    taken: int
    unchanged: int
    refused: tuple[tuple[int, str], ...]
    problem: str = ""


def take_folder(
    ctx: Context, shop_id: str, watch: Watch, *, limit_bytes: int, dry_run: bool = False,
    wall_clock: Callable[[], float] = time.time, pause: Callable[[float], None] = time.sleep,
) -> tuple[Report, ...]:  # fmt: skip
    """Takes every whole CSV file of the folder, oldest first; with `dry_run` nothing changes, nothing moves.

    Afterwards a file lies in `taken/`; lines refused lie in `refused/` with their reasons, under the same
    header, ready to be corrected and put back. Both are removed after 14 days.
    """
    if not watch.folder.is_dir():
        return (Report(watch.folder.name, 0, 0, (), "The folder is not there. Make it, or correct the settings."),)
    if wrong := [inner for inner in INNER if not _is_own(watch.folder / inner)]:
        what = f"{wrong[0]} in it is a link or a file where our own folder should be. Remove it."
        return (Report(watch.folder.name, 0, 0, (), what),)
    reports = []
    for file in _whole_files(watch.folder, wall_clock()):
        reports.append(_take_file(ctx, shop_id, watch, file, limit_bytes=limit_bytes, dry_run=dry_run, pause=pause))
    if not dry_run:
        _drop_old(watch.folder, wall_clock())
    return tuple(reports)


def _whole_files(folder: Path, now: float) -> list[Path]:
    found = []
    for file in folder.iterdir():
        if file.is_symlink() or not file.is_file() or file.suffix.lower() != ".csv" or file.name.startswith("."):
            continue
        changed = file.stat().st_mtime
        if now - changed >= SETTLED.total_seconds() or changed > now + 60:
            found.append((changed, file))
    return [file for _, file in sorted(found)]


def _is_own(inner: Path) -> bool:
    """Whoever may write into the watched folder must not choose where we move and remove files."""
    return not inner.is_symlink() and (inner.is_dir() or not inner.exists())


def _take_file(
    ctx: Context, shop_id: str, watch: Watch, file: Path, *, limit_bytes: int, dry_run: bool,
    pause: Callable[[float], None],
) -> Report:  # fmt: skip
    try:
        return _take_readable(ctx, shop_id, watch, file, limit_bytes=limit_bytes, dry_run=dry_run, pause=pause)
    except OSError as error:  # the next file may still be taken, and this one changes nothing when it is met again
        words = os.strerror(error.errno) if error.errno else "the folder cannot be used"
        return Report(_shown(file), 0, 0, (), f"It cannot be put away: {words}. Make the folder writable.")


def _take_readable(
    ctx: Context, shop_id: str, watch: Watch, file: Path, *, limit_bytes: int, dry_run: bool,
    pause: Callable[[float], None],
) -> Report:  # fmt: skip
    try:
        data, sheet = _read(file, watch, limit_bytes)
    except Invalid as problem:
        if not dry_run:
            _move(file, "refused", f"{file.stat().st_mtime_ns:08x}"[-8:])
        return Report(_shown(file), 0, 0, (), str(problem))
    digest = hashlib.sha256(data).hexdigest()
    batch = Batch(watch.name, _words(watch), watch.zone, digest)
    changes = [Change(row.line, row.cells) for row in sheet.rows]
    actor = Actor(shop_id, "source", watch.name)
    result = _in_turns(ctx, actor, batch, changes, unread=len(sheet.refused), dry_run=dry_run, pause=pause)
    unread = () if result.known else tuple((line, why) for line, why, _ in sheet.refused)
    refused = tuple(sorted((*result.refused, *unread)))
    if not dry_run:
        _put_away(file, sheet, result, refused, watch, digest)
    return Report(_shown(file), len(result.taken), len(result.unchanged), refused)


def _in_turns(
    ctx: Context, actor: Actor, batch: Batch, changes: Sequence[Change], *, unread: int, dry_run: bool,
    pause: Callable[[float], None],
) -> Taken:  # fmt: skip
    """A long file a few lines at a time, with a pause in which the counter and the messages get their turn."""
    done = Taken()
    for at in range(0, max(1, len(changes)), AT_ONCE):
        if at:
            pause(PAUSE)
        one = take_changes(
            ctx, actor, batch, changes[at : at + AT_ONCE], taken_before=len(done.taken),
            refused_before=len(done.refused) + unread, is_last=at + AT_ONCE >= len(changes), dry_run=dry_run,
        )  # fmt: skip
        done = Taken(done.taken + one.taken, done.unchanged + one.unchanged, done.refused + one.refused, one.known)
    return done


def _shown(file: Path) -> str:
    """Its name for people's screens: whoever named it may have put line ends or signs for the terminal in it."""
    return "".join(sign if sign.isprintable() else "?" for sign in file.name)


def _words(watch: Watch) -> dict[str, str]:
    words = dict(watch.phase_words)
    return {word.casefold(): ours for word, ours in words.items()} | words


def _read(file: Path, watch: Watch, limit_bytes: int) -> tuple[bytes, Sheet]:
    if file.stat().st_size > limit_bytes:
        raise Invalid(f"{_shown(file)} is larger than {limit_bytes // 1024} kB", "Split it, or raise the limit.")
    try:
        data = file.read_bytes()
    except OSError:
        raise Invalid(f"{_shown(file)} cannot be read", "Give Shelfbell's user the right to read it.") from None
    return data, read_sheet(data, watch)


def _put_away(
    file: Path, sheet: Sheet, result: Taken, refused: Sequence[tuple[int, str]], watch: Watch, digest: str
) -> None:
    if refused:
        _write_refused(file, sheet, dict(refused), watch, digest)
    _move(file, "taken", digest[:8])


def _write_refused(file: Path, sheet: Sheet, reasons: dict[int, str], watch: Watch, digest: str) -> None:
    raw = {row.line: row.raw for row in sheet.rows} | {line: cells for line, _, cells in sheet.refused}
    out = io.StringIO()
    writer = csv.writer(out, delimiter=watch.delimiter, lineterminator="\n")
    writer.writerow([*sheet.header, "line", "reason"])
    for line, reason in sorted(reasons.items()):
        writer.writerow([*raw.get(line, ()), line, reason])
    folder = _private(file.parent / "refused")
    target = folder / f"{_stem(file)}.{digest[:8]}.csv"
    target.write_text(out.getvalue(), watch.encoding, errors="replace")


def _move(file: Path, where: str, mark: str) -> None:
    folder = _private(file.parent / where)
    file.replace(folder / f"{_stem(file)}.{mark}{file.suffix}")


def _stem(file: Path) -> str:
    """Short enough to bear a mark: file systems take 255 octets."""
    return os.fsdecode(os.fsencode(file.stem)[:200])


def _private(folder: Path) -> Path:
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


def _drop_old(folder: Path, now: float) -> None:
    for inner in INNER:
        for file in (folder / inner).glob("*.[cC][sS][vV]"):
            # When it was moved here, not when it was written: an old file that was refused must stay to be corrected.
            if now - file.lstat().st_ctime > KEPT.total_seconds():
                file.unlink(missing_ok=True)
