"""What one look at a source came to: one report for each file, or for the whole look where there are no files."""

from __future__ import annotations

from dataclasses import dataclass, field

from notify.core.sources import Taken, Trouble


@dataclass(frozen=True, slots=True)
class Report:
    """`what` is the file's name, or what was looked at, fit for a screen. `taken`: its lines, by what became of them.

    `refused`: lines that could not be read at all, with the reason. `trouble` and `problem` (in words, with the cure)
    are set when the source, or this file of it, could not be read. `waiting`: it is no trouble, the file is only not
    whole yet, as `problem` says. Nothing found is no report.
    """

    what: str
    taken: Taken = field(default_factory=Taken)
    refused: tuple[tuple[int, str], ...] = ()
    trouble: Trouble | None = None
    problem: str = ""
    waiting: bool = False
