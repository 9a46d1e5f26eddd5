"""How tests start servers: never as root, on ports that were free, and never left behind."""

from __future__ import annotations

import ctypes
import os
import signal
import socket
import subprocess
from collections.abc import Callable
from typing import Any

UNPRIVILEGED = ("nobody", "nogroup")


def run_as() -> dict[str, Any]:
    """Arguments for subprocess: as root, become an unprivileged user in a folder that it may read."""
    if os.geteuid() != 0:
        return {}
    user, group = UNPRIVILEGED
    return {"user": user, "group": group, "extra_groups": [], "cwd": "/"}


def die_with_parent(number: signal.Signals) -> Callable[[], None]:
    """For `preexec_fn`: if the tests are killed, Linux ends the server too (PR_SET_PDEATHSIG is 1 in prctl(2))."""
    libc = ctypes.CDLL(None)

    def ask() -> None:
        libc.prctl(1, number)

    return ask


def end(process: subprocess.Popen[bytes], *, number: signal.Signals = signal.SIGTERM) -> None:
    """Ask it to stop, wait, and end it by force if it does not."""
    if process.poll() is None:
        process.send_signal(number)
        try:
            process.wait(timeout=15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(timeout=15)


def free_ports(count: int) -> list[int]:
    """Loopback ports that were free a moment ago; all are held at once so that none comes twice."""
    held = [socket.create_server(("127.0.0.1", 0)) for _ in range(count)]
    ports = [one.getsockname()[1] for one in held]
    for one in held:
        one.close()
    return ports
