"""Writes a first installation: settings, keys and the data folder, for its owner's eyes only."""

from __future__ import annotations

import json
import os
import textwrap
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from notify.config.backup_key import new_identity
from notify.config.key_files import KEY_BYTES, key_line
from notify.config.load import all_of, read
from notify.config.table import SETTINGS, WATCH
from notify.core.errors import Conflict, Misconfigured

CONFIG = "config.toml"
_KEY_FILES = ("keys/master.key", "keys/index.key", "keys/web.key")
_BACKUP_KEY = "keys/backup.key"
_HEAD = """\
# The settings of this installation. Where # stands right before a name, the default holds: to change it, take
# the # away and write another value.
# Opening hours, prices, people and texts are not here: they are set on the shop's pages or by command.
# After a change run: shelfbell check
"""


def write_first_installation(
    folder: Path,
    *,
    public_url: str,
    random_bytes: Callable[[int], bytes],
    changed: Mapping[str, Any] | None = None,
    backup_key: Callable[[], str] = new_identity,
) -> Path:
    """Write config.toml, four key files and the data folder below `folder`; the path of config.toml is returned.

    `public_url` is the address that customers reach, or ""; https means one proxy with TLS in front.
    `random_bytes(n)` gives n bytes fit for keys, `backup_key()` the text of an age identity; `changed` are settings
    that differ from their defaults.
    Files get mode 0600, folders 0700, whatever the umask.
    Raises Conflict, naming it, if one of the files is there: nothing is written then; Misconfigured
    for an impossible address or a folder that cannot be written to.
    """
    text = first_config(public_url, changed)
    problems = read(text, folder=folder).problems
    if problems:
        raise all_of(problems)
    for name in (*_KEY_FILES, _BACKUP_KEY, CONFIG):
        if (folder / name).exists():
            raise _taken(name)
    contents = {name: key_line(random_bytes(KEY_BYTES)) for name in _KEY_FILES}
    contents |= {_BACKUP_KEY: backup_key(), CONFIG: text}
    try:
        for part in (folder, folder / "keys", folder / "data"):
            part.mkdir(mode=0o700, parents=True, exist_ok=True)
        _write_all(folder, contents)
    except OSError as error:
        raise Misconfigured(
            "The folder for the first installation cannot be written to",
            f"Choose another one, or make room: {error.strerror}.",
            field="folder",
        ) from None
    return folder / CONFIG


def first_config(public_url: str, others: Mapping[str, Any] | None = None) -> str:
    """A settings file with every setting and its help; only what differs from its default is switched on."""
    changed: dict[str, Any] = {"web.public_url": public_url} if public_url else {}
    changed |= others or {}
    if public_url.startswith("https://"):
        changed |= {"web.behind_tls": True, "web.trusted_proxies": 1}
    return _HEAD + _as_toml(changed) + "\n# A watched folder: config.example.toml shows one.\n"


def _as_toml(changed: Mapping[str, Any]) -> str:
    lines: list[str] = []
    for setting in SETTINGS:
        if setting.key.startswith(WATCH):
            continue
        section, _, name = setting.key.rpartition(".")
        if f"[{section}]" not in lines:
            lines += ["", f"[{section}]"]
        sentence = setting.help[0].upper() + setting.help[1:] + "."
        lines += textwrap.wrap(sentence, 100, initial_indent="# ", subsequent_indent="# ")
        value = json.dumps(changed.get(setting.key, setting.default), ensure_ascii=False)
        lines.append(f"{'' if setting.key in changed else '#'}{name} = {value}")
    return "\n".join(lines) + "\n"


def _write_all(folder: Path, contents: Mapping[str, str]) -> None:
    written: list[Path] = []
    try:
        for name, text in contents.items():
            _write_new(folder / name, text)
            written.append(folder / name)
    except BaseException:
        for file in written:  # half an installation would look like a whole one to the next try
            file.unlink()
        raise


def _write_new(file: Path, text: str) -> None:
    try:
        number = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise _taken(file.name) from None
    with open(number, "w", encoding="utf-8") as out:
        out.write(text)
        out.flush()
        os.fsync(number)


def _taken(name: str) -> Conflict:
    return Conflict(
        f"{name} is already there",
        "Nothing was written. Choose an empty folder, or move it away "
        "if it is really not needed: without its keys an installation cannot be read.",
        field=name,
    )
