"""How tests start servers: never as root, on ports that were free, and never left behind."""

from __future__ import annotations

import ctypes
import os
import secrets
import signal
import socket
import subprocess
from collections.abc import Callable
from contextlib import suppress
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
            process.wait(timeout=60)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(timeout=60)


# Below the ports that Linux itself hands out (ip_local_port_range begins at 32768): nobody's outgoing connection and
# no server on port 0 takes one between our looking and our process's binding.
OURS = range(20_000, 32_000)


def free_ports(count: int) -> list[int]:
    """Loopback ports that were free a moment ago; all are held at once so that none comes twice."""
    held: list[socket.socket] = []
    while len(held) < count:
        with suppress(OSError):
            held.append(socket.create_server(("127.0.0.1", secrets.choice(OURS))))
    ports = [one.getsockname()[1] for one in held]
    for one in held:
        one.close()
    return ports
