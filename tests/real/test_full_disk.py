"""No room left under the running service: what was acknowledged is told, the rest refused in words, nobody restarts."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from email import message_from_bytes
from pathlib import Path

import pytest

from notify.store import messages
from tests.parts.installation import NEVER_QUIET, PASSWORD, ROOT, Installation, Serving, make_installation
from tests.parts.missing import missing
from tests.parts.smtp_server import SmtpServer
from tests.parts.web_hand import Hand

pytestmark = pytest.mark.real
MEGABYTES = 8
REFUSALS = 6


class Full:
    """The service with its room, which can be used up and given back while it runs."""

    def __init__(
        self, shop: Installation, service: Serving, squeeze: Callable[[], None], free: Callable[[], None]
    ) -> None:
        self.shop, self.service, self.squeeze, self.free = shop, service, squeeze, free
        self.hand = Hand(f"http://127.0.0.1:{shop.port}")
        self.acked: list[str] = []
        self.refused: list[str] = []
        self.other: list[int] = []
        self.number = ""  # of the first visit: its person is to be forgotten

    def check_in(self) -> int:
        """One check-in on the page, for somebody who has e-mail; the status of the answer."""
        n = len(self.acked) + len(self.refused)
        form = {
            "name": f"Customer {n}", "email": f"customer{n}@example.org", "email_purposes": "repair",
            "device-1": "Kestrel radio", "device_class-1": "radio", "language": "en", "check_in": "yes",
        }  # fmt: skip
        status, text, leads = self.hand.send("/check-in", form)
        if status == 303:
            self.acked.append(leads.removeprefix("/visits/"))
        elif status == 503:
            self.refused.append(text)
        else:
            self.other.append(status)
        return status

    def command(self, *words: str, out: bool = False) -> tuple[int, str]:
        """A command beside the service, in the same squeezed room; its exit code and what it said of errors."""
        line = [sys.executable, "-m", "notify", *words, "--config", str(self.shop.config)]
        limits = resource.prlimit(self.service.process.pid, resource.RLIMIT_FSIZE)
        done = subprocess.run(line, cwd=ROOT, capture_output=True, timeout=60, check=False,
                              preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, limits))  # fmt: skip
        return done.returncode, (done.stdout if out else done.stderr).decode()


@pytest.fixture
def sink(start_smtp: Callable[..., SmtpServer]) -> SmtpServer:
    return start_smtp(security="none")


def serving(folder: Path, sink: SmtpServer) -> tuple[Installation, Serving]:
    shop = make_installation(folder, **{
        "mail.transport": "smtp", "mail.host": "127.0.0.1", "mail.port": sink.port, "mail.security": "none",
        "bell.wait_seconds": 0, **NEVER_QUIET,
    })  # fmt: skip
    return shop, Serving(shop)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of a few megabytes of its own; only root can mount one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={MEGABYTES}m", "shelfbell-test", str(disk)]
    if os.geteuid() or subprocess.run(mount, capture_output=True, check=False).returncode:
        missing("a small file system (tmpfs)", "run as root where mounting is allowed")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


def test_a_full_disk_refuses_in_words_and_goes_on_once_there_is_room(small_disk: Path, sink: SmtpServer) -> None:
    shop, service = serving(small_disk, sink)
    ballast = small_disk / "ballast"

    def fill() -> None:
        with suppress(OSError), ballast.open("ab", buffering=0) as file:
            while True:
                file.write(b"\0" * 4096)

    live_through(Full(shop, service, fill, ballast.unlink), sink, "tmpfs")


def test_a_limit_on_the_size_of_files_does_the_same(tmp_path: Path, sink: SmtpServer) -> None:
    shop, service = serving(tmp_path, sink)

    def limit(octets: int) -> None:
        resource.prlimit(service.process.pid, resource.RLIMIT_FSIZE, (octets, resource.RLIM_INFINITY))

    live_through(Full(shop, service, lambda: limit(4096), lambda: limit(resource.RLIM_INFINITY)), sink, "RLIMIT_FSIZE")


def live_through(full: Full, sink: SmtpServer, what: str) -> None:
    """Well, squeezed, well again: in one life of the process."""
    try:
        full.service.wait_ready()
        full.hand.sign_in("Owner", PASSWORD)
        assert [full.check_in() for _ in range(3)] == [303] * 3
        full.number = json.loads(full.command("ticket", "list", "--json", out=True)[1])[0]["number"]
        until = time.monotonic() + 60
        while len(full.refused) < REFUSALS and time.monotonic() < until:
            full.squeeze()
            full.check_in()
        before, reading = len(full.acked), [full.hand.ask(path)[0] for path in ("/", "/sign-in", "/healthz")]
        code, said = full.command("check-in", "--device", "Radio", "--name", "Ida", "--email", "ida@example.org")
        purge = full.command("forget", "--person", full.number, "--yes")
        full.free()
        freed = time.monotonic()
        while full.check_in() != 303:
            assert time.monotonic() - freed < 60, "it did not recover by itself"
            time.sleep(0.2)
        recovered = time.monotonic() - freed
        assert [full.check_in() for _ in range(3)] == [303] * 3
        lost = _lost(full, sink)
        again = full.command("forget", "--person", full.number, "--yes")
        assert full.service.process.poll() is None
    finally:
        _, _, errors = full.service.stop()
    tracebacks = sum("Traceback" in text or "sqlalchemy" in text for text in (*full.refused, said, purge[1], errors))
    print(f"FIGURE B3_no_room how={what} acked={len(full.acked)} acked_while_full={before - 3} "
          f"refused_in_words={len(full.refused)} acked_lost={len(lost)} tracebacks_shown={tracebacks} "
          f"recovers_without_restart=yes recovered_s={recovered:.1f} purge_put_off={int(purge[0] == 75)}")  # fmt: skip
    assert lost == [] and tracebacks == 0 and full.other == []
    assert all("try again in a minute" in text and "<h1>" in text for text in full.refused)
    assert reading == [200, 200, 200], "looking needs no room"
    assert code == 75 and len(said.splitlines()) == 1 and "It was not done" in said, (code, said)
    # A full disk may have room left within a journal; a purge that found none says so, and is done when asked again.
    assert (purge[0], len(purge[1].splitlines())) in ((75, 1), (0, 0)), purge
    assert again[0] == (0 if purge[0] else again[0]), again
    assert "POST /check-in could not be answered: The disk with the database" in errors, errors


def _lost(full: Full, sink: SmtpServer) -> list[str]:
    """The acknowledged visits about which nothing came to the mail server, however long one waits."""
    services = full.shop.open()
    until = time.monotonic() + 90
    while True:
        with services.context.db.read(services.shop_ids()[0]) as unit:
            rows = messages.list_messages(unit, limit=10_000)
        came = {str(message_from_bytes(one.content)["Message-ID"]) for one in sink.messages}
        told = {row.visit_id for row in rows if row.message_id in came and row.state == "sent"}
        lost = [visit for visit in full.acked if visit not in told]
        if not lost or time.monotonic() > until:
            full.shop.close()
            return lost
        time.sleep(0.2)
