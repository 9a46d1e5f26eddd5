"""A process that books as one of several: `python -m tests.bench.booker flow CONFIG NOW`, or `bare URL PICKLE`.

Each line on standard input is an order: when to begin (Unix time) and the jobs; `flow` runs the product's flow,
`bare` says recorded statements again. It answers with every attempt's seconds and how many got a place.
"""

from __future__ import annotations

import json
import pickle
import sys
import time
from collections.abc import Callable
from datetime import datetime
from itertools import cycle
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from notify.config.load import load
from notify.core.actors import Actor
from notify.wiring import build
from tests.bench.bookings import CLIENTS, PROCESSES, crowd, replay, try_to_book
from tests.bench.recorded import over_postgres
from tests.bench.stage import Nothing

Line = Callable[[], Callable[[Any], bool]]


def flow(config: str, now: str) -> Line:
    """Threads that call the flow."""
    moment = datetime.fromisoformat(now)
    services = build(load(Path(config)), clock=lambda: moment, channels={"email": Nothing()})
    (shop_id,) = services.shop_ids()
    house = SimpleNamespace(ctx=services.context, customer=lambda: Actor(shop_id, "customer", "customer"))
    return lambda: lambda job: try_to_book(house, job[0], datetime.fromisoformat(job[1]), job[2])


def bare(url: str, book: str) -> Line:
    """Threads that say what was recorded."""
    said, open_line = pickle.loads(Path(book).read_bytes()), over_postgres(url)  # our own file, written a second ago
    lines = cycle([replay(open_line()) for _ in range(CLIENTS // PROCESSES)])  # they stay open, as a pool's do

    def line() -> Callable[[Any], bool]:
        do = next(lines)
        return lambda number: do(said[number])

    return line


def main(kind: str, *arguments: str) -> None:
    """Ends when standard input does."""
    line = {"flow": flow, "bare": bare}[kind](*arguments)
    print("ready", flush=True)
    for order in map(json.loads, sys.stdin):
        rush = crowd(line, order["jobs"], clients=CLIENTS // PROCESSES, begin=order["begin"])
        print(json.dumps({"took": rush.took, "served": rush.served, "ended": time.time()}), flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
