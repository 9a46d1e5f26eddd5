"""Takes one long batch of a source in turns, as a room of `watch/` does; as a process of its own it can be killed.

`python -m tests.parts.taking_source CONFIG` writes a line to standard output before and after each turn.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

from notify.config.load import load
from notify.core.actors import Actor
from notify.core.sources import Batch, Change, Taken
from notify.flows.context import Context
from notify.flows.take_changes import take
from notify.wiring import build

ROWS, TURN = 90, 15
WORDS = {"on the bench": "on_bench"}


def changes() -> list[Change]:
    """Of three rows two take a device in and bench it; the third speaks of a ticket that nobody knows."""
    return [
        Change(n, {"reference": f"J-{n}", "phase": "on the bench"} | ({"device": f"Radio {n}"} if n % 3 else {}))
        for n in range(1, ROWS + 1)
    ]


def take_turns(
    ctx: Context, shop_id: str, rows: list[Change], *, size: int = TURN, digest: str = "d" * 64,
    between: Callable[[str], None] = lambda point: None,
) -> Taken:  # fmt: skip
    """The whole batch, a turn after the other; `between` is told before and after each."""
    batch, done = Batch("bench", "tickets", "UTC", WORDS, {}, digest), Taken()
    for at in range(0, len(rows), size):
        between("before")
        done += take(ctx, Actor(shop_id, "source", "bench"), batch, rows[at : at + size],
                     is_last=at + size >= len(rows), before=done)  # fmt: skip
        between("after")
    return done


def _say(point: str) -> None:
    print(point, flush=True)
    time.sleep(0.002)  # long enough for whoever reads it to act before the next turn commits


if __name__ == "__main__":
    services = build(load(Path(sys.argv[1])))
    take_turns(services.context, services.shop_ids()[0], changes(), between=_say)
