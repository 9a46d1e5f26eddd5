"""A line to a real database server that falls silent in the middle, and stays open: neither end hears of the other."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from sqlalchemy import URL, make_url


@contextmanager
def silent_after(url: str, octets: int) -> Iterator[str]:
    """The address of a relay to that server which passes on so many octets of its answers and then none."""
    real, ends = make_url(url), list[socket.socket]()
    listener = socket.create_server(("127.0.0.1", 0))
    thread = threading.Thread(target=_serve, args=(listener, real, octets, ends), daemon=True)
    thread.start()
    shown = real.set(host="127.0.0.1", port=listener.getsockname()[1], query={})
    try:
        yield shown.render_as_string(hide_password=False)
    finally:
        with suppress(OSError):
            listener.shutdown(socket.SHUT_RDWR)
        for end in (listener, *ends):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
        thread.join(10)


def _serve(listener: socket.socket, real: URL, octets: int, ends: list[socket.socket]) -> None:
    with suppress(OSError):
        client, _ = listener.accept()
        ends.append(client)
        server = _connect(real)
        ends.append(server)
        asks = threading.Thread(target=_pass_on, args=(client, server, None), daemon=True)
        asks.start()
        _pass_on(server, client, octets)
        asks.join(60)


def _connect(real: URL) -> socket.socket:
    folder = real.query.get("host")
    if not folder:
        return socket.create_connection((str(real.host), real.port or 0))
    server = socket.socket(socket.AF_UNIX)
    server.connect(f"{folder}/.s.PGSQL.5432")
    return server


def _pass_on(source: socket.socket, target: socket.socket, octets: int | None) -> None:
    left = octets
    with suppress(OSError):
        while left is None or left > 0:
            data = source.recv(min(4096, left or 4096))
            if not data:
                return
            target.sendall(data)
            left = None if left is None else left - len(data)
