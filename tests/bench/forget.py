"""Forgetting many people: against every statement of it said again by the bare driver, in the same transactions."""

from __future__ import annotations

import http.client
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
from collections.abc import Callable, Collection, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlencode

from sqlalchemy import Engine, Table, event, insert

from notify.flows import forget
from notify.flows.check_in import check_in
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import schema as s
from notify.store import tickets
from notify.store.prepared import Prepared
from notify.store.vault import data_keys
from tests.bench.line import Figure, Side
from tests.bench.stage import Nothing, house_on
from tests.parts.house import House
from tests.parts.installation import ROOT, Serving, make_installation, owner_of
from tests.parts.processes import die_with_parent

AGAINST = (
    "every statement that our transactions sent to both files, reads among them, said again word for word by sqlite3 "
    "alone, many rows at once where ours said many, in the same transactions, as durable, on copies of the files as "
    "they were before; in turn, one batch ours, the same batch theirs; ratio is our time / its time"
)
PRAGMAS = ("journal_mode=wal", "synchronous=full", "foreign_keys=on", "secure_delete=on", "wal_autocheckpoint=0",
           "temp_store=memory")  # fmt: skip
MESSAGES = 3  # a person: taken in, ready, handed back
EVENTS = 6
Said = tuple[str, Any, Any, bool]  # to which file, the statement, its values, whether many rows


def figures(*, people: int, beside: bool = True) -> list[Figure]:
    """`forget`, and unless not `beside` what others wait while 1,000 go (`forget_waits`).

    With so many people whose time is over, the environment's SHELFBELL_FORGET_PEOPLE if set: then as many go beside
    others who wait.
    """
    asked = int(os.environ.get("SHELFBELL_FORGET_PEOPLE", 0))
    people = asked or people
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name, house_on(Path(name), Nothing()) as house:
        fill(house, people)
        house.ctx.db.checkpoint(truncate=True)
        house.clock.advance(200 * 86400)
        out = [_forget(house, Path(name), people)]
    return [*out, waits(asked or min(people, 1000))] if beside else out


def _forget(house: House, folder: Path, people: int) -> Figure:
    """Ours and theirs in turn, batch by batch, so that both meet the same load of the machine.

    Theirs leaves out: what Python does beside statements (who is due by the rules, keyed hashes of claim links,
    new identifiers and event rows, the erasure record), for its values are handed over ready.
    """
    files = {"main": folder / "shelfbell.db", "keys": Path(str(house.ctx.db.vault._engine.url.database))}
    engines = {"main": house.ctx.db.engine, "keys": house.ctx.db.vault._engine}
    with _lines(files, folder) as lines, heard(engines) as said:
        turns = _Turns(lines, said)
        turns.begin()
        done = forget.forget(house.ctx, house.system(), tell=turns.over)
        proof = time.perf_counter() - turns.began[0]
    assert len(done.due) == people and done.confirmed, len(done.due)
    (we, our_cpu), (they, their_cpu) = (map(sum, zip(*side, strict=True)) for side in (turns.ours, turns.theirs))
    taken = sorted(wall for wall, _ in turns.ours)
    more = {
        "people": people, "batches": len(taken), "batch_ms": round(statistics.median(taken) * 1000, 1),
        "batch_ms_p99": round(taken[int(len(taken) * 0.99)] * 1000, 1), "proof_s": round(proof, 2),
        "megabytes": round(files["main"].stat().st_size / 1e6), "people_a_second": round(people / we),
        "halves_ms_a_person": [round(one * 1000, 3) for one in turns.halves(people)],
        "cpu_ratio": round(our_cpu / their_cpu, 3), "cpu_ms_a_person": round(our_cpu / people * 1000, 3),
    }  # fmt: skip
    return Figure("forget", we / they, 1.3, AGAINST, people, Side(we, "s"), Side(they, "s"), higher=False, more=more)


