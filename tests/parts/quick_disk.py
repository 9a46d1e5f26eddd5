"""Puts the folders of tests into memory where there is room: every commit waits for its disk, which no test is about.

What a disk does when it is full, fails or loses power is tested on disks that the tests make themselves.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

IN_MEMORY = Path("/dev/shm")
OURS = f"shelfbell-tests-{os.getuid()}-"
ENOUGH = 6 * 1024**3  # bytes, of the folder and of free memory alike


def pytest_configure(config: pytest.Config) -> None:
    """Before the workers start, who are told where; a folder that was asked for stays what it is."""
    chosen = config.option.basetemp or "PYTEST_DEBUG_TEMPROOT" in os.environ or hasattr(config, "workerinput")
    if not chosen and _has_room():
        _clear_up()
        folder = IN_MEMORY / f"{OURS}{os.getpid()}"
        folder.mkdir(mode=0o700)
        os.environ["PYTEST_DEBUG_TEMPROOT"] = str(folder)
        config.add_cleanup(lambda: _leave(folder))


def _leave(folder: Path) -> None:
    os.environ.pop("PYTEST_DEBUG_TEMPROOT", None)
    shutil.rmtree(folder, ignore_errors=True)


def _clear_up() -> None:
    """What runs that were killed have left."""
    for folder in IN_MEMORY.glob(f"{OURS}*"):
        if not Path(f"/proc/{folder.name.removeprefix(OURS)}").exists():
            shutil.rmtree(folder, ignore_errors=True)


def _has_room() -> bool:
    """Room for the largest files that tests make, where programs may run, and memory to back it."""
    try:
        of = os.statvfs(IN_MEMORY)
        lines = Path("/proc/meminfo").read_text("ascii").splitlines()
    except OSError:
        return False
    free = next((int(line.split()[1]) * 1024 for line in lines if line.startswith("MemAvailable:")), 0)
    return (
        os.access(IN_MEMORY, os.W_OK) and not of.f_flag & os.ST_NOEXEC and min(of.f_bavail * of.f_frsize, free) > ENOUGH
    )
