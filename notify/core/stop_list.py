"""The list of stops as a text: who wants nothing more, as keyed hashes, so that no older backup writes to them again.

It lies beside the backups as the erasure list does, and holds what the table of suppressions holds: no address.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import astuple, dataclass, fields, replace
from datetime import datetime

from notify.core.consent import REACH_CHANNELS
from notify.core.errors import Invalid

HEAD = "# Who wants nothing more. Keep this file beside the backups: a restore reads it before anything is sent.\n"
_HASH = re.compile(r"[0-9a-f]{64}")


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


def as_text(stops: Iterable[Stop]) -> str:
    """One JSON array a line, in the order of Stop's fields; aware instants, written in ISO 8601."""
    return HEAD + "".join(f"{json.dumps(astuple(one), default=datetime.isoformat)}\n" for one in united(stops))


def read_octets(octets: bytes) -> tuple[Stop, ...]:
    """The list in a file's octets. Raises Invalid for a line that is none: half a list would lose a stop."""
    lines = octets.decode("utf-8", "replace").splitlines()
    return tuple(_stop(line, n) for n, line in enumerate(lines, 1) if line.strip() and not line.startswith("#"))


def united(*lists: Iterable[Stop]) -> tuple[Stop, ...]:
    """Every stop of any of the lists; ended where one of them says so, at the earliest such instant."""
    whole: dict[tuple[str, str], Stop] = {}
    for one in (stop for stops in lists for stop in stops):
        known = whole.setdefault((one.shop_id, one.id), one)
        if one.ended_at is not None and (known.ended_at is None or one.ended_at < known.ended_at):
            whole[one.shop_id, one.id] = replace(known, ended_at=one.ended_at, ended_how=one.ended_how)
    return tuple(whole[key] for key in sorted(whole))


def _stop(line: str, number: int) -> Stop:
    try:
        values = dict(zip((one.name for one in fields(Stop)), json.loads(line), strict=True))
        for name in ("at", "ended_at"):
            values[name] = None if values[name] is None else datetime.fromisoformat(values[name])
        stop = Stop(**values)
        if _is_sound(stop):
            return stop
    except (TypeError, ValueError, RecursionError):
        pass
    raise Invalid(
        f"Line {number} of the list of stops is damaged", "Use another copy of stopped.txt; without it people who "
        "wanted nothing more would be written to again.", field="stops",
    )  # fmt: skip


def _is_sound(stop: Stop) -> bool:
    codes = (stop.shop_id, stop.id, stop.key_id, stop.reason, stop.ended_how)
    aware = all(at is None or at.tzinfo is not None for at in (stop.at, stop.ended_at)) and stop.at is not None
    return (
        aware and all(isinstance(one, str) and len(one) <= 40 for one in codes)
        and stop.channel in REACH_CHANNELS and _HASH.fullmatch(stop.hash) is not None
    )  # fmt: skip
