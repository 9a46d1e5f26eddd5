"""Forgetting many people: against every statement of it said again by the bare driver, in the same transactions."""

from __future__ import annotations

import http.client
import itertools
import json
import os
import re
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlencode

from sqlalchemy import Engine, event, insert

from notify.flows import forget
from notify.flows.check_in import check_in
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import erasing, tickets
from notify.store import schema as s
from notify.store.vault import data_keys
from tests.bench.line import Figure, Side
from tests.bench.stage import Nothing, house_on
from tests.parts.house import House
from tests.parts.installation import ROOT, Serving, make_installation, owner_of
from tests.parts.processes import die_with_parent

AGAINST = (
    "every statement that our transactions sent to both files, reads among them, said again word for word by sqlite3 "
    "alone, many rows at once where ours said many, in the same transactions, as durable, on copies of the "
    "files as they were before; ratio is our time / its time"
)
PRAGMAS = ("journal_mode=wal", "synchronous=full", "foreign_keys=on", "secure_delete=on", "wal_autocheckpoint=0",
           "temp_store=memory")  # fmt: skip
MESSAGES = 3  # a person: taken in, ready, handed back
EVENTS = 6


def figures(*, people: int, rounds: int, beside: bool = True) -> list[Figure]:
    """`forget`, and unless not `beside` what others wait while 1,000 go (`forget_waits`).

    With so many people whose time is over, the environment's SHELFBELL_FORGET_PEOPLE if set.
    """
    people = int(os.environ.get("SHELFBELL_FORGET_PEOPLE", people))
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name, house_on(Path(name), Nothing()) as house:
        fill(house, people)
        house.ctx.db.checkpoint(truncate=True)
        house.clock.advance(200 * 86400)
        out = [_forget(house, Path(name), people, rounds)]
    return [*out, waits(min(people, 1000))] if beside else out


def _forget(house: House, folder: Path, people: int, rounds: int) -> Figure:
    files = {"main": folder / "shelfbell.db", "keys": Path(str(house.ctx.db.vault._engine.url.database))}
    before = {name: folder / f"before-{name}.db" for name in files}
    for name, file in files.items():
        _copy(file, before[name])
    pairs, gaps = [], []
    for _ in range(rounds):
        _put_back(house, before)
        ticks: list[float] = []
        with _heard({"main": house.ctx.db.engine, "keys": house.ctx.db.vault._engine}) as said:
            began = time.perf_counter()
            done = forget.forget(house.ctx, house.system(), prove=False, tell=_ticking(ticks))
            ours = time.perf_counter() - began
        assert len(done.due) == people, len(done.due)
        gaps += [b - a for a, b in itertools.pairwise(ticks)]
        pairs.append((ours, _say_again(said, before, folder)))
    began = time.perf_counter()
    proved = forget.confirm(house.ctx, house.system())
    proof = time.perf_counter() - began
    assert proved
    ratio = statistics.median(a / b for a, b in pairs)
    we, they = (statistics.median(side) for side in zip(*pairs, strict=True))
    more = {
        "people": people, "batch": erasing.BATCH, "batch_ms": round(statistics.median(gaps) * 1000, 1) if gaps else 0,
        "batch_ms_most": round(max(gaps, default=0) * 1000, 1), "proof_s": round(proof, 2),
        "megabytes": round(before["main"].stat().st_size / 1e6), "people_a_second": round(people / we),
    }  # fmt: skip
    return Figure(
        "forget", ratio, 1.3, AGAINST, people * rounds, Side(we, "s"), Side(they, "s"), higher=False, more=more
    )


def _ticking(ticks: list[float]) -> Callable[[int, int], object]:
    return lambda _done, _of: ticks.append(time.perf_counter())


def waits(people: int) -> Figure:
    """How long a claim page and a form of it take at `shelfbell serve` while the command forgets everybody else."""
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name:
        shop = make_installation(Path(name), **{"log.level": "error"})
        services = shop.open()
        fill(SimpleNamespace(ctx=services.context, shop_id=services.shop_ids()[0]), people, master="k1")
        form = VisitForm(bringer=PersonForm("Ines Farrow", email="ines@example.org"), devices=(DeviceForm("Radio"),))
        done = check_in(services.context, owner_of(services), form)
        with services.context.db.read(services.shop_ids()[0]) as unit:
            path = f"/c/{tickets.get_ticket(unit, done.ticket_ids[0]).token}"
        services.context.db.checkpoint(truncate=True)
        shop.close()
        with Serving(shop):
            quiet, busy = _Asked(), _Asked()
            quiet.ask(shop.port, path, lambda: len(quiet.pages) < 20)
            child = subprocess.Popen(
                [sys.executable, "-m", "notify", "forget", "--json", "--config", str(shop.config)], cwd=ROOT,
                stdout=subprocess.PIPE, preexec_fn=die_with_parent(signal.SIGKILL),
            )  # fmt: skip
            busy.ask(shop.port, path, lambda: child.poll() is None)
            said = json.loads(child.communicate()[0])
        assert child.returncode == 0 and len(said["due"]) == people, said
    return Figure(
        "forget_waits", max(busy.pages) / 0.1, 1.0,
        "the slowest claim page of the same service while the command forgets, against 100 ms, the most it may be",
        people, Side(max(busy.pages), "s, slowest"), Side(0.1, "s, slowest"), higher=False,
        more={"pages": len(busy.pages), "page_ms": _ms(busy.pages), "form_ms": _ms(busy.forms),
              "quiet_page_ms": _ms(quiet.pages), "quiet_form_ms": _ms(quiet.forms)},
    )  # fmt: skip


