"""A gateway for text messages on loopback, of our own invention: it keeps what came and answers as it is told."""

from __future__ import annotations

import json
import socket
import ssl
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

NAME = "gateway.test"  # a name that the domain name system never has (RFC 6761 6.2)
# The invented gateway's own words.
BODY = '{"recipient": "{to}", "words": "{text}", "mark": "{id}", "tell": {"at": "{callback}", "how": ["{digits}", 7]}}'
Act = Callable[[socket.socket], None]


@dataclass(frozen=True)
class Request:
    """One request as it came."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes

    def told(self) -> Any:
        """Its JSON."""
        return json.loads(self.body)


def answer(status: int, body: bytes | str = b"", *headers: str) -> bytes:
    """The octets of one answer (RFC 9112)."""
    data = body.encode() if isinstance(body, str) else body
    head = [f"HTTP/1.1 {status} Said", f"Content-Length: {len(data)}", "Connection: close", *headers]
    return "\r\n".join([*head, "", ""]).encode() + data


def taken(name: str = "gw-1") -> bytes:
    """What the invented gateway says when it takes a message over."""
    return answer(201, json.dumps({"verdict": "ok", "ours": {"name": name}}))


class Gateway:
    """Listens on 127.0.0.1; `says` is the answer to every request, or a function that does something to the line."""

    def __init__(self, says: bytes | Act | None = None, *, context: ssl.SSLContext | None = None) -> None:
        self.says: bytes | Act = taken() if says is None else says
        self.requests: list[Request] = []
        self.connections = 0
        self._context = context
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ends the thread, whatever it waits for."""
        self._server.close()
        with socket.socket() as knock:  # wakes accept
            knock.settimeout(0.2)
            knock.connect_ex(("127.0.0.1", self.port))
        self._thread.join(2)

    def _serve(self) -> None:
        while True:
            try:
                line, _ = self._server.accept()
            except OSError:
                return
            self.connections += 1
            try:
                self._one(line)
            except OSError:
                line.close()

    def _one(self, line: socket.socket) -> None:
        line.settimeout(5)
        if self._context:
            line = self._context.wrap_socket(line, server_side=True)
        with line:
            self.requests.append(_read(line))
            if callable(self.says):
                self.says(line)
            else:
                line.sendall(self.says)


def _read(line: socket.socket) -> Request:
    data = b""
    while b"\r\n\r\n" not in data:
        data += line.recv(4096) or _gone()
    head, _, body = data.partition(b"\r\n\r\n")
    first, *rest = head.decode("ascii").split("\r\n")
    headers = {name.lower(): value.strip() for name, _, value in (one.partition(":") for one in rest)}
    while len(body) < int(headers.get("content-length", 0)):
        body += line.recv(4096) or _gone()
    method, path, _ = first.split(" ")
    return Request(method, path, headers, body)


def _gone() -> bytes:
    raise ConnectionError


def hang_up(line: socket.socket) -> None:
    """Reads the request and goes away without a word."""


def reset(line: socket.socket) -> None:
    """Goes away by a reset (SO_LINGER with no time, RFC 9293 3.10.7.4)."""
    line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")


def drip(line: socket.socket) -> None:
    """An answer that never ends, an octet at a time: each renews a naive timeout."""
    line.sendall(b"HTTP/1.1 201 Said\r\n")
    for _ in range(200):
        line.sendall(b"X")
        time.sleep(0.05)


def drip_body(line: socket.socket) -> None:
    """A good head, then a body without a stated length that never ends."""
    line.sendall(b'HTTP/1.1 201 Said\r\nConnection: close\r\n\r\n{"verdict": "ok"}')
    for _ in range(200):
        line.sendall(b" ")
        time.sleep(0.05)


def silent(line: socket.socket) -> None:
    """Says nothing for longer than anybody waits."""
    time.sleep(3)
