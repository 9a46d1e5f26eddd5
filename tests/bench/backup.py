"""The online backup against SQLite's own backup API on the same file, and the claim page while one is being made.

`backup_copy` is what both do: a copy of one moment, while others may write. `backup_whole` is the whole command's work,
for which there is no peer: the same copy, locked, waited for on the disk, opened again, hashed twice and checked by
SQLite (`more` says so); its ratio is against the same bare copy.
"""

from __future__ import annotations

import http.client
import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path
from typing import Any

from notify.cli.backup import place_of
from notify.flows import backup
from notify.flows.check_in import check_in
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import copying, tickets
from notify.wiring import Services
from tests.bench.line import Figure, Side, alternate, compare
from tests.parts.installation import ROOT, Serving, make_installation, owner_of
from tests.parts.processes import die_with_parent

AGAINST = "sqlite3.Connection.backup of the same file in one step into a new file, then fsync; nothing locked or proved"


def figures(*, megabytes: int, rounds: int, seconds: float) -> list[Figure]:
    """`backup_copy`, `backup_whole` and, unless `seconds` is 0, `backup_claim_page`, over a database of so many MB."""
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name:
        home = Path(name)
        for one in ("safe", "apart"):
            (home / one).mkdir(mode=0o700)
        shop = make_installation(
            home, **{"backup.folder": str(home / "safe"), "backup.keys_folder": str(home / "apart"),
                     "log.level": "error"}
        )  # fmt: skip
        services = shop.open()
        token = _fill(services, _main(services), megabytes)
        try:
            out = _copies(services, home, rounds)
            services.context.db.checkpoint(truncate=True)
        finally:
            shop.close()
        if not seconds:
            return out
        with Serving(shop) as serving:
            serving.wait_ready()
            out.append(_page(shop.config, shop.port, f"/c/{token}", seconds))
        return out


def _main(services: Services) -> Path:
    return Path(services.settings.database.url.removeprefix("sqlite:///"))


def _fill(services: Services, file: Path, megabytes: int) -> str:
    """A visit to look at, and rows of chance until the file is large enough; the visit's claim secret."""
    form = VisitForm(
        bringer=PersonForm(name="Ines Farrow", email="ines@example.org"), devices=(DeviceForm("Kestrel pocket radio"),)
    )
    done = check_in(services.context, owner_of(services), form)
    with closing(sqlite3.connect(file)) as connection, connection:
        connection.execute("create table filling (id integer primary key, octets blob)")
        rows = megabytes * 1_000_000 // 2000
        connection.executemany("insert into filling (octets) values (?)", ((os.urandom(1900),) for _ in range(rows)))
    with services.context.db.read(services.shop_ids()[0]) as unit:
        return tickets.get_ticket(unit, done.ticket_ids[0]).token


def _copies(services: Services, home: Path, rounds: int) -> list[Figure]:
    place, file = place_of(services.settings), _main(services)
    services.context.db.checkpoint(truncate=True)
    size = file.stat().st_size / 1e6

    def ours(_: int) -> float:
        with copying.scratch(place.scratch) as made:
            began = time.perf_counter()
            copying.copy(services.context.db.engine, made)
            return size / (time.perf_counter() - began)

    def bare(_: int) -> float:
        target = home / "bare.db"
        began = time.perf_counter()
        with closing(sqlite3.connect(file)) as source, closing(sqlite3.connect(target)) as into:
            source.backup(into)
        with target.open("rb") as out:
            os.fsync(out.fileno())
        taken = time.perf_counter() - began
        target.unlink()
        return size / taken

    def whole(_: int) -> float:
        began = time.perf_counter()
        made = backup.make(services.context, place)
        taken = time.perf_counter() - began
        (place.folder / made.file).unlink()
        return size / taken

    more = {"megabytes": round(size, 1)}
    copied, proved = alternate(rounds, ours, bare), alternate(rounds, whole, bare)
    return [
        _figure("backup_copy", copied, rounds, more),
        _figure("backup_whole", proved, rounds, {**more, "does": "copy, lock, fsync, open, hash, integrity_check"}),
    ]


def _figure(name: str, pairs: list[tuple[float, float]], rounds: int, more: dict[str, Any]) -> Figure:
    ratio, we, they = compare(pairs, unit="MB/s")
    return Figure(name, ratio, 0.5, AGAINST, rounds, we, they, more=more)


def _page(config: Path, port: int, path: str, seconds: float) -> Figure:
    """The slowest hundredth of claim pages while backups are made by the command, against the same pages without."""
    _ask(port, path, seconds=0.5)
    quiet, busy, made = [], [], 0
    for _ in range(2):
        quiet += _ask(port, path, seconds=seconds)
        child = _start(config)
        until = time.monotonic() + seconds
        while time.monotonic() < until or child.poll() is None:
            if child.poll() is not None:
                assert child.returncode == 0
                made, child = made + 1, _start(config)
            busy += _ask(port, path, seconds=0.2)
        assert child.returncode == 0
        made += 1
    ours, theirs = _slowest(busy), _slowest(quiet)
    return Figure(
        "backup_claim_page", ours / theirs, 2.0, "the same page of the same `shelfbell serve` with no backup going on",
        len(busy), Side(ours, "ms, p99"), Side(theirs, "ms, p99"), higher=False,
        more={"backups": made, "quiet_pages": len(quiet), "slowest_ms": round(max(busy) * 1000, 1)},
    )  # fmt: skip


def _start(config: Path) -> subprocess.Popen[bytes]:
    child = subprocess.Popen(
        [sys.executable, "-m", "notify", "backup", "--config", str(config)], cwd=ROOT, stdout=subprocess.DEVNULL,
        preexec_fn=die_with_parent(signal.SIGKILL),
    )  # fmt: skip
    os.setpriority(os.PRIO_PROCESS, child.pid, 10)  # as the service starts it
    return child


def _ask(port: int, path: str, *, seconds: float) -> list[float]:
    """Seconds that each page took, one after the other, each over a connection of its own as a phone's first look."""
    taken, until = [], time.perf_counter() + seconds
    while time.perf_counter() < until:
        began = time.perf_counter()
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=30)) as line:
            line.request("GET", path)
            answer = line.getresponse()
            answer.read()
        taken.append(time.perf_counter() - began)
        assert answer.status == 200
    return taken


def _slowest(taken: list[float]) -> float:
    return sorted(taken)[int(len(taken) * 0.99)] * 1000
