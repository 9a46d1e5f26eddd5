"""The one thing that is meant by the first letters of its identifier, as commands name what has no number."""

from __future__ import annotations

from collections.abc import Sequence

from notify.core.errors import Conflict, NotFound


def the_one(found: Sequence[str], beginning: str, *, thing: str, see: str, field: str) -> str:
    """The only identifier found; raises NotFound for none and Conflict for several. `see` lists them all."""
    if not found:
        raise NotFound(f"There is no such {thing}", f"See `{see}`.", field=field)
    if len(found) > 1:
        raise Conflict(f"Several begin with {beginning[:36]!r}", "Write more of its letters.", field=field)
    return found[0]
