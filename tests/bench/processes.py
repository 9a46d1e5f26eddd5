"""The other processes of a measurement: started from here, spoken to by lines, ended by their own handle."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

ROOT = Path(__file__).resolve().parents[2]


class Helper:
    """A process that answers each line it is given with one line."""

    def __init__(self, module: str, *arguments: str) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", module, *arguments], cwd=ROOT, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        self.pid = self._process.pid
        self.first = self._line()

    def ask(self, question: str = "") -> Any:
        """What it answers, read as JSON."""
        stdin: IO[str] = self._process.stdin  # type: ignore[assignment]
        stdin.write(f"{question}\n")
        stdin.flush()
        return json.loads(self._line())

    def stay_on(self, core: int) -> None:
        """Keeps all its threads, those to come as well, on one core (sched(7): a thread inherits its maker's)."""
        for thread in Path(f"/proc/{self.pid}/task").iterdir():
            os.sched_setaffinity(int(thread.name), {core})

    def end(self) -> None:
        """Closes its input, which ends it; by force after a while."""
        try:
            self._process.communicate(timeout=10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.communicate()

    def _line(self) -> str:
        stdout: IO[str] = self._process.stdout  # type: ignore[assignment]
        line = stdout.readline()
        if not line:
            raise RuntimeError(f"process {self._process.args!r} ended without an answer")
        return line.strip()


@contextmanager
def helper(module: str, *arguments: str) -> Iterator[Helper]:
    """Starts `python -m module` and ends it afterwards."""
    running = Helper(module, *arguments)
    try:
        yield running
    finally:
        running.end()


@contextmanager
def on_core(core: int) -> Iterator[None]:
    """This thread on one core for a while: where two processes talk, their placement makes a tenfold difference."""
    before = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {core})
    try:
        yield
    finally:
        os.sched_setaffinity(0, before)


def cores() -> tuple[int, int]:
    """Two cores of this machine, the same one twice where there is only one."""
    allowed = sorted(os.sched_getaffinity(0))
    return allowed[0], allowed[-1]


def cpu_seconds(pid: int) -> float:
    """Processor seconds of all threads so far, user and system (proc(5): fields 14 and 15 of stat)."""
    fields = Path(f"/proc/{pid}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
