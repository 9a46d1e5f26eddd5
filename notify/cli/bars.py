"""A bar on the error stream for long work, where somebody looks."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

from notify.cli.desk import Desk

Progress = Callable[..., None]  # (done, of), or (done) of PARTS
PARTS = 1000


@contextmanager
def bar(desk: Desk, label: str) -> Iterator[Progress]:
    """Yields what is told how many are done of how many (of PARTS, if it is not said).

    No bar with --json, and none where nobody sits.
    """
    hidden = desk.options.json or not sys.stderr.isatty() or os.environ.get("TERM") == "dumb"
    with click.progressbar(length=PARTS, label=label, file=sys.stderr, hidden=hidden) as shown:

        def told(done: int, of: int = PARTS) -> None:
            further = done * PARTS // max(of, 1) - shown.pos
            if further > 0:
                shown.update(further)

        yield told