class _Turns:
    """Each batch of ours, and then the same of theirs: seconds by the clock and of the processor."""

    def __init__(self, lines: dict[str, sqlite3.Connection], said: list[Said]) -> None:
        self.lines, self.said = lines, said
        self.ours: list[tuple[float, float]] = []
        self.theirs: list[tuple[float, float]] = []
        self.done: list[int] = []

    def begin(self) -> None:
        """From now on it is our turn."""
        self.began = time.perf_counter(), time.process_time()

    def over(self, done: int, _of: int) -> None:
        """A batch of ours is done."""
        self.ours.append(self._taken())
        self.done.append(done)
        said = [*self.said]
        self.begin()
        for name, sql, values, many in said:
            line = self.lines[name]
            if many:
                line.executemany(sql, values)
            elif sql != "ROLLBACK" or line.in_transaction:  # ours also says it before a line is put away
                line.execute(sql, values).fetchall()
        self.theirs.append(self._taken())
        self.said.clear()
        self.begin()

    def halves(self, people: int) -> tuple[float, float]:
        """Seconds of the processor that one of the first half of them took us, and one of the second."""
        first = [cpu for done, (_, cpu) in zip(self.done, self.ours, strict=True) if done <= people / 2]
        half = max((done for done in self.done if done <= people / 2), default=0)
        rest = sum(cpu for _, cpu in self.ours) - sum(first)
        return sum(first) / max(half, 1), rest / (people - half)

    def _taken(self) -> tuple[float, float]:
        wall, cpu = self.began
        return time.perf_counter() - wall, time.process_time() - cpu


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
        with Serving(shop), tempfile.TemporaryFile() as answer:  # a pipe that nobody empties holds 64 kB
            quiet, busy = _Asked(), _Asked()
            quiet.ask(shop.port, path, lambda: len(quiet.pages) < 20)
            child = subprocess.Popen(
                [sys.executable, "-m", "notify", "forget", "--json", "--config", str(shop.config)], cwd=ROOT,
                stdout=answer, preexec_fn=die_with_parent(signal.SIGKILL),
            )  # fmt: skip
            busy.ask(shop.port, path, lambda: child.poll() is None)
            answer.seek(0)
            said = json.loads(answer.read())
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


@contextmanager
def _lines(files: dict[str, Path], folder: Path) -> Iterator[dict[str, sqlite3.Connection]]:
    """The bare driver's own lines to copies of these files, set as ours are."""
    lines = {}
    for name, file in files.items():
        copy = folder / f"again-{name}.db"
        _copy(file, copy)
        lines[name] = sqlite3.connect(copy, isolation_level=None, cached_statements=500)
        for pragma in PRAGMAS:
            lines[name].execute(f"pragma {pragma}")
    try:
        yield lines
    finally:
        for line in lines.values():
            line.close()


@contextmanager
def heard(engines: dict[str, Engine]) -> Iterator[list[Said]]:
    """All that is said to these engines, begin and commit included, in its order."""
    said: list[Said] = []
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
    source, target = sqlite3.connect(file), sqlite3.connect(to)
    source.backup(target)
    source.close()
    target.close()


def fill(
    house: Any, people: int, *, mark: bytes = b"", wide: int = 3500, master: str = "", only: Collection[Table] = (),
) -> None:  # fmt: skip
    """So many people with one visit each whose device went home long ago, as wide as real rows are.

    All that has to go ends with `mark` (in hexadecimal where it is text), to look for it later; a message is `wide`
    octets, under a real key of that `master` if given; `only` these tables, if given.
    """
    at = datetime(2026, 1, 5, 10, tzinfo=UTC)
    for start in range(0, people, 5000):
        numbers = range(start, min(people, start + 5000))
        rows = [_rows(house.shop_id, number, at + timedelta(seconds=30 * number), mark, wide) for number in numbers]
        with house.ctx.db.write(house.shop_id) as unit:
            for table in only or rows[0]:
                Prepared(insert(table)).write_all(unit.connection, [row for one in rows for row in one[table]])
        keys = [
            {"person_id": _id("p", number), "master_id": master or "m", "wrapped": _key(house, number, master, mark)}
            for number in numbers
        ]
        with house.ctx.db.vault._engine.execution_options(writes=True).begin() as connection:
            Prepared(insert(data_keys)).write_all(connection, keys)
        house.ctx.db.checkpoint()


def _key(house: Any, number: int, master: str, mark: bytes) -> bytes:
    """A real one under the `master` key of that name; else as long as one."""
    return house.ctx.db.vault.wrap(_id("p", number), os.urandom(32), master) if master else _marked(mark)(60)


def _marked(mark: bytes) -> Callable[[int], bytes]:
    return lambda size: os.urandom(size - len(mark)) + mark


def _id(kind: str, number: int, n: int = 0) -> str:
    """As long and as spread as a random UUID."""
    return f"{(number * 2654435761) % 2**32:08x}-{kind}{n:03x}-4000-8000-{number:012x}"


def _rows(shop: str, number: int, at: datetime, mark: bytes, wide: int) -> dict[Any, list[dict[str, Any]]]:
    person, visit, ticket, sealed = _id("p", number), _id("v", number), _id("t", number), _marked(mark)
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
              "due_at": at, "expires_at": later, "attempts": 1, "ambiguous": 0, "bytes_sealed": sealed(wide),
              "message_id": f"<{os.urandom(16).hex()}@mail.example.org>", "sentence_sealed": None, "ended_at": at,
              "provider_id": sealed(16).hex()}
        for n in range(MESSAGES)
    ]  # fmt: skip
    return {
        s.people: [of | {"id": person, "language": "en", "name_sealed": sealed(46),
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
