"""The demo's shop on one fixed afternoon, served on loopback: the same in every run."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from notify.cli.demo import OPENED, live
from notify.cli.demo_shop import open_shop
from notify.cli.demo_stage import MovedClock, Stage
from notify.cli.server import open_socket
from notify.config.first_setup import write_first_installation
from notify.config.load import load
from notify.wiring import build
from tests.parts.live import serving, switch_on

NOW = datetime(2026, 11, 25, 14, 10, tzinfo=UTC)  # a Wednesday


@contextmanager
def town(folder: Path, *, port: int = 0) -> Iterator[tuple[Stage, str]]:
    """The stage with all its stories played, numbers from a seed, and the address of its pages."""
    dice, ids = random.Random(23), itertools.count(1)
    with ExitStack() as stack:
        listening = stack.enter_context(open_socket("127.0.0.1", port))
        base = f"http://127.0.0.1:{listening.getsockname()[1]}"
        config = write_first_installation(folder / "town", public_url=base, random_bytes=dice.randbytes)
        switch_on(config, {
            "mail.sender_name": "Tramstop Bench", "mail.sender_address": "counter@example.org",
            "sms.transport": "mailgate", "sms.template": "{digits}@sms.example.org",
            "bell.quiet_from": "00:00", "bell.quiet_until": "00:00",
        })  # fmt: skip
        clock = MovedClock(NOW - OPENED)
        services = build(
            load(config), clock=clock, new_id=lambda: f"00000000-0000-4000-8000-{next(ids):012x}",
            pick=dice.randrange, jitter=lambda: 0.5, upgrade=True,
        )  # fmt: skip
        stack.callback(services.close)
        stage = open_shop(services, clock, NOW)
        live(stage)
        stack.enter_context(serving(services, listening, demo=True))
        yield stage, base
