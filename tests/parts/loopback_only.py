"""Keeps every test on this machine: a connection or a name look-up that would leave it fails the test."""

from __future__ import annotations

import ipaddress
import socket
import sys
from collections.abc import Iterator
from typing import Any

import pytest


class LeftTheMachine(OSError):
    """A test tried to reach another machine."""


class Guard:
    """An audit hook sees every socket of this process, also those opened by libraries.

    The refusal is also written down, so that code which swallows the error cannot hide it.
    """

    def __init__(self) -> None:
        self.attempts: list[str] = []

    def __call__(self, event: str, args: tuple[Any, ...]) -> None:
        if event in ("socket.connect", "socket.sendto"):
            self._check(*args)
        elif event == "socket.getaddrinfo" and args[0] and _needs_a_name_server(_text(args[0])):
            self._refuse(f"look up {_text(args[0])}")

    def _check(self, sock: socket.socket, address: Any) -> None:
        if sock.family in (socket.AF_INET, socket.AF_INET6) and not _is_here(_text(address[0])):
            self._refuse(f"reach {_text(address[0])}")

    def _refuse(self, what: str) -> None:
        self.attempts.append(what)
        raise LeftTheMachine(f"a test tried to {what}; tests stay on the loopback interface")

    def take_attempts(self) -> list[str]:
        """What was tried since the last call, and forget it."""
        taken, self.attempts = self.attempts, []
        return taken


def _text(host: str | bytes) -> str:
    return host.decode("ascii", "replace") if isinstance(host, bytes) else host


def _is_here(host: str) -> bool:
    address = _address(host)
    return not _needs_a_name_server(host) if address is None else address.is_loopback or address.is_unspecified


def _needs_a_name_server(host: str) -> bool:
    return _address(host) is None and host not in ("", "localhost", socket.gethostname())


def _address(host: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return None


@pytest.fixture(scope="session")
def loopback_guard() -> Guard:
    """One guard for the process: an audit hook cannot be taken off again."""
    guard = Guard()
    sys.addaudithook(guard)
    return guard


@pytest.fixture(autouse=True)
def _stays_on_this_machine(loopback_guard: Guard) -> Iterator[None]:
    loopback_guard.take_attempts()
    yield
    attempts = loopback_guard.take_attempts()
    if attempts:
        pytest.fail(f"this test tried to leave the machine: {', '.join(attempts)}", pytrace=False)
