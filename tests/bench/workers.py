"""Two worker processes on PostgreSQL beside one: the same messages, claimed to settled receipt."""

from __future__ import annotations

import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.bench.line import Figure, alternate, compare
from tests.bench.processes import Helper, helper
from tests.bench.stage import Nothing, house_on, put_back, stage
from tests.parts.house import House
from tests.parts.postgres import DURABLE, Cluster, Databases

ONE = (
    "one worker process with the same messages on the same PostgreSQL (fsync and synchronous_commit on), the same "
    "mail server; database, mail server and workers share the cores of this machine"
)


def figures(*, n: int, rounds: int) -> list[Figure]:
    """`two_workers`; `n` messages a round on each side."""
    cluster = Cluster(**DURABLE).start()
    databases = Databases(cluster.server(), cluster=cluster)
    try:
        databases.fill_template(lambda url: None)
        with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as folder:
            return [_measure(Path(folder), databases.url(databases.create()), n=n, rounds=rounds)]
    finally:
        databases.close()


def _measure(folder: Path, url: str, *, n: int, rounds: int) -> Figure:
    with house_on(folder, Nothing(), url=url) as house:
        stage(house, n)
        (config,) = (folder / "house").glob("*.toml")
        with (
            helper("tests.bench.sink") as sink,
            helper("tests.bench.worker", str(config), sink.first) as first,
            helper("tests.bench.worker", str(config), sink.first) as second,
        ):
            shares: list[int] = []
            pairs = alternate(rounds, _over(house, n, (first, second), shares), _over(house, n, (first,), []))
            counted = sink.ask()
    ratio, ours, theirs = compare(pairs, unit="messages/s")
    more: dict[str, Any] = {"taken_by_sink": counted["messages"], "smaller_share": round(min(shares) / n, 3)}
    return Figure("two_workers", ratio, 1.3, ONE, n * rounds, ours, theirs, more=more)


def _over(house: House, n: int, workers: tuple[Helper, ...], shares: list[int]) -> Callable[[int], float]:
    def run(_: int) -> float:
        put_back(house, n, composed=False)
        answers: list[dict[str, Any]] = []
        asked = [
            threading.Thread(target=lambda one=one: answers.append(one.ask(house.clock().isoformat())))
            for one in workers
        ]
        began = time.perf_counter()
        for thread in asked:
            thread.start()
        for thread in asked:
            thread.join()
        taken = time.perf_counter() - began
        assert sum(answer["done"] for answer in answers) == n, answers
        shares.extend(answer["done"] for answer in answers)
        return n / taken

    return run
