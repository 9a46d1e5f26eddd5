"""A first installation in a temporary folder, as `shelfbell init` makes it, and `shelfbell serve` as a real process."""

from __future__ import annotations

import os
import secrets
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from notify.cli.init import make_first_shop
from notify.cli.passwords import Secret
from notify.config.first_setup import write_first_installation
from notify.config.load import load
from notify.core.actors import Actor
from notify.flows.view_lookup import acting_staff
from notify.wiring import Services, build, system_clock
from tests.parts.log_ear import EAR
from tests.parts.processes import die_with_parent, end, free_ports

ROOT = Path(__file__).resolve().parents[2]
SHOP = {"name": "Tramstop Bench", "phone": "+44 7700 900321", "email": "bench@example.org", "address": "3 Rope Walk"}
PASSWORD = "rope-walk-by-the-sea-3"
NEVER_QUIET = {"bell.quiet_from": "00:00", "bell.quiet_until": "00:00"}


@dataclass
class Installation:
    """Where it lies and on which port its pages are; `opened` are services to be closed at the end."""

    config: Path
    port: int
    opened: list[Services] = field(default_factory=list)

    def open(self, *, clock: Callable[[], datetime] = system_clock) -> Services:
        """The wired installation in this process, beside whatever else has it open."""
        self.opened.append(build(load(self.config), clock=clock))
        return self.opened[-1]

    def close(self) -> None:
        """Gives back what `open` opened."""
        for services in self.opened:
            services.close()


def make_installation(folder: Path, **changed: Any) -> Installation:
    """Settings, keys, database, shop, usual hours and the owner `Owner`; `changed` as {"web.port": 1} settings."""
    [port] = free_ports(1)
    config = write_first_installation(
        folder / "shop", public_url=changed.pop("public_url", ""), random_bytes=secrets.token_bytes,
        changed={"web.port": port, "mail.sender_address": "counter@example.org", **changed},
    )  # fmt: skip
    services = build(load(config), upgrade=True)
    make_first_shop(services, SHOP, owner="Owner", secret=Secret(PASSWORD))
    services.close()
    return Installation(config, port)


def owner_of(services: Services) -> Actor:
    """The owner of the only shop."""
    return acting_staff(services.context, services.shop_ids()[0], "")


class Serving:
    """`shelfbell serve` as a process of its own; as a context manager it is ended by SIGTERM."""

    def __init__(self, installation: Installation, *arguments: str) -> None:
        self.began = time.monotonic()
        self._port = installation.port
        self.process = subprocess.Popen(
            [sys.executable, "-m", "notify", *(arguments or ("serve",)), "--config", str(installation.config)],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, preexec_fn=die_with_parent(signal.SIGKILL),
            env={name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"},
        )  # fmt: skip

    def wait_ready(self, *, seconds: float = 60) -> float:
        """Waits until a page is answered; how long after the start that was."""
        while time.monotonic() - self.began < seconds:
            assert self.process.poll() is None, self.process.communicate()[1].decode()
            if self.get("/sign-in") == 200:
                return time.monotonic() - self.began
            time.sleep(0.02)
        raise AssertionError("no page was answered in time")

    def get(self, path: str) -> int:
        """The status of a page; 0 while nobody answers."""
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self._port}{path}", timeout=5) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            return error.code
        except OSError:
            return 0

    def kill(self) -> str:
        """SIGKILL, as a power cut of the process; what it had written on stderr."""
        self.process.kill()
        return self._reap()

    def stop(self, number: signal.Signals = signal.SIGTERM) -> tuple[int, float, str]:
        """Asks it to stop: exit code, seconds it took, what it wrote on stderr."""
        began = time.monotonic()
        self.process.send_signal(number)
        code = self.process.wait(timeout=60)
        took = time.monotonic() - began
        return code, took, self._reap()

    def _reap(self) -> str:
        if self.process.stderr is None or self.process.stderr.closed:
            return ""
        _, errors = self.process.communicate(timeout=60)
        EAR.hear(errors.decode(), by="a service of its own")
        return errors.decode()

    def __enter__(self) -> Serving:
        self.wait_ready()
        return self

    def __exit__(self, *_: object) -> None:
        end(self.process)
        self._reap()
