"""One side of a figure about pages, a process of its own.

`python -m tests.bench.web_side ours CONFIG KEPT` is the product, which holds KEPT claim pages for the same look
again (0: makes every page anew); `... bare URL SHOP OCTETS` is the baseline of claim pages,
`... sheet URL SHOP TEMPLATES FILE` that of the day sheet, with what it says in a JSON file;
`... hook URL SECRET` that of signed calls.
Both are served by the product's own waitress with the same number of threads.
"""

from __future__ import annotations

import json
import logging
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from notify.cli.server import open_socket, serve_until_stopped, stop_on_signals
from notify.config.load import load
from notify.web.app import create_app
from notify.wiring import build
from tests.bench import baselines
from tests.parts.clock import START


def main(arguments: list[str]) -> None:
    """Prints the port; ends when standard input does."""
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # sixteen questions for eight threads do wait
    listening = open_socket("127.0.0.1", 0)
    if arguments[0] == "ours":
        app = create_app(build(load(Path(arguments[1])), clock=running_clock()), kept_pages=int(arguments[2]))
    elif arguments[0] == "sheet":
        says = json.loads(Path(arguments[4]).read_text("utf-8"))
        app = baselines.bare_sheet(arguments[1], shop_id=arguments[2], templates=arguments[3], context=says)
    elif arguments[0] == "hook":
        app = baselines.bare_hook(arguments[1], secret=arguments[2])
    else:
        app = baselines.bare_app(arguments[1], shop_id=arguments[2], octets=int(arguments[3]))
    listening.listen()
    print(listening.getsockname()[1], flush=True)
    threading.Thread(target=_stop_with_parent, daemon=True).start()
    with stop_on_signals():
        serve_until_stopped(app, listening, proxied=False)


def running_clock() -> Callable[[], datetime]:
    """The day of the tests, but running: what is held for seconds must not be held for ever."""
    began = time.monotonic()
    return lambda: START + timedelta(seconds=time.monotonic() - began)


def _stop_with_parent() -> None:
    sys.stdin.read()
    os.kill(os.getpid(), signal.SIGTERM)


if __name__ == "__main__":
    main(sys.argv[1:])
