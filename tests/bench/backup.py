"""The online backup against SQLite's own backup API on the same file, and the claim page while one is being made.

`backup_copy` is what both do: a copy of one moment, while others may write. `backup_online` is that copy locked and on
the disk, so all that takes something from the shop's database or its disk. `backup_whole` is the whole command's work,
for which there is no peer: the same, opened again, compared to the last octet and checked by SQLite. Its ratio is
against the same bare copy, and `alone` says how fast each of its parts is with nothing else to do: a backup that did
nothing besides could reach `at_most`, so its goal is out of reach for whatever is locked and proved on one core.
"""

from __future__ import annotations

import http.client
import io
import os
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path
from typing import Any, NamedTuple

import pyrage  # type: ignore[import-untyped]

from notify.cli.backup import NICE, place_of
from notify.flows import backup
from notify.flows.check_in import check_in
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import copying, tickets
from notify.wiring import Services
from tests.bench.line import Figure, Side, alternate, compare
from tests.parts.installation import ROOT, Serving, make_installation, owner_of
from tests.parts.processes import die_with_parent

AGAINST = "sqlite3.Connection.backup of the same file in one step into a new file, then fsync; nothing locked or proved"

PAGE_ROUNDS = 5


def figures(*, megabytes: int, rounds: int, seconds: float) -> list[Figure]:
    """`backup_copy`, `_online`, `_whole` and, unless `seconds` is 0, `_claim_page`, over a database of so many MB."""
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
    file, clock = _main(services), time.perf_counter
    services.context.db.checkpoint(truncate=True)
    size = file.stat().st_size / 1e6

    def copied(_: int) -> float:
        with copying.scratch(home) as made:
            began = clock()
            copying.copy(services.context.db.engine, made)
            return size / (clock() - began)

    def bare(_: int) -> float:
        target = home / "bare.db"
        began = clock()
        with closing(sqlite3.connect(file)) as source, closing(sqlite3.connect(target)) as into:
            source.backup(into)
        with target.open("rb") as out:
            os.fsync(out.fileno())
        taken = clock() - began
        target.unlink()
        return size / taken

    copies = alternate(rounds, copied, bare)
    wholes = [(_make(services, size), bare(number)) for number in range(rounds + 1)][1:]  # the first warms up
    more = {"megabytes": round(size, 1)}
    parts = _alone(services, file, size)
    theirs = statistics.median(pair[1] for pair in wholes)
    most = round(1 / (1 + sum(theirs / one for one in parts.values())), 2)
    alone = {"alone": {name: round(one) for name, one in parts.items()}, "at_most": most}
    return [
        _figure("backup_copy", copies, rounds, more),
        _figure("backup_online", [(we.online, bare) for we, bare in wholes], rounds, more),
        _figure("backup_whole", [(we.whole, bare) for we, bare in wholes], rounds, {**more, **alone}),
    ]


class _Rates(NamedTuple):
    """MB/s until the locked copy was on the disk, and until it was proved."""

    online: float
    whole: float


def _make(services: Services, size: float) -> _Rates:
    seen: list[float] = []
    place, began = place_of(services.settings), time.perf_counter()

    def note(point: str) -> None:
        if point == "backup:locked":
            seen.append(time.perf_counter())

    made = backup.make(services.context, place, fault=note)
    whole = time.perf_counter() - began
    (place.folder / made.file).unlink()
    return _Rates(size / (seen[0] - began), size / whole)


class _Nowhere(io.RawIOBase):
    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        return len(data)


def _alone(services: Services, file: Path, size: float) -> dict[str, float]:
    """MB/s of locking, opening and checking, each by the library's own call from one file, without writing anything."""
    secret = pyrage.x25519.Identity.generate()
    locked = file.with_name("alone.age")
    pyrage.encrypt_file(str(file), str(locked), [secret.to_public()])

    def lock() -> None:
        with file.open("rb") as source:
            pyrage.encrypt_io(source, _Nowhere(), [secret.to_public()])

    def unlock() -> None:
        with locked.open("rb") as source:
            pyrage.decrypt_io(source, _Nowhere(), [secret])

    def check() -> None:
        with closing(sqlite3.connect(file)) as connection:
            assert connection.execute("pragma integrity_check").fetchall() == [("ok",)]

    rates = {}
    for act in (lock, unlock, check):
        began = time.perf_counter()
        act()
        rates[act.__name__] = size / (time.perf_counter() - began)
    locked.unlink()
    return rates


def _figure(name: str, pairs: list[tuple[float, float]], rounds: int, more: dict[str, Any]) -> Figure:
    ratio, we, they = compare(pairs, unit="MB/s")
    return Figure(name, ratio, 0.5, AGAINST, rounds, we, they, more=more)


def _page(config: Path, port: int, path: str, seconds: float) -> Figure:
    """The slowest hundredth of claim pages while backups are made by the command, against the same pages without."""
    _ask(port, path, seconds=0.5)
    quiet, busy = [], []
    for _ in range(PAGE_ROUNDS):
        quiet += _ask(port, path, seconds=seconds)
        child = _start(config)
        while child.poll() is None:
            busy += _ask(port, path, seconds=0.1)
        assert child.returncode == 0
    ours, theirs = _slowest(busy), _slowest(quiet)
    return Figure(
        "backup_claim_page", ours / theirs, 2.0, "the same page of the same `shelfbell serve` with no backup going on",
        len(busy), Side(ours, "ms, p99"), Side(theirs, "ms, p99"), higher=False,
        more={"backups": PAGE_ROUNDS, "quiet_pages": len(quiet), "slowest_ms": round(max(busy) * 1000, 1)},
    )  # fmt: skip


def _start(config: Path) -> subprocess.Popen[bytes]:
    child = subprocess.Popen(
        [sys.executable, "-m", "notify", "backup", "--config", str(config)], cwd=ROOT, stdout=subprocess.DEVNULL,
        preexec_fn=die_with_parent(signal.SIGKILL),
    )  # fmt: skip
    os.setpriority(os.PRIO_PROCESS, child.pid, NICE)  # as the service starts it
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
