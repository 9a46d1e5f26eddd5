"""The list of stops as a text: who wants nothing more, so that no older backup writes to them or uses their data again.

It lies beside the backups as the erasure list does. Of a stop it holds what the table of suppressions holds, a keyed
hash and no address; of a restriction or objection that was granted, identifiers that mean nothing elsewhere.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, astuple, dataclass, fields
from datetime import datetime
from typing import TypeAlias

from notify.core.consent import REACH_CHANNELS
from notify.core.errors import Invalid

HEAD = "# Who wants nothing more. Keep this file beside the backups: a restore reads it before anything is sent.\n"
_HASH = re.compile(r"[0-9a-f]{64}")
_INSTANTS = ("received_at", "at", "ended_at")  # of either kind of line; only the last may be missing


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


Line: TypeAlias = Stop | Granted
_SHAPES: Mapping[str, type[Stop] | type[Granted]] = {"stop": Stop, "granted": Granted}  # by the first value of a line
_KINDS = ("restriction", "objection")


def as_text(stops: Iterable[Line]) -> str:
    """One JSON array a line: which kind, then its fields in order; aware instants, written in ISO 8601."""
    return HEAD + "".join(f"{_line(one)}\n" for one in united(stops))


def _line(one: Line) -> str:
    kind = next(name for name, shape in _SHAPES.items() if isinstance(one, shape))
    return json.dumps([kind, *astuple(one)], default=datetime.isoformat)


def read_octets(octets: bytes) -> tuple[Line, ...]:
    """The list in a file's octets. Raises Invalid for a line that is none: half a list would lose a stop."""
    lines = octets.decode("utf-8", "replace").splitlines()
    return tuple(_read(line, n) for n, line in enumerate(lines, 1) if line.strip() and not line.startswith("#"))


def united(*lists: Iterable[Line]) -> tuple[Line, ...]:
    """Every line of any of the lists, by its identifier; as the one has it that says it ended, the earliest of them."""
    whole: dict[tuple[str, str], Line] = {}
    for one in (stop for stops in lists for stop in stops):
        known = whole.setdefault((one.shop_id, one.id), one)
        if one.ended_at is not None and (known.ended_at is None or one.ended_at < known.ended_at):
            whole[one.shop_id, one.id] = one
    return tuple(whole[key] for key in sorted(whole))


def _read(line: str, number: int) -> Line:
    try:
        kind, *told = json.loads(line)
        values = dict(zip((one.name for one in fields(_SHAPES[kind])), told, strict=True))
        for name in _INSTANTS:
            if values.get(name) is not None:
                values[name] = datetime.fromisoformat(values[name])
        one = _SHAPES[kind](**values)
        if _is_sound(one):
            return one
    except (TypeError, ValueError, KeyError, RecursionError):
        pass
    raise Invalid(
        f"Line {number} of the list of stops is damaged", "Use another copy of stopped.txt; without it people who "
        "wanted nothing more would be written to again.", field="stops",
    )  # fmt: skip


def _is_sound(one: Line) -> bool:
    """Whether its codes are short texts that are known, and its instants aware."""
    values = asdict(one)
    *begun, ended = [values.pop(name) for name in _INSTANTS if name in values]
    aware = all(at is not None and at.tzinfo for at in begun) and (ended is None or ended.tzinfo)
    if isinstance(one, Stop):
        known = _HASH.fullmatch(values.pop("hash")) and one.channel in REACH_CHANNELS
    else:
        known = one.kind in _KINDS
    return bool(aware and known) and all(isinstance(code, str) and len(code) <= 40 for code in values.values())
