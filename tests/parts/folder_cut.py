"""A process that looks at a watched folder again and again, and is killed each time one step later.

`python -m tests.parts.folder_cut CONFIG FOLDER`: prints how each of its children ended.
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

from notify.config.load import load
from notify.watch.folder import look
from notify.wiring import build
from tests.parts.watched_folder import make_watch

# (which step of a look it dies at, the step's name): the file's journey, each look going on where the last one died.
DEATHS = ((1, "claimed"), (1, "turn"), (2, "turn"), (3, "refused"), (4, "taken"))


def die_at(config: Path, folder: Path, number: int, name: str) -> None:
    """One look that is killed at its step of this number; it never returns when the step has the name expected."""
    steps: list[str] = []

    def step(point: str) -> None:
        steps.append(point)
        if len(steps) == number and point == name:
            os.kill(os.getpid(), signal.SIGKILL)

    services = build(load(config))
    look(services.context, services.shop_ids()[0], make_watch(folder), limit_bytes=1_000_000, fault=step)


if __name__ == "__main__":
    for death in DEATHS:
        child = os.fork()
        if not child:
            die_at(Path(sys.argv[1]), Path(sys.argv[2]), *death)
            os._exit(0)
        print(death[1], os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
