"""Bring a backup back into an empty installation, or finish what a database's own tools brought back."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from pathlib import Path

import click

from notify.cli.bars import Progress, bar
from notify.cli.desk import Command, Desk, pass_desk
from notify.cli.only_one import only_one
from notify.cli.restore_says import told
from notify.config.backup_key import read_identity
from notify.config.key_files import read_ring
from notify.config.settings import Settings
from notify.core.erasure_list import united
from notify.core.errors import Invalid, Misconfigured
from notify.core.stop_list import Line
from notify.core.stop_list import united as united_stops
from notify.flows import backup as kept_backups
from notify.flows import erasure_list, stop_list
from notify.flows import restore as flow
from notify.flows.context import Clock
from notify.flows.restore import After
from notify.store.copying import sqlite_file
from notify.store.key_rings import Key
from notify.store.whole_file import sync_folder
from notify.wiring import Services, build, system_clock

UNFINISHED = ".restore-"  # begins the name of the folder in which a backup is opened, beside the data
_FILE = click.Path(path_type=Path)
Fault = Callable[[str], None]


@click.command("restore", cls=Command)
@click.argument("file", type=_FILE, required=False)
@click.option("--keys", type=_FILE, help="Backup of people's keys; left out: the newest in backup.keys_folder.")
@click.option("--identity", type=_FILE, help="File with the key that opens the backups; left out: backup.key_file.")
@click.option("--erasures", type=_FILE, help="One more copy of the erasure list, beside those that are found.")
@click.option("--after-own-tools", is_flag=True, help="The database was brought back by its own tools (pg_restore): "
              "only take out again whom you have forgotten since, and see to what waited.")  # fmt: skip
@pass_desk
def restore(
    desk: Desk,
    file: Path | None,
    keys: Path | None,
    identity: Path | None,
    erasures: Path | None,
    after_own_tools: bool,
) -> None:
    """Bring back FILE, a backup that `shelfbell backup` made, where no database is yet.

    Put the settings and the folder of keys back first, from their safe copy. Nothing is written unless everything
    fits; whoever was forgotten since the backup is taken out before anything can be sent.
    """
    settings = desk.settings
    named = Files(*(desk.here / one if one else None for one in (file, keys, identity, erasures)))
    settings.database.data_folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    with only_one(settings.database.data_folder):
        after = finish(settings, named) if after_own_tools else bring_back(settings, named, bar=partial(bar, desk))
    desk.show(after, *told(after))


class Files:
    """What was named on the command line; None for what was left out."""

    def __init__(
        self, file: Path | None = None, keys: Path | None = None, identity: Path | None = None,
        erasures: Path | None = None,
    ) -> None:  # fmt: skip
        self.file, self.keys, self.identity, self.erasures = file, keys, identity, erasures


@contextmanager
def _no_bar(_label: str) -> Iterator[Progress]:
    yield lambda done: None


def bring_back(
    settings: Settings,
    named: Files,
    *,
    bar: Callable[[str], AbstractContextManager[Progress]] = _no_bar,
    clock: Clock = system_clock,
    fault: Fault = lambda point: None,
) -> After:
    """Opens and judges the backups beside the data, takes out who was forgotten, then puts the files in their place.

    The caller holds the lock of the data folder. Whatever happens before the last two renames leaves nothing.
    """
    main = sqlite_file(settings.database.url)
    if main is None:
        raise Misconfigured(
            "The main database is PostgreSQL's, whose own tools bring it back",
            "Run pg_restore, then `shelfbell restore --after-own-tools`.", field="database.url",
        )  # fmt: skip
    if named.file is None or not named.file.is_file():
        raise Invalid("There is no such backup", "Name the file: shelfbell-….age.", field="file")
    keys_at, keys = sqlite_file(settings.database.keys_url), _keys_backup(settings, named)
    flow.need_empty(main, keys_at if keys is not None else None)
    key, field = _identity(settings, named)
    identities = [read_identity(key, field=field)]
    sweep(settings.database.data_folder)
    room = Path(tempfile.mkdtemp(prefix=UNFINISHED, dir=settings.database.data_folder))
    try:
        with bar("Opening the backup") as told:
            data = flow.unpack(named.file, room / "shelfbell.db", "main", identities, progress=told)
        opened = [data.erased]
        if keys is not None:
            opened.append(flow.unpack(keys, room / "keys.db", "keys", identities).erased)
        at_hand = _at_hand(settings, named, keys, opened)
        fault("restore:opened")
        with bar("Taking out who was forgotten"):
            made_at = datetime.fromisoformat(data.manifest.made_at)
            after = _care(_beside(settings, room, keys), at_hand, made_at, clock)
        _nothing_beside(room)
        fault("restore:ready")
        if keys is not None and keys_at is not None:  # keys first: a service that starts now finds no database
            (room / "keys.db").rename(keys_at)
            sync_folder(keys_at.parent)
            fault("restore:half")
        (room / "shelfbell.db").rename(main)
        sync_folder(main.parent)
    finally:
        shutil.rmtree(room, ignore_errors=True)
    return after


def sweep(data_folder: Path) -> int:
    """Removes what a restore that was cut off has left; how many. Only for whoever holds the folder's lock."""
    found = list(data_folder.glob(f"{UNFINISHED}*"))
    for one in found:
        shutil.rmtree(one, ignore_errors=True)
    return len(found)


