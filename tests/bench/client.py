"""Asks for pages over connections that stay open: `python -m tests.bench.client`, a process of its own.

One JSON order a line on standard input, one JSON answer a line: how many whole answers came in the given time.
It takes an answer as whole by its Content-Length and looks only at the status, so that it is never the brake.
"""

from __future__ import annotations

import itertools
import json
import selectors
import socket
import sys
import time
from collections.abc import Iterator
from typing import Any


class Line:
    """One connection with at most one question on its way."""

    def __init__(self, port: int) -> None:
        self.sock = socket.create_connection(("127.0.0.1", port))
        self.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._held = b""
        self._wanted = 0

    def ask(self, question: bytes) -> None:
        """Sends a question."""
        self._held, self._wanted = b"", 0
        self.sock.sendall(question)

    def read(self) -> tuple[int, int] | None:
        """(status, octets of the body) once the answer is whole; ConnectionError when the server hung up."""
        more = self.sock.recv(262144)
        if not more:
            raise ConnectionError("the server hung up")
        self._held += more
        if not self._wanted:
            head, found, _ = self._held.partition(b"\r\n\r\n")
            if not found:
                return None
            fields = dict(line.split(b": ", 1) for line in head.split(b"\r\n")[1:])
            length = next(int(value) for name, value in fields.items() if name.lower() == b"content-length")
            self._wanted = len(head) + 4 + length
            self._body = length
        return (int(self._held[9:12]), self._body) if len(self._held) >= self._wanted else None


def run(order: dict[str, Any]) -> dict[str, Any]:
    """Keeps every connection busy for `seconds`; `paths` are asked for in turn, with `headers` beside.

    Whatever has not the wanted `status`, 200 if none is named, is bad. waitress hangs up after each 304, so that each
    of those takes a connection of its own, one after the other.
    """
    more = "".join(f"{name}: {value}\r\n" for name, value in order.get("headers", {}).items())
    questions = itertools.cycle(
        f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{order['port']}\r\n{more}\r\n".encode() for path in order["paths"]
    )
    if order.get("status") == 304:
        return _one_by_one(order["port"], questions, seconds=order["seconds"])
    with selectors.DefaultSelector() as waiting:
        for _ in range(order["connections"]):
            line = Line(order["port"])
            waiting.register(line.sock, selectors.EVENT_READ, line)
        try:
            return _count(waiting, questions, seconds=order["seconds"], status=order.get("status", 200))
        finally:
            for key in list(waiting.get_map().values()):
                key.data.sock.close()


def _count(
    waiting: selectors.BaseSelector, questions: Iterator[bytes], *, seconds: float, status: int
) -> dict[str, Any]:
    done, bad, octets = 0, 0, 0
    began = time.perf_counter()
    for key in list(waiting.get_map().values()):
        key.data.ask(next(questions))
    while (taken := time.perf_counter() - began) < seconds:
        for key, _ in waiting.select(0.05):
            answer = key.data.read()
            if answer is None:
                continue
            done, bad, octets = done + 1, bad + (answer[0] != status), octets + answer[1]
            key.data.ask(next(questions))
    return {"requests": done, "seconds": taken, "bad": bad, "octets": octets}


def _one_by_one(port: int, questions: Iterator[bytes], *, seconds: float) -> dict[str, Any]:
    done, bad = 0, 0
    began = time.perf_counter()
    while (taken := time.perf_counter() - began) < seconds:
        with socket.create_connection(("127.0.0.1", port)) as line:
            line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            line.sendall(next(questions))
            answer = b""
            while more := line.recv(65536):
                answer += more
        done, bad = done + 1, bad + (not answer.startswith(b"HTTP/1.1 304"))
    return {"requests": done, "seconds": taken, "bad": bad, "octets": 0}


def main() -> None:
    """Answers orders until there are no more."""
    print("ready", flush=True)
    for order in sys.stdin:
        print(json.dumps(run(json.loads(order))), flush=True)


if __name__ == "__main__":
    main()
