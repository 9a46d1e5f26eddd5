"""Rules about where backups and their key may lie: lock and key never together, and neither beside the data."""

from __future__ import annotations

from pathlib import Path

from pyrage import x25519  # type: ignore[import-untyped]

from notify.config import kinds as k
from notify.config.gateway_rules import Rule, Values

_FOLDERS = ("backup.folder", "backup.keys_folder")


def _recipient(value: object) -> str:
    text = k.TEXT.read(value)
    try:
        return str(x25519.Recipient.from_str(text)) if text else ""
    except Exception:  # the library's own error has no stable place
        raise ValueError from None


RECIPIENT = k.Kind("recipient", 'Write the public half of an age key in quotes, as "age1...".', _recipient)


def _inside(values: Values, inner: str, outer: str) -> bool:
    lies, folder = values[inner], values[outer]
    if not isinstance(lies, Path) or not isinstance(folder, Path):
        return False
    return lies.resolve().is_relative_to(folder.resolve())  # a link, or "..", makes no folder of its own


def _key_beside(values: Values) -> bool:
    files = ("backup.key_file", "keys.master_key_file", "keys.index_key_file", "web.secret_file")
    return any(_inside(values, file, folder) for file in files for folder in _FOLDERS)


BACKUP_RULES: tuple[Rule, ...] = (
    Rule(
        ("backup.folder", "database.data_folder"),
        lambda v: _inside(v, "backup.folder", "database.data_folder"),
        "backup.folder lies inside the data folder, and would be lost with it",
        "Name a folder on another disk or machine.",
    ),
    Rule(
        ("backup.keys_folder", "database.data_folder"),
        lambda v: _inside(v, "backup.keys_folder", "database.data_folder"),
        "backup.keys_folder lies inside the data folder, and would be lost with it",
        "Name a folder on another disk or machine.",
    ),
    Rule(
        ("backup.keys_folder", "backup.folder", "database.keys_url"),
        lambda v: bool(v["backup.folder"]) and not v["backup.keys_folder"],
        "backup.keys_folder is empty although backups are made, which nobody can read without people's keys",
        "Name a folder apart from backup.folder.",
    ),
    Rule(
        ("backup.folder", "backup.keys_folder"),
        lambda v: not v["backup.folder"] and bool(v["backup.keys_folder"]),
        "backup.folder is empty although backup.keys_folder is named",
        "Name the folder for backups, or leave both empty.",
    ),
    Rule(
        ("backup.keys_folder", "backup.folder"),
        lambda v: _inside(v, *_FOLDERS) or _inside(v, *reversed(_FOLDERS)),
        "backup.keys_folder and backup.folder lie in each other, so that one copy holds lock and key",
        "Name two folders apart from each other.",
    ),
    Rule(
        ("backup.key_file", "backup.folder", "backup.keys_folder", "keys.master_key_file"),
        _key_beside,
        "a key lies in a folder of backups, so that one copy holds lock and key",
        "Keep the keys in a folder of their own.",
    ),
    Rule(
        ("backup.key_file", "database.data_folder"),
        lambda v: _inside(v, "backup.key_file", "database.data_folder"),
        "backup.key_file lies inside the data folder",
        "Keep the keys in a folder of their own.",
    ),
    Rule(
        ("backup.key_file", "backup.folder", "backup.recipient"),
        lambda v: bool(v["backup.folder"]) and not v["backup.key_file"] and not v["backup.recipient"],
        "backup.key_file is empty, so that backups could not be locked",
        "Name the file with the key, or write its public half in backup.recipient.",
    ),
)
