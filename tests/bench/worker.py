"""A worker process of an installation: `python -m tests.bench.worker CONFIG PORT`.

Each line on standard input is a time (ISO 8601); it answers with what it delivered of what was due by then.
"""

from __future__ import annotations

import json
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from notify.channels.smtp import SmtpChannel, SmtpSettings
from notify.config.load import load
from notify.wiring import build


def main(config: Path, port: int) -> None:
    """Ends when standard input does."""
    now = [datetime.min.replace(tzinfo=UTC)]
    channel = SmtpChannel(SmtpSettings("127.0.0.1", port, security="none"))
    services = build(load(config), clock=lambda: now[0], channels={"email": channel})
    (shop_id,) = services.shop_ids()
    print("ready", flush=True)
    for line in sys.stdin:
        now[0], done = datetime.fromisoformat(line.strip()), 0
        began, busy = time.perf_counter(), time.process_time()
        while claimed := services.dispatcher.run_once(shop_id):
            done += claimed
        answer = {"done": done, "seconds": time.perf_counter() - began, "busy": time.process_time() - busy}
        print(json.dumps(answer), flush=True)
    services.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
