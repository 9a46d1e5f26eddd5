"""The web server of `shelfbell serve`: waitress on a socket of ours, stopped by a signal without delay."""

from __future__ import annotations

import errno
import gc
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

from waitress.server import create_server  # type: ignore[import-untyped]
from waitress.task import ThreadedTaskDispatcher  # type: ignore[import-untyped]

from notify.core.errors import Misconfigured

THREADS = 8
CONNECTIONS = 600  # below the 1,024 open files that a process usually may have
BACKLOG = 128
PATIENCE = 0.8  # seconds for requests in hand after the signal; with the dispatcher's 2 it stays below 3


class Stop(SystemExit):
    """A signal asked the process to stop; waitress leaves its loop on SystemExit."""


class _Threads(ThreadedTaskDispatcher):  # type: ignore[misc]  # waitress has no types
    """Waitress's threads, waited for less long at the end than its own five seconds."""

    def shutdown(self, cancel_pending: bool = True, timeout: float = PATIENCE) -> bool:
        """Lets requests in hand finish within `timeout` seconds."""
        return bool(super().shutdown(cancel_pending, timeout))


def open_socket(host: str, port: int) -> socket.socket:
    """A listening socket; raises Misconfigured when the port is taken or the address is not this machine's."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen(BACKLOG)  # from here on whoever is told the address is served, at the latest in a moment
    except OSError as error:
        listening.close()
        raise _refused(host, port, error) from None
    return listening


def _refused(host: str, port: int, error: OSError) -> Misconfigured:
    if error.errno == errno.EADDRINUSE:
        return Misconfigured(
            f"Port {port} of {host} is taken by another program",
            "Stop that one, or set another web.port.",
            field="web.port",
        )
    if error.errno == errno.EACCES:
        return Misconfigured(
            f"Port {port} is for the administrator of this machine only",
            "Set web.port to 1024 or more; a proxy in front can have the small one.",
            field="web.port",
        )
    return Misconfigured(
        f"{host} is no address of this machine ({error.strerror})", "Set web.bind to one that is.", field="web.bind"
    )


def serve_until_stopped(app: Callable[..., Any], listening: socket.socket, *, proxied: bool) -> None:
    """Answers requests in this thread and its helpers until SIGTERM or SIGINT comes.

    Without a proxy in front, what pretends to come from one is dropped before the pages see it.
    """
    threads = _Threads()
    threads.set_thread_count(THREADS)
    server = create_server(
        app, sockets=[listening], _dispatcher=threads, ident="", channel_timeout=30,
        # A hundred idle connections, waitress's usual limit, would keep everybody else out for half a minute.
        connection_limit=CONNECTIONS, asyncore_use_poll=True,
        max_request_body_size=16 * 1024 * 1024, clear_untrusted_proxy_headers=not proxied,
    )  # fmt: skip
    gc.freeze()  # modules stay: a full collection, for which every thread waits, took 33 ms to walk them (measured)
    try:
        server.run()
    finally:
        server.close()


@contextmanager
def stop_on_signals() -> Iterator[None]:
    """Within it SIGTERM and SIGINT raise Stop in the main thread; a second one is ignored while stopping."""

    def stop(_number: int, _frame: FrameType | None) -> None:
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, signal.SIG_IGN)
        raise Stop(0)

    before = {number: signal.signal(number, stop) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    except Stop:
        pass
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
