"""The guard, the clock and the figures that every test relies on do what they promise."""

from __future__ import annotations

import smtplib
import socket
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from tests.parts.clock import FakeClock
from tests.parts.loopback_only import Guard, LeftTheMachine

ROOT = Path(__file__).resolve().parents[2]
# RFC 5737 and RFC 3849: addresses for documentation, where no machine is.
ELSEWHERE = ["192.0.2.1", "2001:db8::1"]


@pytest.mark.parametrize("address", ELSEWHERE)
def test_a_connection_to_another_machine_is_refused_and_remembered(address: str, loopback_guard: Guard) -> None:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family) as outside, pytest.raises(LeftTheMachine):
        outside.connect((address, 25))
    assert loopback_guard.take_attempts() == [f"reach {address}"]


def test_a_datagram_and_a_name_lookup_are_refused_too(loopback_guard: Guard) -> None:
    with socket.socket(type=socket.SOCK_DGRAM) as outside, pytest.raises(LeftTheMachine):
        outside.sendto(b"x", (ELSEWHERE[0], 53))
    with pytest.raises(LeftTheMachine):
        socket.getaddrinfo("mail.example.org", 25)
    assert loopback_guard.take_attempts() == ["reach 192.0.2.1", "look up mail.example.org"]


def test_code_that_swallows_the_refusal_cannot_hide_it(loopback_guard: Guard) -> None:
    try:
        smtplib.SMTP("192.0.2.1", 25, timeout=1)
    except OSError as error:
        assert isinstance(error, LeftTheMachine)
    assert loopback_guard.take_attempts() == ["reach 192.0.2.1"]


def test_the_loopback_interface_stays_open() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server, socket.create_connection(server.getsockname()) as client:
        assert client.getpeername() == server.getsockname()


def test_the_clock_stands_still_until_it_is_moved(clock: FakeClock) -> None:
    began = clock()
    assert clock() == began
    assert clock.advance(90) - began == timedelta(seconds=90)
    assert clock.advance(-3600) < began
    assert clock().tzinfo is UTC


def test_the_clock_takes_any_zone_hands_out_utc_and_refuses_none(clock: FakeClock) -> None:
    clock.set(datetime(2026, 11, 25, 9, 0, tzinfo=timezone(timedelta(hours=3))))
    assert clock().isoformat() == "2026-11-25T06:00:00+00:00"
    with pytest.raises(ValueError, match="aware"):
        clock.set(datetime(2026, 11, 25, 9, 0))


INNER = '''
"""Stands in for a test file."""
import logging
import socket

def test_names_somebody_in_the_log():
    logging.getLogger("shelfbell.planted").info("could not reach %s", "07700 900 123")

def test_passes():
    print("FIGURE shown value=1")
    print("not a figure")

def test_fails():
    print("FIGURE hidden value=2")
    assert False

def test_leaves_and_swallows_the_refusal():
    try:
        socket.create_connection(("192.0.2.1", 9), timeout=1)
    except OSError:
        pass
'''


@pytest.fixture(scope="module")
def inner_run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[subprocess.CompletedProcess[str]]:
    """A run of its own with two workers, as `make test` has."""
    folder = tmp_path_factory.mktemp("inner")
    (folder / "test_inner.py").write_text(INNER)
    plugins = [
        "-p",
        "tests.parts.figures",
        "-p",
        "tests.parts.loopback_only",
        "-p",
        "tests.parts.log_ear",
        "-p",
        "no:cacheprovider",
    ]
    command = [sys.executable, "-m", "pytest", "-n", "2", *plugins, str(folder)]
    yield subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


@pytest.mark.real
def test_figures_of_passing_tests_are_shown_and_others_are_not(
    inner_run: subprocess.CompletedProcess[str],
) -> None:
    summary = inner_run.stdout.partition("= figures =")[2]
    assert "FIGURE shown value=1" in summary
    assert "hidden" not in summary
    assert "not a figure" not in summary


@pytest.mark.real
def test_a_test_that_leaves_the_machine_fails_even_if_it_looks_passed(
    inner_run: subprocess.CompletedProcess[str],
) -> None:
    assert "this test tried to leave the machine: reach 192.0.2.1" in inner_run.stdout
    assert "1 failed, 3 passed, 2 errors" in inner_run.stdout


@pytest.mark.real
def test_a_test_in_whose_log_somebody_stands_fails_without_saying_who(
    inner_run: subprocess.CompletedProcess[str],
) -> None:
    assert "somebody stands in what was logged by shelfbell.planted" in inner_run.stdout
    assert "FIGURE E4_suite lines=1 hits=1" in inner_run.stdout
