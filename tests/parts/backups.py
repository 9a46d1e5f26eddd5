"""An installation with folders for its backups, and what somebody does by hand with age, tar and sqlite3."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from notify.cli import restore
from notify.cli.backup import place_of
from notify.cli.only_one import only_one
from notify.config.load import load
from notify.flows import backup
from notify.flows.backup import Made
from notify.flows.restore import After
from tests.parts.clock import FakeClock
from tests.parts.house import House, make_house
from tests.parts.missing import missing

# What the after-care of a restore writes (flows/restore.py); all else must be as it was in the backup.
AFTER_CARE = frozenset({"job_runs", "shown_stamps"})


@dataclass
class Kept:
    """A house that is backed up. `made` are its backups, the oldest first."""

    house: House
    home: Path

    @property
    def config(self) -> Path:
        """Its settings file."""
        return self.home / "house" / "config.toml"

    @property
    def folder(self) -> Path:
        """Where its backups go."""
        return self.home / "safe"

    @property
    def keys_folder(self) -> Path:
        """Where the backups of people's keys go."""
        return self.home / "apart"

    def back_up(self, **more: Any) -> Made:
        """One backup."""
        return backup.make(self.house.ctx, place_of(self.house.services.settings), **more)

    def empty_copy(self, name: str) -> Path:
        """Another machine: the settings and the keys from their safe copy, and no data."""
        other = self.home / name
        (other / "data").mkdir(parents=True, mode=0o700)
        shutil.copytree(self.config.parent / "keys", other / "keys")
        text = self.config.read_text("utf-8")
        main = self.house.services.settings.database.url
        (other / "config.toml").write_text(text.replace(main, f"sqlite:///{other / 'data' / 'shelfbell.db'}"), "utf-8")
        return other / "config.toml"

    def restore(self, config: Path, made: Made, **more: Any) -> After:
        """As `shelfbell restore FILE --keys FILE`."""
        settings = load(config)
        named = restore.Files(self.folder / made.file, more.pop("keys", self.keys_folder / made.keys_file), **more)
        with only_one(settings.database.data_folder):
            return restore.bring_back(settings, named, clock=self.house.clock)


def make_kept(folder: Path, url: str, clock: FakeClock) -> Kept:
    """A house with two folders for backups; the caller closes `house.services`."""
    house = make_house(folder, url, clock=clock)
    kept = Kept(house, folder)
    for one in (kept.folder, kept.keys_folder):
        one.mkdir(mode=0o700)
    text = kept.config.read_text("utf-8")
    for name, where in (("folder", kept.folder), ("keys_folder", kept.keys_folder)):
        before, _, after = text.partition("\n[backup]\n")
        text = f"{before}\n[backup]\n" + after.replace(f'#{name} = ""', f'{name} = "{where}"', 1)
    kept.config.write_text(text, "utf-8")
    settings = load(kept.config)
    assert settings.backup.folder == kept.folder and settings.backup.keys_folder == kept.keys_folder
    house.services = replace(house.services, settings=settings)  # as if it had been opened with them
    return kept


def age(key: Path, file: Path, into: Path) -> Path:
    """Debian's age and tar, as somebody opens a backup without this program."""
    if not shutil.which("age"):
        missing("Debian's age", "apt-get install age")
    into.mkdir()
    locked = subprocess.run(["age", "--decrypt", "-i", str(key), str(file)], capture_output=True, check=True)
    subprocess.run(["tar", "--extract", "--directory", str(into)], input=locked.stdout, check=True)
    return into


def dump(file: Path, *, without: Iterable[str] = ()) -> str:
    """Every row of every table, by Python's own sqlite3, in the order of their keys."""
    lines = []
    with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True)) as connection:
        tables = [row[0] for row in connection.execute("select name from sqlite_master where type='table' order by 1")]
        for name in tables:
            if name not in without and not name.startswith("sqlite_"):
                lines += [f"{name}{row!r}" for row in sorted(map(repr, connection.execute(f'select * from "{name}"')))]
    return "\n".join(lines)
