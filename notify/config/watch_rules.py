"""The rules about sources: what each kind of them needs, and what it cannot use."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any
from urllib.parse import urlsplit

from notify.config.table import NEEDED_COLUMNS
from notify.core.errors import Misconfigured

# What each kind needs, and what only it can use.
_NEEDS = {"folder": ("folder",), "table": ("url", "query"), "webhook": ("secret_file",)}
_OWN = {
    "folder": ("folder", "sheet"),
    "table": ("url", "password_file", "query", "changed"),
    "webhook": ("secret_file", "old_secret_file"),
}
_SELECT = re.compile(r"(select|with)\b[^;]*;?\s*", re.IGNORECASE | re.DOTALL)


def broken_watch_rules(
    values: Mapping[str, Any], names: Sequence[str], *, unread: frozenset[str]
) -> Iterator[Misconfigured]:
    """One error for each rule that a source breaks; settings that could not be read are left out."""
    for name in names:
        own = {key.rpartition(".")[2]: value for key, value in values.items() if key.startswith(f"watch.{name}.")}
        for problem in _of_one(f"watch.{name}", own):
            if problem.field not in unread and f"watch.{name}.kind" not in unread:
                yield problem


def _of_one(section: str, own: Mapping[str, Any]) -> Iterator[Misconfigured]:
    kind, about = own["kind"], own["about"]
    for key in _NEEDS[kind]:
        if not own[key]:
            yield _wrong(section, key, f"is missing, and a {kind} needs it", f"Write it, as {_SHOWN}.")
    for other, keys in _OWN.items():
        for key in keys if other != kind else ():
            if own[key]:
                yield _wrong(section, key, f"is of no use to a {kind}", f"Take it out, or set {section}.kind to it.")
    missing = [word for word in NEEDED_COLUMNS[about] if word not in dict(own["columns"] or ())]
    if own["columns"] is not None and missing:
        yield _wrong(section, "columns", f"says nothing of {missing[0]}", f"Name what it is called there, as {_SHOWN}.")
    if about == "tickets" and not own["phase_words"]:
        yield _wrong(section, "phase_words", "is missing", f"Say what its words mean, as {_SHOWN}.")
    yield from _of_table(section, own)


def _of_table(section: str, own: Mapping[str, Any]) -> Iterator[Misconfigured]:
    if own["query"] and not _SELECT.fullmatch(own["query"]):
        yield _wrong(section, "query", "is no single SELECT", "Write one SELECT; Shelfbell only reads there.")
    if own["url"] and urlsplit(own["url"]).password:
        yield _wrong(section, "url", "holds a password", f"Put it into a file and name it in {section}.password_file.")


def _wrong(section: str, key: str, what: str, cure: str) -> Misconfigured:
    return Misconfigured(f"{section}.{key} {what}", cure, field=f"{section}.{key}")


_SHOWN = "config.example.toml shows"
