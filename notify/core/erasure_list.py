"""The erasure list as a text: whose keys were destroyed, and when; identifiers that mean nothing to anybody else.

It lies beside the backups and in them, so that no copy from before brings a forgotten person back.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from notify.core.errors import Invalid

HEAD = "# Whose data were erased. Keep this file beside the backups: a restore reads it before anything is sent.\n"


def as_text(listed: Mapping[str, datetime]) -> str:
    """One line each, "identifier instant", in order of the identifier; aware instants, written in ISO 8601."""
    return HEAD + "".join(f"{who} {at.isoformat()}\n" for who, at in sorted(listed.items()))


def read_octets(octets: bytes) -> dict[str, datetime]:
    """The list in a file's octets. Raises Invalid for a line that is none: half a list would bring somebody back."""
    found: dict[str, datetime] = {}
    for number, line in enumerate(octets.decode("utf-8", "replace").splitlines(), 1):
        if line.strip() and not line.startswith("#"):
            found |= dict([_entry(line, number)])
    return found


def united(*lists: Mapping[str, datetime]) -> dict[str, datetime]:
    """Everybody who stands on any of the lists, with the earliest instant."""
    whole: dict[str, datetime] = {}
    for one in lists:
        for who, at in one.items():
            whole[who] = min(at, whole.get(who, at))
    return whole


def _entry(line: str, number: int) -> tuple[str, datetime]:
    who, _, when = line.strip().partition(" ")
    try:
        at = datetime.fromisoformat(when)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None or not who:
        raise Invalid(
            f"Line {number} of the erasure list is damaged", "Use another copy of the list; without it people whom you "
            "have forgotten would come back.", field="erasures",
        )  # fmt: skip
    return who, at
