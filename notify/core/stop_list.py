"""The list of stops as a text: who wants nothing more, so that no older backup writes to them or uses their data again.

It lies beside the backups as the erasure list does. Of a stop it holds what the table of suppressions holds, a keyed
hash and no address; of a restriction or objection that was granted, identifiers that mean nothing elsewhere.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import astuple, dataclass, fields, replace
from datetime import datetime
from typing import TypeAlias

from notify.core.consent import REACH_CHANNELS
from notify.core.errors import Invalid

HEAD = "# Who wants nothing more. Keep this file beside the backups: a restore reads it before anything is sent.\n"
_HASH = re.compile(r"[0-9a-f]{64}")
_INSTANTS = frozenset({"received_at", "at", "ended_at"})


@dataclass(frozen=True, slots=True, order=True)
class Stop:
    """One suppression: `hash` under the index key `key_id`, by what way it was said and ended (codes), and when."""

    shop_id: str
    id: str
    channel: str
    hash: str
    key_id: str
    reason: str
    at: datetime
    ended_at: datetime | None
    ended_how: str


@dataclass(frozen=True, slots=True, order=True)
class Granted:
    """A restriction or objection that was granted `at`; `ended_at`: since when their data are used again."""

    shop_id: str
    id: str
    person_id: str
    visit_id: str
    kind: str
    how: str
    received_at: datetime
    at: datetime
    ended_at: datetime | None
    ended_how: str = ""


Line: TypeAlias = Stop | Granted
_SHAPES: tuple[type[Stop] | type[Granted], ...] = (Stop, Granted)  # told apart by how many fields they have
_KINDS = frozenset({"restriction", "objection"})


def as_text(stops: Iterable[Line]) -> str:
    """One JSON array a line, in the order of their fields; aware instants, written in ISO 8601."""
    return HEAD + "".join(f"{json.dumps(astuple(one), default=datetime.isoformat)}\n" for one in united(stops))


def read_octets(octets: bytes) -> tuple[Line, ...]:
    """The list in a file's octets. Raises Invalid for a line that is none: half a list would lose a stop."""
    lines = octets.decode("utf-8", "replace").splitlines()
    return tuple(_stop(line, n) for n, line in enumerate(lines, 1) if line.strip() and not line.startswith("#"))


def united(*lists: Iterable[Line]) -> tuple[Line, ...]:
    """Every stop of any of the lists; ended where one of them says so, at the earliest such instant."""
    whole: dict[tuple[str, str], Line] = {}
    for one in (stop for stops in lists for stop in stops):
        known = whole.setdefault((one.shop_id, one.id), one)
        if one.ended_at is not None and (known.ended_at is None or one.ended_at < known.ended_at):
            whole[one.shop_id, one.id] = replace(known, ended_at=one.ended_at, ended_how=one.ended_how)
    return tuple(whole[key] for key in sorted(whole))


def _stop(line: str, number: int) -> Line:
    try:
        told = json.loads(line)
        shape = next(one for one in _SHAPES if len(fields(one)) == len(told))
        values = dict(zip((one.name for one in fields(shape)), told, strict=True))
        for name in _INSTANTS & values.keys():
            values[name] = None if values[name] is None else datetime.fromisoformat(values[name])
        stop = shape(**values)
        if _is_sound(stop):
            return stop
    except (TypeError, ValueError, RecursionError, StopIteration):
        pass
    raise Invalid(
        f"Line {number} of the list of stops is damaged", "Use another copy of stopped.txt; without it people who "
        "wanted nothing more would be written to again.", field="stops",
    )  # fmt: skip


def _is_sound(stop: Line) -> bool:
    values = {one.name: getattr(stop, one.name) for one in fields(stop)}
    instants = [values.pop(name) for name in _INSTANTS & values.keys()]
    aware = all(at is None or at.tzinfo is not None for at in instants) and stop.at is not None
    hashed = values.pop("hash", "0" * 64)
    return (
        aware and all(isinstance(one, str) and len(one) <= 40 for one in values.values())
        and (_HASH.fullmatch(hashed) is not None and stop.channel in REACH_CHANNELS
             if isinstance(stop, Stop) else stop.kind in _KINDS and stop.received_at is not None)
    )  # fmt: skip
