"""Looks at the keys by which sources sign their calls."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from notify.config.finding import Finding, finding_of
from notify.config.key_files import read_signing_key
from notify.config.settings import Settings, Watch
from notify.core.errors import Misconfigured


def signing_keys(settings: Settings) -> Iterator[Finding]:
    """A key that is missing stops only its source; one that others can read, or that is none, stops the service."""
    for watch in settings.watch:
        if watch.kind == "webhook":
            yield from _of_one(settings, watch)
    yield from _shared(settings)


def _shared(settings: Settings) -> Iterator[Finding]:
    """A signature does not say for which source it was made, so a call could be sent on to the other one."""
    first: dict[bytes, str] = {}
    for watch in settings.watch:
        for field, file in _files(watch) if watch.kind == "webhook" else ():
            try:
                other = first.setdefault(read_signing_key(file), watch.name)
            except Misconfigured:  # told for that file
                continue
            if other != watch.name:
                yield Finding(
                    field, f"{field}: this is the key of {other} too, so who may call one can call both",
                    f"Give {watch.name} a file of its own, and run: shelfbell source key {watch.name}",
                )  # fmt: skip


def _of_one(settings: Settings, watch: Watch) -> Iterator[Finding]:
    key = f"watch.{watch.name}.secret_file"
    if watch.secret_file is not None and not watch.secret_file.exists():
        yield Finding(
            key, f"{key}: there is no key yet, so no call of {watch.name} is taken",
            f"Run: shelfbell source key {watch.name}", refuses=False,
        )  # fmt: skip
    for field, file in _files(watch):
        yield from _of_file(settings, field, file)
    if not settings.web.public_url:
        yield Finding(
            "web.public_url", f"web.public_url is empty; {watch.name} reaches /hooks/watch/{watch.name} only where it "
            "reaches the pages of the counter", "Nothing, if both are in the shop's own network.", refuses=False,
        )  # fmt: skip


def _files(watch: Watch) -> tuple[tuple[str, Path], ...]:
    """The key files of a source that are there, each with its setting."""
    named = {"secret_file": watch.secret_file, "old_secret_file": watch.old_secret_file}
    return tuple((f"watch.{watch.name}.{key}", file) for key, file in named.items() if file and file.exists())


def _of_file(settings: Settings, field: str, file: Path) -> Iterator[Finding]:
    if file.resolve().is_relative_to(settings.database.data_folder.resolve()):
        yield Finding(field, f"{field}: the key lies inside the data folder, and so in every backup",
                      "Move it to a folder of its own.", refuses=False)  # fmt: skip
    try:
        read_signing_key(file, field=field)
    except Misconfigured as problem:
        yield finding_of(problem)