def _ms(taken: list[float]) -> dict[str, float]:
    ordered = sorted(taken)
    at = {"median": len(ordered) // 2, "p99": int(len(ordered) * 0.99), "most": -1}
    return {name: round(ordered[place] * 1000, 1) for name, place in at.items()}


class _Asked:
    """Seconds that pages, and forms that change the language of a visit, took, each over a line of its own."""

    def __init__(self) -> None:
        self.pages: list[float] = []
        self.forms: list[float] = []

    def ask(self, port: int, path: str, more: Callable[[], bool]) -> None:
        """A page and the form on it in turn, as long as there is `more`; at least once."""
        while not self.pages or more():
            page = self._one(port, "GET", path, self.pages)
            values = dict(re.findall(r'name="(csrf_token)" value="([^"]*)"', page))
            language = "de" if len(self.pages) % 2 else "en"
            self._one(port, "POST", f"{path}/language", self.forms, urlencode({**values, "language": language}))

    @staticmethod
    def _one(port: int, method: str, path: str, taken: list[float], body: str | None = None) -> str:
        began = time.perf_counter()
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as line:
            kind = {"Content-Type": "application/x-www-form-urlencoded"} if body else {}
            line.request(method, path, body, kind)
            answer = line.getresponse()
            page = answer.read().decode()
        taken.append(time.perf_counter() - began)
        assert answer.status in (200, 303), (method, answer.status, page[:300])
        return page


def _say_again(said: list[tuple[str, Any, Any, bool]], before: dict[str, Path], folder: Path) -> float:
    """Seconds that the bare driver takes for all of it, on fresh copies."""
    lines = {}
    for name, file in before.items():
        copy = folder / f"again-{name}.db"
        _copy(file, copy)
        lines[name] = sqlite3.connect(copy, isolation_level=None, cached_statements=500)
        for pragma in PRAGMAS:
            lines[name].execute(f"pragma {pragma}")
    began = time.perf_counter()
    for name, sql, values, many in said:
        if many:
            lines[name].executemany(sql, values)
        else:
            lines[name].execute(sql, values).fetchall()
    took = time.perf_counter() - began
    for line in lines.values():
        line.close()
    return took


@contextmanager
def _heard(engines: dict[str, Engine]) -> Iterator[list[tuple[str, Any, Any, bool]]]:
    """All that is said to these engines, begin and commit included, in its order."""
    said: list[tuple[str, Any, Any, bool]] = []
    hooks: list[tuple[Engine, str, Callable[..., None]]] = []
    for name, engine in engines.items():

        def statement(_c: Any, _u: Any, sql: str, values: Any, _x: Any, many: bool, name: str = name) -> None:
            said.append((name, sql, values, many))

        def commit(_c: Any, name: str = name) -> None:
            said.append((name, "COMMIT", (), False))

        def rollback(_c: Any, name: str = name) -> None:
            said.append((name, "ROLLBACK", (), False))

        hooks += [
            (engine, "before_cursor_execute", statement),
            (engine, "commit", commit),
            (engine, "rollback", rollback),
        ]
    for engine, at, hook in hooks:
        event.listen(engine, at, hook)
    try:
        yield said
    finally:
        for engine, at, hook in hooks:
            event.remove(engine, at, hook)


def _copy(file: Path, to: Path) -> None:
    for end in ("-wal", "-shm"):
        Path(f"{to}{end}").unlink(missing_ok=True)
    source, target = sqlite3.connect(file), sqlite3.connect(to)
    source.backup(target)
    source.close()
    target.close()


def _put_back(house: House, before: dict[str, Path]) -> None:
    """Both files as they were, page by page, through the backup interface: nobody has to close anything."""
    for name, engine in (("main", house.ctx.db.engine), ("keys", house.ctx.db.vault._engine)):
        engine.dispose()
        source, target = sqlite3.connect(before[name]), sqlite3.connect(str(engine.url.database))
        source.backup(target)
        target.execute("pragma wal_checkpoint(truncate)")
        source.close()
        target.close()


def fill(house: Any, people: int, *, name: Callable[[int], bytes] | None = None, master: str = "") -> None:
    """So many people with one visit each whose device went home long ago, as wide as real rows are.

    `name` gives the bytes that stand sealed as a person's name, to look for them later.
    """
    at = datetime(2026, 1, 5, 10, tzinfo=UTC)
    for start in range(0, people, 5000):
        numbers = range(start, min(people, start + 5000))
        rows = [_rows(house.shop_id, number, at, name) for number in numbers]
        with house.ctx.db.write(house.shop_id) as unit:
            for table in rows[0]:
                unit.connection.execute(insert(table), [row for one in rows for row in one[table]])
        keys = [
            {"person_id": _id("p", number), "master_id": master or "m", "wrapped": _key(house, number, master)}
            for number in numbers
        ]
        with house.ctx.db.vault._engine.execution_options(writes=True).begin() as connection:
            connection.execute(insert(data_keys), keys)


def _key(house: Any, number: int, master: str) -> bytes:
    """A real one under the `master` key of that name; else as long as one."""
    return house.ctx.db.vault.wrap(_id("p", number), os.urandom(32), master) if master else os.urandom(60)


def _id(kind: str, number: int, n: int = 0) -> str:
    """As long and as spread as a random UUID."""
    return f"{(number * 2654435761) % 2**32:08x}-{kind}{n:03x}-4000-8000-{number:012x}"


def _rows(shop: str, number: int, at: datetime, name: Callable[[int], bytes] | None) -> dict[Any, list[dict[str, Any]]]:
    person, visit, ticket, sealed = _id("p", number), _id("v", number), _id("t", number), os.urandom
    of = {"shop_id": shop}
    later = at + timedelta(days=9)
    contacts = [
        of | {"id": _id(way[0], number), "person_id": person, "channel": way, "address_sealed": sealed(60),
              "lookup": sealed(32).hex(), "in_repaired_device": False, "created_at": at}
        for way in ("email", "sms")
    ]  # fmt: skip
    messages: list[dict[str, Any]] = [
        of | {"id": _id("d", number, n), "seq": 10 + number * MESSAGES + n, "visit_id": visit, "about": visit,
              "cause": _id("c", number, n), "notice": "ready", "person_id": person, "sealed_for": person,
              "channel": "email", "resend": 0, "refs": {"ticket": ticket}, "state": "sent", "created_at": at,
              "due_at": at, "expires_at": later, "attempts": 1, "ambiguous": 0, "bytes_sealed": sealed(3500),
              "message_id": f"<{sealed(16).hex()}@mail.example.org>", "sentence_sealed": None, "ended_at": at,
              "provider_id": sealed(8).hex()}
        for n in range(MESSAGES)
    ]  # fmt: skip
    return {
        s.people: [of | {"id": person, "language": "en", "name_sealed": name(number) if name else sealed(46),
                         "child": False, "created_at": at}],
        s.contacts: contacts,
        s.visits: [of | {"id": visit, "waits_here": False, "opened_at": at}],
        s.visit_people: [of | {"visit_id": visit, "person_id": person, "role": role} for role in ("bringer", "tell")],
        s.tickets: [of | {
            "id": ticket, "visit_id": visit, "person_id": person, "number": f"Z{number}", "phase": "handed_back",
            "outcome": "repaired", "price_agreed": 3000, "paid": True, "shelf": "B 12", "safety": [],
            "device_sealed": sealed(60), "fault_sealed": sealed(80), "token_hash": sealed(32).hex(),
            "token_sealed": sealed(60), "created_at": at, "phase_since": later, "version": 5,
        }],
        s.events: [
            of | {"id": _id("e", number, n), "seq": 10 + number * EVENTS + n, "visit_id": visit, "ticket_id": ticket,
                  "kind": "phase_changed", "at": at, "recorded_at": at, "actor_kind": "staff", "codes": {"to": "bench"}}
            for n in range(EVENTS)
        ],
        s.notes: [of | {"id": _id("a", number), "ticket_id": ticket, "person_id": person, "text_sealed": sealed(90),
                        "at": at}],
        s.messages: messages,
        s.receipts: [of | {"id": _id("f", number, n), "message_id": _id("d", number, n), "at": at, "attempt": 1,
                           "verdict": "accepted", "code": "250", "text": "2.0.0 queued"} for n in range(MESSAGES)],
    }  # fmt: skip
