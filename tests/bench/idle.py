"""What `shelfbell serve` costs while nothing happens: memory, and the share of a core."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from notify.store import migrate
from tests.bench.line import Figure, Side
from tests.bench.processes import ROOT, cpu_seconds
from tests.parts.clock import FakeClock
from tests.parts.house import make_house
from tests.parts.processes import free_ports

MEMORY_LIMIT, CPU_LIMIT = 150.0, 0.5  # MB of resident memory, per cent of one core
AGAINST = "a physical limit: nothing is asked of the process while it is measured; ratio is ours / limit"


def figures(*, seconds: float, settle: float) -> list[Figure]:
    """`idle_memory` and `idle_cpu` of one process: `settle` seconds after its first page, over `seconds`."""
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name:
        config, port = _installation(Path(name))
        with _serving(config, port) as process:
            time.sleep(settle)
            before, began = cpu_seconds(process.pid), time.monotonic()
            time.sleep(seconds)
            taken = time.monotonic() - began
            share = (cpu_seconds(process.pid) - before) / taken * 100
            memory = resident_mb(process.pid)
            assert process.poll() is None, "the service ended while it was measured"
    more = {"seconds": seconds, "settled_for": settle}
    return [
        _limit("idle_memory", memory, MEMORY_LIMIT, "MB", more),
        _limit("idle_cpu", share, CPU_LIMIT, "% of a core", more),
    ]


def _limit(name: str, value: float, limit: float, unit: str, more: dict[str, float]) -> Figure:
    return Figure(
        name, value / limit, 1.0, AGAINST, 1, Side(value, unit), Side(limit, unit), higher=False, more=dict(more)
    )


def _installation(folder: Path) -> tuple[Path, int]:
    """A first installation with a shop and a repair, its settings and a free port."""
    url = f"sqlite:///{folder / 'shelfbell.db'}"
    migrate.upgrade(url)
    house = make_house(folder, url, clock=FakeClock())
    house.check_in()
    house.services.close()
    (config,) = (folder / "house").glob("*.toml")
    (port,) = free_ports(1)
    lines = re.sub(r"^#port = 8600$", f"port = {port}", config.read_text("utf-8"), flags=re.MULTILINE)
    assert f"\nport = {port}\n" in lines
    config.write_text(lines, "utf-8")
    return config, port


@contextmanager
def _serving(config: Path, port: int) -> Iterator[subprocess.Popen[bytes]]:
    """`shelfbell serve`, from its first answer on; stopped as an owner would."""
    process = subprocess.Popen(
        [sys.executable, "-m", "notify", "--config", str(config), "serve"], cwd=ROOT,
        stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        _wait_for(process, port)
        yield process
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            process.communicate(timeout=15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()


def _wait_for(process: subprocess.Popen[bytes], port: int, *, seconds: float = 30) -> None:
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        if process.poll() is not None:
            told = process.stderr.read().decode() if process.stderr else ""
            raise RuntimeError(f"shelfbell serve ended with {process.returncode}: {told[-2000:]}")
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/sign-in", timeout=5) as answer:
                answer.read()
            return
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.1)
    raise RuntimeError(f"shelfbell serve did not answer within {seconds} seconds")


def resident_mb(pid: int) -> float:
    """Resident memory in MB of 1024 * 1024 octets (proc(5): VmRSS, which is in kB)."""
    found = re.search(r"^VmRSS:\s+(\d+) kB", Path(f"/proc/{pid}/status").read_text("utf-8"), re.MULTILINE)
    assert found is not None
    return int(found[1]) / 1024
