"""`shelfbell serve` as a real process: one at a time, stopped at once, and clear when it cannot start."""

from __future__ import annotations

import signal
import socket
import time
from contextlib import closing
from pathlib import Path

import pytest

from notify.flows import check_in
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from tests.parts.installation import NEVER_QUIET, Installation, Serving, make_installation, owner_of

pytestmark = pytest.mark.real


@pytest.fixture
def shop(tmp_path: Path) -> Installation:
    """An installation whose messages leave at once, into its Maildir."""
    return make_installation(tmp_path, **{"bell.wait_seconds": 0, **NEVER_QUIET})


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_serves_sends_and_stops_when_asked(shop: Installation, number: signal.Signals) -> None:
    serving = Serving(shop)
    ready = serving.wait_ready()
    assert serving.get("/healthz") == 200
    services = shop.open()
    form = VisitForm(bringer=PersonForm(name="Ida", email="ida@example.org"), devices=(DeviceForm("Radio"),))
    check_in.check_in(services.context, owner_of(services), form)
    committed = time.monotonic()
    sent = _wait_for_mail(shop.config.parent / "data" / "mail" / "new")
    shop.close()
    code, took, errors = serving.stop(number)
    after = sent - committed
    print(f"FIGURE serve_{number.name.lower()} ready_s={ready:.2f} sent_after_s={after:.2f} stopped_s={took:.2f}")
    assert code == 0, errors
    assert "Traceback" not in errors and "ida@example.org" not in errors


def _wait_for_mail(folder: Path) -> float:
    until = time.monotonic() + 60
    while time.monotonic() < until:
        if folder.is_dir() and any(folder.iterdir()):
            return time.monotonic()
        time.sleep(0.02)
    raise AssertionError("no message left")


def test_a_second_one_on_the_same_folder_is_refused_and_names_the_first(shop: Installation) -> None:
    with Serving(shop) as first:
        second = Serving(shop)
        _, errors = second.process.communicate(timeout=120)
        assert second.process.returncode == 5
        assert f"as process {first.process.pid}" in errors.decode()
        assert first.get("/sign-in") == 200
    third = Serving(shop)  # the lock went with the first
    third.wait_ready()
    assert third.stop()[0] == 0


def test_after_a_kill_the_next_one_starts_although_the_lock_file_is_still_there(shop: Installation) -> None:
    with_it = Serving(shop)
    with_it.wait_ready()
    with_it.kill()
    assert (shop.config.parent / "data" / "serve.lock").exists()
    with Serving(shop) as again:
        assert again.get("/sign-in") == 200


def test_a_taken_port_is_a_sentence(shop: Installation) -> None:
    with closing(socket.create_server(("127.0.0.1", shop.port))):
        serving = Serving(shop)
        _, errors = serving.process.communicate(timeout=120)
    assert serving.process.returncode == 6
    assert errors.decode() == (
        f"Port {shop.port} of 127.0.0.1 is taken by another program. Stop that one, or set another web.port.\n"
    )


def test_a_request_in_hand_and_an_idle_connection_do_not_hold_the_stop_up(shop: Installation) -> None:
    serving = Serving(shop)
    serving.wait_ready()
    with closing(socket.create_connection(("127.0.0.1", shop.port))) as half:
        half.sendall(b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 1000\r\n\r\nname=")
        code, took, errors = serving.stop()
    print(f"FIGURE serve_half_request stopped_s={took:.2f}")
    assert code == 0 and took < 20, errors  # while it runs, a connection that says nothing is kept for 30 seconds


def test_halves_of_the_service_are_refused_on_sqlite(shop: Installation) -> None:
    for command in ("web", "worker"):
        half = Serving(shop, command)
        _, errors = half.process.communicate(timeout=120)
        assert half.process.returncode == 6
        assert "shelfbell serve" in errors.decode() and "Traceback" not in errors.decode()
