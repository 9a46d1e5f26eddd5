"""What a look at the machine finds."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.errors import Misconfigured


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was found. `refuses`: nothing may start before it is put right; else it is a warning."""

    key: str
    what: str
    cure: str
    refuses: bool = True


def finding_of(problem: Misconfigured) -> Finding:
    """The finding that a problem with a setting is."""
    return Finding(problem.field, problem.what, problem.advice)
