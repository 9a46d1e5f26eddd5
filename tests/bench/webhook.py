"""Signed calls against a bare route: accepted and committed calls a second, each call an event about another ticket.

Both are served by the product's own waitress in a process of its own, on SQLite with every commit on the disk.
"""

from __future__ import annotations

import json
import queue
import socket
import statistics
import tempfile
import threading
import time
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

from notify.flows import moves
from notify.flows.check_in_form import DeviceForm
from notify.store import migrate
from tests.bench.line import Figure, alternate, compare
from tests.bench.processes import helper
from tests.parts.clock import START, FakeClock
from tests.parts.house import make_house
from tests.parts.signed_source import COLUMNS, NAME, SECRET, WORDS
from tests.parts.tampered import signed

CONNECTIONS = 8
AT = int(START.timestamp()) + 150  # within the window for seven minutes of the served clock
BASELINE = (
    "bare Flask route on the same waitress with the same threads: the same HMAC over id, time and body, one INSERT "
    "through SQLAlchemy Core with the same pragmas behind one lock; nothing is read, moved or told"
)
SOURCE = f"""
[watch.{NAME}]
kind = "webhook"
secret_file = "source.key"
columns = {{{", ".join(f'{ours} = "{theirs}"' for ours, theirs in COLUMNS.items())}}}
phase_words = {{{", ".join(f'"{theirs}" = "{ours}"' for theirs, ours in WORDS.items())}, "waiting" = "in_line"}}
"""


def figures(*, calls: int, rounds: int) -> list[Figure]:
    """`webhook`: each call moves a ticket of its own, to the bench and back in turn."""
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name:
        folder = Path(name)
        url = f"sqlite:///{folder / 'shelfbell.db'}"
        migrate.upgrade(url)
        house = make_house(folder, url, clock=FakeClock())
        numbers = _tickets(calls, house)
        house.services.close()
        (config,) = (folder / "house").glob("*.toml")
        config.write_text(config.read_text("utf-8") + SOURCE, "utf-8")
        key = config.parent / "source.key"
        key.write_text(SECRET)
        key.chmod(0o600)
        with (
            helper("tests.bench.web_side", "ours", str(config), "0") as ours,
            helper("tests.bench.web_side", "hook", f"sqlite:///{folder / 'bare.db'}", SECRET) as theirs,
        ):
            waits: list[float] = []
            mine, other = int(ours.first), int(theirs.first)
            ratio, one, two = compare(
                alternate(rounds, lambda n: _rush(mine, _said(mine, numbers, n), waits),
                          lambda n: _rush(other, _said(other, numbers, n), [])),
                unit="calls/s",
            )  # fmt: skip
    # The message stands in the outbox when the call is answered: both are one transaction.
    more = {"connections": CONNECTIONS, "calls": calls, "change_to_message_row_p95_ms": round(max(waits[1:]), 1)}
    return [Figure("webhook", ratio, 0.5, BASELINE, calls * rounds, one, two, more=more)]


def _tickets(n: int, house: object) -> list[str]:
    numbers = []
    for number in range(n):
        done = house.check_in(DeviceForm("Kestrel pocket radio"), email=f"ines{number}@example.org")  # type: ignore[attr-defined]
        for phase in ("inspecting", "in_line"):
            moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)  # type: ignore[attr-defined]
        numbers.append(done.numbers[0])
    return numbers


def _said(port: int, numbers: Sequence[str], turn: int) -> list[bytes]:
    """The whole requests of one round."""
    return [_request(port, number, turn) for number in numbers]


def _request(port: int, number: str, turn: int) -> bytes:
    event = {
        "specversion": "1.0", "id": f"{number}-{turn}", "source": "/bench", "type": "org.example.moved",
        "time": (START + timedelta(seconds=turn)).isoformat(),
        "data": {"job": number, "where": "on the bench" if turn % 2 == 0 else "waiting"},
    }  # fmt: skip
    body = json.dumps(event).encode()
    headers, _ = signed(SECRET, body, at=AT, call_id=f"msg_{number}_{turn}")
    told = {"Host": "bell.example.org", "Content-Type": "application/cloudevents+json",
            "Content-Length": str(len(body)), **headers}  # fmt: skip
    head = "".join(f"{name}: {text}\r\n" for name, text in told.items())
    return f"POST /hooks/watch/{NAME} HTTP/1.1\r\n{head}\r\n".encode() + body


def _rush(port: int, requests: Sequence[bytes], waits: list[float]) -> float:
    """Calls a second, every one of them taken; `waits` gets the milliseconds that one in twenty exceeds."""
    waiting: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    for one in requests:
        waiting.put(one)
    bad: list[bytes] = []
    took: list[float] = []

    def client() -> None:
        with socket.create_connection(("127.0.0.1", port)) as line:
            line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            while True:
                try:
                    request = waiting.get_nowait()
                except queue.Empty:
                    return
                sent = time.perf_counter()
                line.sendall(request)
                answer = _answer(line)
                took.append(time.perf_counter() - sent)
                if (
                    not answer.startswith(b"HTTP/1.1 200")
                    or b'"taken":true' not in (told := answer.replace(b" ", b""))
                    or b'"asked":1' in told
                ):
                    bad.append(answer)

    threads = [threading.Thread(target=client) for _ in range(CONNECTIONS)]
    began = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    whole = time.perf_counter() - began
    assert not bad, bad[0]
    waits.append(statistics.quantiles(took, n=20)[18] * 1000)
    return len(requests) / whole


def _answer(line: socket.socket) -> bytes:
    data = b""
    while b"\r\n\r\n" not in data:
        data += line.recv(8192) or _gone()
    head, _, body = data.partition(b"\r\n\r\n")
    length = next(int(one.split(b":")[1]) for one in head.lower().split(b"\r\n") if one.startswith(b"content-length"))
    while len(body) < length:
        body += line.recv(8192) or _gone()
    return head + b"\r\n\r\n" + body


def _gone() -> bytes:
    raise ConnectionError("the server hung up")
