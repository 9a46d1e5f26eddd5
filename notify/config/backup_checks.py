"""Looks at the folders and the key of backups before anything starts."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

from notify.config.backup_key import read_identity
from notify.config.finding import Finding, finding_of
from notify.config.settings import Settings
from notify.core.errors import Misconfigured


def look_at_backup(settings: Settings) -> Iterator[Finding]:
    """What is wrong with them. A folder that is away just now is a warning: the counter must open all the same."""
    backup = settings.backup
    if backup.folder is None:
        yield Finding(
            "backup.folder", "backup.folder: no backup is made", "Name a folder on another disk or machine.",
            refuses=False,
        )  # fmt: skip
        return
    for key, folder in (("backup.folder", backup.folder), ("backup.keys_folder", backup.keys_folder)):
        if folder is not None:
            yield from _folder(key, folder)
    if not backup.recipient and backup.key_file is not None:
        try:
            read_identity(backup.key_file)
        except Misconfigured as problem:
            yield finding_of(problem)


def _folder(key: str, folder: Path) -> Iterator[Finding]:
    if not folder.is_dir():
        yield Finding(
            key, f"{key}: there is no such folder at the moment", "Make it with mode 700, or is its disk not here?",
            refuses=False,
        )  # fmt: skip
    elif not os.access(folder, os.W_OK):
        yield Finding(key, f"{key}: the folder cannot be written to", "Give it to whoever runs Shelfbell.",
                      refuses=False)  # fmt: skip
    elif stat.S_IMODE(folder.stat().st_mode) & 0o077:
        yield Finding(
            key, f"{key}: other users of this machine may look into the folder", f"Run: chmod 700 {folder.name}"
        )
