"""Make a backup while the shop is served: copy, lock, prove that it can be read, and only then let old ones go.

The database comes first and people's keys after it, so that whoever stands in the copy has a key in the other one or
stands on the erasure list. The two go into folders apart, each with a life of its own.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import IO

from notify.core.errors import Misconfigured, NotifyError, Unavailable
from notify.flows import erasure_list, stop_list
from notify.flows.context import Context
from notify.store import archive, copying, job_runs, whole_file
from notify.store.archive import Manifest

GOOD, FAILED = "backup_good", "backup_failed"  # rows of job_runs: when a backup was made, and when one could not be
OWN_KEY, PASSING_KEY = "own_key", "passing_key"
KEPT_AT_LEAST = 3  # good ones stay however old they are by a clock that may be wrong
# A clock that went on further than this since the backup before is not believed about the age of the others
# (as with forgetting: common practice, no source).
STEADY = timedelta(days=3)
_NAME = re.compile(r"(shelfbell|keys)-(\d{8}T\d{6}Z)(?:-\d+)?\.age")
_LEFT = re.compile(r"\.(\.?(shelfbell|keys)-.*\.age\.unproved(\.part.*)?|(erased|stopped)\.txt\.part.*)")
LEFTOVER = timedelta(days=1)  # longer than any backup takes
_PREFIX = {"main": "shelfbell", "keys": "keys"}
_COPY, _LOCK, _OPEN = 250, 300, 300  # of a thousand parts, what each step takes of the bar (measured)


@dataclass(frozen=True, slots=True)
class Place:
    """Where backups go and what locks them. `proof` are the secrets that a backup is tried with, if any is here."""

    folder: Path
    keys_folder: Path
    scratch: Path
    recipient: str
    proof: str = field(repr=False)
    keep: timedelta = timedelta(days=35)
    keep_keys: timedelta = timedelta(days=7)

    @property
    def folders(self) -> tuple[Path, Path]:
        """Both, in which the lists lie too."""
        return self.folder, self.keys_folder


@dataclass(frozen=True, slots=True)
class Made:
    """What was made and proved. `file` is "" where the database has tools of its own, `keys_file` likewise."""

    made_at: datetime
    file: str
    keys_file: str
    octets: int
    rows: int
    erased: int
    removed: tuple[str, ...]
    proved_with: str


Progress = Callable[[int], None]
"""Told how many thousandths are done."""


def make(
    ctx: Context, place: Place, *, progress: Progress = lambda done: None,
    fault: Callable[[str], None] = lambda point: None,
) -> Made:  # fmt: skip
    """Makes and proves a backup of everything that is SQLite here, and writes both lists (erased, stopped) beside it.

    Raises Unavailable when a folder is not there or the disk fails, Misconfigured when the copy is damaged; the day
    sheet then tells that there is no new one, and no old one was touched.
    """
    try:
        made = _make(ctx, place, progress, fault)
    except BaseException:
        with suppress(NotifyError):  # what went wrong is told, not that it could not be written down
            job_runs.note(ctx.db, FAILED, at=ctx.clock())
        raise
    job_runs.note(ctx.db, GOOD, at=made.made_at)
    return made


def _make(ctx: Context, place: Place, progress: Progress, fault: Callable[[str], None]) -> Made:
    for folder in place.folders:
        if not folder.is_dir():
            raise Unavailable(f"The folder {folder.name} for backups is not there", "Is its disk here, and mounted?")
    now, keys = ctx.clock(), ctx.db.vault.engine
    file = keys_file = ""
    octets = rows = 0
    if ctx.db.is_sqlite:
        file, rows = _one(ctx, place, "main", now, progress, fault)
        octets = (place.folder / file).stat().st_size
    if keys.dialect.name == "sqlite":
        keys_file, _ = _one(ctx, place, "keys", now, lambda done: None, lambda point: None)
    listed = erasure_list.keep(ctx, place.folders)
    stop_list.keep(ctx, place.folders)
    for folder, name in ((place.folder, file), (place.keys_folder, keys_file)):
        if name:
            _sweep(folder, folder / name)
    removed = _let_go(place.folder, "main", now, place.keep) + _let_go(place.keys_folder, "keys", now, place.keep_keys)
    progress(1000)
    return Made(now, file, keys_file, octets, rows, listed, removed, OWN_KEY if place.proof else PASSING_KEY)


def kept(folder: Path, kind: str) -> tuple[tuple[datetime, str], ...]:
    """The backups of a kind (main or keys) in a folder, by the times in their names, the oldest first."""
    found = []
    for file in folder.glob(f"{_PREFIX[kind]}-*.age"):
        if match := _NAME.fullmatch(file.name):
            found.append((datetime.strptime(match[2], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC), file.name))
    return tuple(sorted(found))


def _one(
    ctx: Context,
    place: Place, kind: str, now: datetime, progress: Progress,
    fault: Callable[[str], None],
) -> tuple[str, int]:  # fmt: skip
    """Copies one database, locks it into a file and proves that file; its name and how many rows are in it."""
    folder, engine = place.folder, ctx.db.engine
    if kind == "keys":
        folder, engine = place.keys_folder, ctx.db.vault.engine
    name = _free_name(folder, kind, now)
    secret, recipients = place.proof, [place.recipient]
    if not secret:  # the shop's own key is not on this machine: a key for this one time opens it too, and is forgotten
        secret, public = archive.fresh_identity()
        recipients.append(public)
    with copying.scratch(place.scratch) as copy:
        copying.copy(engine, copy, progress=lambda done, whole: progress(_COPY * done // max(whole, 1)), fault=fault)
        step = copying.step(copy.connection)
        manifest = Manifest(archive.FORMAT, kind, now.isoformat(), version("shelfbell"), step, copy.size())
        listed = erasure_list.proved(ctx)
        share = partial(_share, progress, _COPY, _LOCK, manifest.size)

        def fill(out: IO[bytes]) -> None:
            archive.write(out, copy, manifest, listed, recipients=recipients, progress=share)

        fault("backup:locking")
        beside = folder / f".{name}.unproved"
        try:
            whole_file.write_file(beside, fill)
            fault("backup:locked")
            _prove(beside, copy, manifest, secret, partial(_share, progress, _COPY + _LOCK, _OPEN, manifest.size))
            rows = copying.rows(copy.connection)
            beside.rename(folder / name)
        finally:
            beside.unlink(missing_ok=True)
    whole_file.sync_folder(folder)
    return name, rows


def _prove(file: Path, copy: copying.Scratch, made: Manifest, secret: str, progress: Progress) -> None:
    """Opens what was written as a restore would: to the last octet it is the copy, and SQLite finds that one sound."""
    if not copying.is_whole(copy.connection):
        raise Misconfigured(
            "The database is damaged: its copy does not pass SQLite's own check",
            "Nothing was removed. Run `shelfbell check`, and restore the newest good backup.", field="database.url",
        )  # fmt: skip
    differing: list[int] = []

    def look(piece: memoryview, at: int) -> None:
        if not copy.holds(piece, at):
            differing.append(at)

    with file.open("rb") as locked:
        told, _ = archive.read(locked, look, identities=[secret], progress=progress)
    if differing or told != made:
        raise Unavailable("What the disk of the backups gives back is not what was written", "Use another disk.")


def _share(progress: Progress, before: int, part: int, whole: int, done: int) -> None:
    progress(before + part * done // max(whole, 1))


def _free_name(folder: Path, kind: str, now: datetime) -> str:
    stem = f"{_PREFIX[kind]}-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    names = [f"{stem}.age", *(f"{stem}-{n}.age" for n in range(2, 1000))]
    return next(name for name in names if not (folder / name).exists())


def _let_go(folder: Path, kind: str, now: datetime, keep: timedelta) -> tuple[str, ...]:
    """Removes what is beyond its life; of people's keys only the newest one is kept longer, since its life is short."""
    every = kept(folder, kind)
    others = [made for made, _ in every if made < now.replace(microsecond=0)]
    if others and now - others[-1] > STEADY:
        return ()  # the clock jumped, or backups failed for days: the next one decides
    least = KEPT_AT_LEAST if kind == "main" else 1
    old = [name for made, name in every[:-least] if made < now - keep]
    for name in old:
        (folder / name).unlink(missing_ok=True)
    return tuple(old)


def _sweep(folder: Path, made: Path) -> None:
    """Removes what backups that were killed have left, a day before the one just made by the folder's own clock."""
    until = made.stat().st_mtime - LEFTOVER.total_seconds()
    for one in folder.glob(".*"):
        if _LEFT.fullmatch(one.name) and one.lstat().st_mtime < until:
            one.unlink(missing_ok=True)


def why(error: BaseException) -> str:
    """What a failed backup says in a log: our own words, or the kind of the fault."""
    return str(error) if isinstance(error, NotifyError) else type(error).__name__
