"""Reads the settings file: every problem at once, each with its key and its cure."""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from notify.config.rules import broken_rules
from notify.config.settings import (
    Backup,
    Bell,
    Database,
    Forget,
    Inbox,
    Invites,
    Keys,
    Limits,
    Listeners,
    Log,
    Mail,
    Paper,
    Settings,
    Sms,
    SmsHook,
    SmsHttp,
    SmsModem,
    Watch,
    Web,
)
from notify.config.table import FORBIDDEN, NO_DEFAULT, SETTINGS, WATCH, Setting
from notify.config.watch_rules import broken_watch_rules
from notify.core.errors import Invalid, Misconfigured

VARIABLE = "SHELFBELL_CONFIG"
LARGEST = 1_000_000  # octets of a settings file
UNREADABLE = "file"  # stands for a key in the problem of a file that is no TOML
_SECTIONS: dict[str, Callable[..., Any]] = {
    "keys": Keys,
    "web": Web,
    "sms": Sms,
    "sms.http": SmsHttp,
    "sms.hook": SmsHook,
    "sms.modem": SmsModem,
    "invite": Invites,
    "inbox": Inbox,
    "listeners": Listeners,
    "bell": Bell,
    "limits": Limits,
    "forget": Forget,
    "backup": Backup,
    "paper": Paper,
    "log": Log,
}
_WATCH_NAME = re.compile(r"[a-z][a-z0-9_-]{0,39}")
_TABLES = ("columns", "phase_words", "part_words")  # these settings of a source are small tables themselves
_OTHER_TABLES = frozenset(one.key for one in SETTINGS if one.kind.name == "table" and not one.key.startswith(WATCH))


@dataclass(frozen=True, slots=True)
class Reading:
    """The settings as far as they could be read (the default stands in for the rest), and every problem."""

    settings: Settings
    problems: tuple[Misconfigured, ...]


def find(environment: Mapping[str, str], *, here: Path) -> Path:
    """The settings file: what SHELFBELL_CONFIG names, else config.toml in the folder `here`."""
    named = environment.get(VARIABLE, "").strip()
    return here / named if named else here / "config.toml"


def load(file: Path) -> Settings:
    """The settings of a file. Raises Misconfigured, whose `.problems` are all that is wrong with it."""
    reading = read(read_file(file), folder=file.resolve().parent)
    if reading.problems:
        raise all_of(reading.problems)
    return reading.settings


def read_file(file: Path) -> str:
    """The text of a settings file. Raises Misconfigured if there is none or it is no text."""
    try:
        with file.open("rb") as opened:
            found = opened.read(LARGEST + 1)
        if len(found) > LARGEST:  # a device or a log named by mistake would be read for ever
            raise OSError
        return found.decode("utf-8").replace("\r\n", "\n")
    except FileNotFoundError:
        raise Misconfigured(
            f"There is no settings file {file.name}",
            f"Run `shelfbell init`, or name the file in the environment variable {VARIABLE}.",
            field=VARIABLE,
        ) from None
    except (OSError, UnicodeDecodeError):
        raise Misconfigured(
            f"The settings file {file.name} cannot be read",
            "It must be a text file in UTF-8 that the user who runs Shelfbell may read.",
            field=VARIABLE,
        ) from None


def all_of(problems: Sequence[Misconfigured]) -> Misconfigured:
    """One error that carries them all."""
    if len(problems) == 1:
        return problems[0]
    whole = Misconfigured(f"{len(problems)} settings need correcting", " ".join(str(one) for one in problems))
    whole.problems = tuple(problems)
    return whole


def read(text: str, *, folder: Path) -> Reading:
    """Read TOML; relative paths begin at `folder`. Never raises for what the text holds."""
    try:
        given = _flat(tomllib.loads(text))
        problems: list[Misconfigured] = []
    except tomllib.TOMLDecodeError as error:
        where = re.search(r"at (line \d+|end of document)", str(error))
        given, problems = (
            {},
            [
                Misconfigured(
                    f"The settings file is no TOML {where.group(0) if where else ''}".rstrip(),
                    "Look for a missing quote or bracket there.",
                    field=UNREADABLE,
                )
            ],
        )
    names = sorted({key.split(".")[1] for key in given if key.startswith("watch.") and key.count(".") >= 2})
    settings = [*_settings_for(names)]
    problems += _unknown(given, settings)
    values, wrong = _values(given, settings)
    problems += wrong
    for setting in settings:
        if isinstance(values[setting.key], Path):
            values[setting.key] = _absolute(folder, values[setting.key])
    unread = frozenset(one.field for one in wrong)
    problems += broken_rules(values, unread=unread)
    problems += broken_watch_rules(values, names, unread=unread)
    return Reading(_build(values, names, folder), tuple(problems))