def finish(settings: Settings, named: Files, *, clock: Clock = system_clock) -> After:
    """The database is in its place already; only the lists and the after-care are missing."""
    return _care(settings, _at_hand(settings, named, named.keys), None, clock)


def _care(settings: Settings, at_hand: AtHand, made_at: datetime | None, clock: Clock) -> After:
    services: Services = build(settings, clock=clock, upgrade=True)
    try:
        after = flow.after_care(services.context, at_hand.listed, at_hand.stops, made_at=made_at)
        services.context.db.checkpoint(truncate=True)
        return replace(after, missing=at_hand.missing)
    finally:
        services.close()
        services.context.db.vault.engine.dispose()


def _beside(settings: Settings, room: Path, keys: Path | None) -> Settings:
    """The same installation with its databases where the backup was opened."""
    database = replace(settings.database, url=f"sqlite:///{room / 'shelfbell.db'}")
    if keys is not None:
        database = replace(database, keys_url=f"sqlite:///{room / 'keys.db'}")
    return replace(settings, database=database)


def _nothing_beside(room: Path) -> None:
    """The journals must be in the files, which are moved without them."""
    left = [one.name for one in room.iterdir() if one.name.endswith("-wal") and one.stat().st_size]
    if left:
        raise Misconfigured("The restored database could not be finished", "Try again; nothing was written.")


def _identity(settings: Settings, named: Files) -> tuple[Path, str]:
    if named.identity is not None:
        return named.identity, "--identity"
    if settings.backup.recipient or settings.backup.key_file is None:
        raise Misconfigured(
            "The settings name only the public half of the key", "Name the file with the key: --identity FILE.",
            field="backup.recipient",
        )  # fmt: skip
    return settings.backup.key_file, "backup.key_file"


def _keys_backup(settings: Settings, named: Files) -> Path | None:
    """The backup of people's keys; None where the key store is there already, or has tools of its own."""
    if named.keys is not None:
        if not named.keys.is_file():
            raise Invalid("There is no such backup of keys", "Name the file: keys-….age.", field="keys")
        return named.keys
    at, folder = sqlite_file(settings.database.keys_url), settings.backup.keys_folder
    if at is None or (at.exists() and at.stat().st_size):
        return None
    found = kept_backups.kept(folder, "keys") if folder is not None and folder.is_dir() else ()
    if folder is None or not found:
        raise Invalid(
            "Without people's keys nothing in the backup can be read", "Name their backup: --keys FILE.", field="keys"
        )
    return folder / found[-1][1]


@dataclass(frozen=True, slots=True)
class AtHand:
    """What lies beside the backups, of every copy: who is listed, who stopped, and which list is not there."""

    listed: Mapping[str, datetime]
    stops: tuple[Line, ...]
    missing: tuple[str, ...]


def _at_hand(settings: Settings, named: Files, keys: Path | None, opened: Sequence[bytes] = ()) -> AtHand:
    """Every list that lies about: in the backups that were opened, beside them, in the folders of the settings, named.

    Raises Invalid for one that no index key of this installation proves.
    """
    if named.erasures is not None and not named.erasures.is_file():
        raise Invalid("There is no such erasure list", "Name the file: erased.txt.", field="erasures")
    field = "keys.index_key_file"
    ring = tuple(Key(*one) for one in read_ring(settings.keys.index_key_file, field=field))
    octets = [*opened, *([named.erasures.read_bytes()] if named.erasures else [])]
    folders = _folders_at_hand(settings, named, keys)
    listed = [erasure_list.read(one, ring) for one in folders] + [erasure_list.read_proved(one, ring) for one in octets]
    missing = [
        f"{folder.name}/{name}"
        for folder in folders
        for name in (erasure_list.LIST, stop_list.LIST)
        if any(folder.glob("*.age")) and not (folder / name).is_file()
    ]
    return AtHand(united(*listed), united_stops(*(stop_list.read(one, ring) for one in folders)), tuple(missing))


def _folders_at_hand(settings: Settings, named: Files, keys: Path | None) -> list[Path]:
    """Where lists may lie: beside whatever was named, and in the folders of the settings."""
    folders = {one.parent for one in (named.file, keys, named.erasures) if one is not None}
    folders |= {one for one in (settings.backup.folder, settings.backup.keys_folder) if one is not None}
    return [folder for folder in sorted(folders) if folder.is_dir()]
