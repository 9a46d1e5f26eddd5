"""A counter that goes on working while its disk fails: `python -m tests.parts.toil CONFIG SEED SHARE SECONDS`.

Checks devices in and delivers into a Maildir, in one process with all its background work, as `shelfbell serve`
does. Writes `ack <visit>` for each check-in that returned, and at the end one line of JSON about itself.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections import Counter
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from typing import Any

from notify.cli.logs import set_up
from notify.config.load import load
from notify.core.actors import Actor
from notify.flows import check_in
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.schedule.jobs import CHECKPOINT, JOBS
from notify.schedule.runner import Runner
from notify.store import messages
from notify.store.trouble import trouble_of
from notify.wiring import Services, build, system_clock
from tests.parts.disk_faults import DiskFaults
from tests.parts.installation import owner_of

WAITS_AT_MOST = 60.0  # seconds for what is still to be sent once the disk is well


def toil(services: Services, owner: Actor, until: float) -> Counter[str]:
    """Checks devices in until the time is over; what came of it by kind."""
    tally, n = Counter[str](), 0
    while time.monotonic() < until:
        n += 1
        form = VisitForm(PersonForm(f"Customer {n}", email=f"customer{n}@example.org"), devices=(DeviceForm("Radio"),))
        try:
            done = check_in.check_in(services.context, owner, form)
        except Exception as error:
            told = "told" if trouble_of(error) else f"unforeseen {type(error).__name__}"
            tally[told] += 1
            time.sleep(0.005)
            continue
        tally["acked"] += 1
        say(f"ack {done.visit_id}\n")
    return tally


def say(text: str) -> None:
    """Writes a line however often it takes: the pipe's calls fail as well."""
    rest = text.encode()
    while rest:
        with suppress(OSError):
            rest = rest[os.write(1, rest) :]


def waiting(services: Services) -> int:
    """Messages that still wait; -1 while nobody can say."""
    try:
        with services.context.db.read(services.shop_ids()[0]) as unit:
            return len(messages.list_messages(unit, states=["waiting"], limit=10_000))
    except Exception as error:
        if trouble_of(error) is None:
            raise
        return -1


def main(config: str, seed: str, share: str, seconds: str) -> None:
    """Works, with failures and then without, in one life."""
    later = [timedelta(0)]
    settings = load(Path(config))
    set_up(settings.log)
    services = build(settings, clock=lambda: system_clock() + later[0])
    runner = Runner(services, by="toil", jobs=(*JOBS, CHECKPOINT))
    runner.start()
    owner = owner_of(services)
    toil(services, owner, time.monotonic() + 0.5)  # what is read but once has been read
    faults = DiskFaults(seed=int(seed), share=float(share))
    faults.begin()
    tally = toil(services, owner, time.monotonic() + float(seconds))
    faults.end()
    later[0] += timedelta(hours=3)  # what was put off is due
    until = time.monotonic() + WAITS_AT_MOST
    while waiting(services) and time.monotonic() < until:
        time.sleep(0.05)
    left: dict[str, Any] = {
        "injected": sum(faults.injected.values()), "asked": faults.asked, "calls": dict(faults.injected),
        "waiting": waiting(services), "tally": dict(tally),
    }  # fmt: skip
    runner.stop(seconds=10)
    services.close()
    say(json.dumps(left) + "\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
