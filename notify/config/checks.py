"""Looks at the machine before anything starts: files, folders, clock, library versions."""

from __future__ import annotations

import sqlite3
import stat
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit

from notify.config.backup_checks import look_at_backup
from notify.config.finding import Finding, finding_of
from notify.config.gateway_checks import text_messages
from notify.config.inbox_rules import look_at_inbox, unproved_answers, unread_answers
from notify.config.key_files import read_key, read_password
from notify.config.load import UNREADABLE, all_of, read, read_file
from notify.config.settings import Settings
from notify.config.signing_checks import signing_keys
from notify.core.errors import Misconfigured

BUILT_AT = datetime(2026, 11, 25, tzinfo=UTC)  # no clock can be right that shows an earlier day
KEY_SETTINGS = ("keys.master_key_file", "keys.index_key_file", "web.secret_file")


def check(settings: Settings, *, now: datetime, file: Path | None = None) -> tuple[Finding, ...]:
    """Everything about this machine that is wrong or doubtful; writes nothing that stays.

    `file` is the settings file itself, if it is known. No finding holds a secret or a whole path.
    """
    found = [
        *_clock(now),
        *_data_folder(settings),
        *_keys(settings),
        *_mail(settings),
        *look_at_inbox(settings.inbox),
        *unread_answers(settings),
        *unproved_answers(settings),
        *text_messages(settings),
        *_folders(settings),
        *look_at_backup(settings),
        *signing_keys(settings),
        *_settings_file(settings, file),
        *_versions(settings),
        *_warnings(settings),
    ]
    return tuple(found)


def check_file(file: Path, *, now: datetime) -> tuple[Finding, ...]:
    """What is wrong in the settings file and on this machine, all at once, for `shelfbell check`.

    Raises Misconfigured if there is no such file.
    """
    reading = read(read_file(file), folder=file.resolve().parent)
    wrong = tuple(finding_of(problem) for problem in reading.problems)
    keys = {one.key for one in wrong}
    if UNREADABLE in keys:  # the defaults that stand in for everything would only tell of other faults
        return wrong
    return wrong + tuple(one for one in check(reading.settings, now=now, file=file) if one.key not in keys)


def refuse_unsafe(settings: Settings, *, now: datetime, file: Path | None = None) -> None:
    """Raises Misconfigured with everything that `check` refuses; its `.problems` are in order."""
    problems = [
        Misconfigured(one.what, one.cure, field=one.key) for one in check(settings, now=now, file=file) if one.refuses
    ]
    if problems:
        raise all_of(problems)


def known_wal_race(version: tuple[int, int, int]) -> bool:
    """Whether this SQLite may lose commits when two connections write and checkpoint at a bad moment.

    Versions 3.7.0 to 3.51.2, save the repaired 3.44.6 and 3.50.7 and what follows them in their lines.
    Source: sqlite.org/wal.html#walresetbug.
    """
    if not (3, 7, 0) <= version < (3, 51, 3):
        return False
    repaired = {(3, 44): 6, (3, 50): 7}.get((version[0], version[1]))
    return repaired is None or version[2] < repaired


def _clock(now: datetime) -> Iterator[Finding]:
    if now < BUILT_AT:
        yield Finding(
            "clock",
            f"clock: this machine shows a day before {BUILT_AT:%Y-%m-%d}, the day of this program",
            "Set the clock, or let it be set from the network; forgetting and reminders depend on it.",
        )


def _data_folder(settings: Settings) -> Iterator[Finding]:
    key, folder = "database.data_folder", settings.database.data_folder
    if not folder.is_dir():
        yield Finding(key, f"{key}: there is no such folder", "Run `shelfbell init`, or make it with mode 700.")
    elif not _writable(folder):
        yield Finding(key, f"{key}: the folder cannot be written to", "Give it to the user who runs Shelfbell.")
    elif stat.S_IMODE(folder.stat().st_mode) & 0o077:
        yield Finding(
            key,
            f"{key}: other users of this machine may look into the folder",
            f"Run: chmod 700 {folder.name}",
            refuses=False,
        )


def _writable(folder: Path) -> bool:
    try:
        with tempfile.TemporaryFile(dir=folder) as file:  # permissions alone do not show a full or read-only disk
            return file.write(b"x") == 1
    except OSError:
        return False


def _keys(settings: Settings) -> Iterator[Finding]:
    seen: dict[bytes, str] = {}
    files = (settings.keys.master_key_file, settings.keys.index_key_file, settings.web.secret_file)
    for key, file in zip(KEY_SETTINGS, files, strict=True):
        if file.resolve().is_relative_to(settings.database.data_folder.resolve()):
            yield Finding(
                key,
                f"{key}: the key lies inside the data folder, so that a backup would hold lock and key",
                "Move it to a folder of its own.",
            )
        try:
            secret = read_key(file, field=key)[1]
        except Misconfigured as problem:
            yield finding_of(problem)
            continue
        if secret in seen:
            yield Finding(key, f"{key}: the key is the same as that of {seen[secret]}", "Make a key for each purpose.")
        seen[secret] = key


def _mail(settings: Settings) -> Iterator[Finding]:
    mail = settings.mail
    if mail.transport == "smtp" and mail.username and mail.password_file:
        yield from _try(lambda: read_password(Path(mail.password_file or ""), field="mail.password_file"))
    if mail.transport == "smtp" and mail.ca_file and not mail.ca_file.is_file():
        yield Finding("mail.ca_file", "mail.ca_file: there is no such file", "Write the right path, or leave it empty.")
    if mail.transport == "folder" and mail.folder.exists() and not (mail.folder.is_dir() and _writable(mail.folder)):
        yield Finding("mail.folder", "mail.folder: this is no folder that can be written to", "Name another folder.")


def _folders(settings: Settings) -> Iterator[Finding]:
    if settings.log.file and not _writable(settings.log.file.parent):
        yield Finding("log.file", "log.file: its folder cannot be written to", "Make the folder, or leave it empty.")
    for watch in settings.watch:
        key = f"watch.{watch.name}.folder"
        if watch.folder is not None and not watch.folder.is_dir():
            yield Finding(
                key, f"{key}: there is no such folder at the moment", "Make it, or write the right path.", refuses=False
            )


def _settings_file(settings: Settings, file: Path | None) -> Iterator[Finding]:
    for key, url in (("database.url", settings.database.url), ("database.keys_url", settings.database.keys_url)):
        if file and urlsplit(url).password and stat.S_IMODE(file.stat().st_mode) & 0o077:
            yield Finding(
                key,
                f"{key}: it holds a password and other users may read the settings file",
                f"Run: chmod 600 {file.name}",
            )


def _versions(settings: Settings) -> Iterator[Finding]:
    if settings.database.url.startswith("sqlite") and known_wal_race(sqlite3.sqlite_version_info):
        yield Finding(
            "database.url",
            f"database.url: SQLite {sqlite3.sqlite_version} has a known race between "
            "connections that write and checkpoint",
            "Shelfbell lets one connection checkpoint, which avoids it; SQLite 3.51.3 or newer is better.",
            refuses=False,
        )


def _warnings(settings: Settings) -> Iterator[Finding]:
    if settings.web.plain_lan:
        yield Finding(
            "web.plain_lan",
            "web.plain_lan: passwords can be read by whoever is in the shop's network",
            "Keep guests in another network, or put a proxy with TLS in front.",
            refuses=False,
        )


def _try(reader: Callable[[], object]) -> Iterator[Finding]:
    try:
        reader()
    except Misconfigured as problem:
        yield finding_of(problem)
