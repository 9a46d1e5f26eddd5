"""Serves a house's pages from a process of its own: `python -m tests.parts.serve_house CONFIG PORT INSTANT`.

One more process beside the one under test, wired from the same settings file; it ends with its parent.
"""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path

from waitress.server import create_server  # type: ignore[import-untyped]

from notify import wiring
from notify.channels.memory import MemoryChannel
from notify.config.load import load
from notify.web.app import create_app
from tests.parts.clock import FakeClock


def main(config: str, port: str, instant: str) -> None:
    """Answers requests until ended; says "ready" once it does."""
    clock = FakeClock(datetime.fromisoformat(instant))
    services = wiring.build(
        load(Path(config)), clock=clock, channels={"email": MemoryChannel(), "sms": MemoryChannel()}
    )
    server = create_server(create_app(services), host="127.0.0.1", port=int(port), threads=4, ident="")
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    server.run()


if __name__ == "__main__":
    main(*sys.argv[1:])