def _absolute(folder: Path, path: Path) -> Path:
    return Path(os.path.normpath(folder / path))


def _flat(table: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for name, value in table.items():
        key = before + name
        is_table = key in _OTHER_TABLES or (key.startswith("watch.") and name in _TABLES)
        if isinstance(value, dict) and not is_table:
            flat |= _flat(value, key + ".") or {key: value}
        else:
            flat[key] = value
    return flat


def _settings_for(names: Sequence[str]) -> Iterator[Setting]:
    for setting in SETTINGS:
        if not setting.key.startswith(WATCH):
            yield setting
            continue
        for name in names:
            key = f"watch.{name}.{setting.key[len(WATCH) :]}"
            yield Setting(key, setting.kind, setting.default, setting.help)


def _unknown(given: Mapping[str, Any], settings: Sequence[Setting]) -> Iterator[Misconfigured]:
    known = [setting.key for setting in settings]
    sections = {key.rpartition(".")[0] for key in known}
    for key in given:
        if key in FORBIDDEN:
            yield Misconfigured(f"{key} must not stand in the settings file", FORBIDDEN[key], field=key)
        elif key.startswith("watch.") and not _WATCH_NAME.fullmatch(key.split(".")[1]):
            yield Misconfigured(
                f"{key}: the name of a source has other signs than a-z, 0-9, - and _",
                "Give it a short name in small letters.",
                field=key,
            )
        elif key not in known and not (key in sections and given[key] == {}):
            near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
            advice = f"Did you mean {near[0]}?" if near else "Every setting stands in config.example.toml."
            yield Misconfigured(f"{key} is not a setting", advice, field=key)


def _values(given: Mapping[str, Any], settings: Sequence[Setting]) -> tuple[dict[str, Any], list[Misconfigured]]:
    values: dict[str, Any] = {}
    wrong: list[Misconfigured] = []
    for setting in settings:
        raw = given.get(setting.key, setting.default)
        try:
            values[setting.key] = _needed(setting, None if raw is NO_DEFAULT else setting.kind.read(raw))
        except (ValueError, Invalid):
            missing = setting.key not in given
            what = "is missing" if missing else "has a value that cannot be used"
            wrong.append(Misconfigured(f"{setting.key} {what}", setting.kind.cure, field=setting.key))
            values[setting.key] = None if setting.default is NO_DEFAULT else setting.kind.read(setting.default)
    return values, wrong


def _needed(setting: Setting, value: Any) -> Any:
    if value is None and setting.default is NO_DEFAULT:
        raise ValueError
    return value


def _build(values: Mapping[str, Any], names: Sequence[str], folder: Path) -> Settings:
    parts = {name.replace(".", "_"): make(**_section(values, name)) for name, make in _SECTIONS.items()}
    data = values["database.data_folder"]
    database = Database(
        data_folder=data,
        url=values["database.url"] or f"sqlite:///{data / 'shelfbell.db'}",
        keys_url=values["database.keys_url"] or f"sqlite:///{data / 'keys.db'}",
    )
    mail = _section(values, "mail")
    mail["folder"] = mail["folder"] or data / "mail"
    # A source without its needed settings has been reported; there is nothing to watch then.
    watch = tuple(
        Watch(name=name, **_section(values, f"watch.{name}"))
        for name in names
        if values[f"watch.{name}.columns"] is not None
    )
    return Settings(database=database, mail=Mail(**mail), watch=watch, **parts)


def _section(values: Mapping[str, Any], section: str) -> dict[str, Any]:
    return {key[len(section) + 1 :]: value for key, value in values.items() if key.rpartition(".")[0] == section}
