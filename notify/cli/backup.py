"""Make a backup, and say which there are; each night the service runs this command as a process of its own."""

from __future__ import annotations

import logging
import os
import subprocess
import sys
from contextlib import closing, suppress
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

import click

from notify.cli.bars import bar
from notify.cli.desk import Command, Desk, pass_desk, table
from notify.config.backup_key import public_half, read_identity
from notify.config.settings import Settings
from notify.core.errors import Misconfigured
from notify.flows import backup as flow
from notify.flows import erasure_list, stop_list, view_backup
from notify.flows.backup import Made, Place
from notify.schedule.jobs import Job, Run
from notify.schedule.when import Every, Nightly, last_due
from notify.wiring import Services, build

log = logging.getLogger("shelfbell.backup")
AGAIN = timedelta(hours=1)  # after one that failed (common practice, no source)
NICE = 19  # the counter goes first: whatever it wants, it gets


@click.command("backup", cls=Command)
@click.option("--list", "listed", is_flag=True, help="Only say which backups there are.")
@click.option("--identity", type=click.Path(path_type=Path), help="File with the key that the backup is tried with, "
              "where the settings name only its public half.")  # fmt: skip
@pass_desk
def backup(desk: Desk, listed: bool, identity: Path | None) -> None:
    """Copy everything while the shop is open, lock it, prove that it can be read, and only then remove old copies.

    The database goes into backup.folder, people's keys into backup.keys_folder, the lists of whom you have forgotten
    and of who wants nothing more into both. Ends with an error when there is no new good backup; no old one is
    touched then.
    """
    place = place_of(desk.settings, identity=desk.here / identity if identity else None)
    if listed:
        _list(desk, place)
        return
    _go_last()
    with closing(build(desk.settings, or_older=True)) as services, bar(desk, "Backing up") as progress:
        made = flow.make(services.context, place, progress=progress)
    desk.show(made, *_told(made))


def _go_last() -> None:
    """The counter goes first, on the processor and, by Linux's measure, on the disk."""
    with suppress(AttributeError, OSError):  # not every system has it
        os.setpriority(os.PRIO_PROCESS, 0, max(NICE, os.getpriority(os.PRIO_PROCESS, 0)))


def place_of(settings: Settings, *, identity: Path | None = None) -> Place:
    """Where backups go, and what locks them. Raises Misconfigured when none are to be made, or the key is no key."""
    told = settings.backup
    if told.folder is None or told.keys_folder is None:
        raise Misconfigured(
            "No backup is set up", "Name backup.folder and backup.keys_folder in the settings, on another disk.",
            field="backup.folder",
        )  # fmt: skip
    if identity is not None:
        secret = read_identity(identity, field="--identity")
    else:
        secret = "" if told.recipient or told.key_file is None else read_identity(told.key_file)
    return Place(
        told.folder, told.keys_folder, settings.database.data_folder, told.recipient or public_half(secret), secret,
        timedelta(days=told.keep_days), timedelta(days=told.keys_keep_days),
    )  # fmt: skip


def keep_list_beside(services: Services, seen: dict[str, object] | None = None) -> None:
    """Brings both lists beside the backups up to date; quietly nothing where there are no backups, or no disk."""
    settings = services.settings
    if settings.backup.folder is None or not settings.backup.folder.is_dir():
        return
    try:
        place, seen = place_of(settings), {} if seen is None else seen
        for one in (erasure_list, stop_list):
            one.keep_if_newer(services.context, place.folders, seen)
    except Exception as error:
        log.warning("a list beside the backups is not up to date: %s", flow.why(error))


def backup_jobs(settings: Settings, file: Path) -> tuple[Job, ...]:
    """The nightly backup, and the erasure list beside it; none where no folder is named."""
    if settings.backup.folder is None:
        return ()
    seen: dict[str, object] = {}
    return (
        Job("backup", Every(300), partial(_nightly, file), per_shop=False, slow=True),
        Job("erasure_list", Every(60), lambda run: keep_list_beside(run.services, seen), per_shop=False, leased=False,
            slow=True),
    )  # fmt: skip


def is_due(services: Services, now: datetime) -> bool:
    """Whether there is no good backup since the last night's hour; after one that failed, not for an hour."""
    seen = view_backup.view(services.context)
    every = services.shop_ids()
    if not every or seen.good_at > now + timedelta(minutes=5):  # a clock that was wrong then
        return bool(every)
    with services.context.db.read(every[0]) as unit:
        zone = services.context.shop(unit).zone
    due = last_due(Nightly(), now, zone_name=zone, nightly_at=services.settings.backup.nightly_at)
    return seen.good_at < due and not now - AGAIN < seen.failed_at <= now


def _nightly(file: Path, run: Run) -> None:
    """In a process of its own, so that locking a large database takes no time from the pages."""
    if not is_due(run.services, run.now):
        return
    child = subprocess.Popen(
        [sys.executable, "-m", "notify", "backup", "--config", str(file)],
        stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
    )  # fmt: skip
    os.setpriority(os.PRIO_PROCESS, child.pid, NICE)  # while it is still being loaded, too
    told = child.communicate()[1].decode("utf-8", "replace").strip().splitlines()
    if child.returncode:
        log.error("there is no new backup (exit code %s): %s", child.returncode, told[-1] if told else "it was killed")
    else:
        log.info("a backup was made and proved")


def _list(desk: Desk, place: Place) -> None:
    found = [
        {"file": name, "made_at": at, "kind": kind, "octets": (folder / name).stat().st_size}
        for kind, folder in (("main", place.folder), ("keys", place.keys_folder))
        for at, name in flow.kept(folder, kind)
    ]
    words = {"main": "the shop's data", "keys": "people's keys"}
    rows = [(one["file"], words[str(one["kind"])], size(int(str(one["octets"])))) for one in found]
    desk.show(found, *(table(rows, head=("file", "holds", "size")) or ["There is no backup yet."]))


def size(octets: int) -> str:
    """ "3.4 MB"."""
    return f"{octets / 1e6:.1f} MB" if octets < 1e9 else f"{octets / 1e9:.2f} GB"


def _told(made: Made) -> list[str]:
    proof = "with your key" if made.proved_with == flow.OWN_KEY else "with a key for this one time"
    lines = [f"{made.file}: {made.rows} rows, {size(made.octets)}, opened again {proof} and found sound."]
    if not made.file:
        lines = ["The main database is PostgreSQL's: back it up with pg_dump, as the README says."]
    if made.keys_file:
        lines.append(f"{made.keys_file}: people's keys.")
    people = "1 person stands" if made.erased == 1 else f"{made.erased or 'No'} people stand"
    lines.append(f"{people} on the erasure list beside both.")
    if made.removed:
        lines.append(f"Removed as old: {len(made.removed)}.")
    return lines
