"""Prints one JSON line per figure: `python -m tests.bench [NAME ...]`, all of them within ten minutes."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Callable

from tests.bench import (
    backup,
    bench_order,
    bookings,
    calendar_reply,
    capacity,
    claim_page,
    composed,
    day_sheet,
    forecast,
    forget,
    held,
    history,
    idle,
    invite,
    lookup,
    messages,
    outbox,
    places,
    reforecast,
    smtp_channel,
    vault,
    watch,
    webhook,
    workers,
)
from tests.bench.line import Figure, machine

GROUPS: dict[str, Callable[[], list[Figure]]] = {
    "messages": lambda: messages.figures(n=20, rounds=15, drained=500, drain_rounds=10),
    "composed": lambda: composed.figures(n=500, rounds=10, slow=64, slow_rounds=2),
    "outbox": lambda: outbox.figures(n=1000, rounds=5, jobs=200, archive=1_000_000, claims=100),
    "workers": lambda: workers.figures(n=500, rounds=5),
    "bookings": lambda: bookings.figures(attempts=1000, places=100, rounds=5),
    "places": lambda: places.figures(past=100_000, coming=2000, rounds=7, looks=5),
    "claim_page": lambda: claim_page.figures(seconds=1.5, rounds=9),
    "day_sheet": lambda: day_sheet.figures(seconds=2, rounds=7),
    "smtp_channel": lambda: smtp_channel.figures(n=150, rounds=15),
    "calendar_reply": lambda: calendar_reply.figures(n=300, rounds=9),
    "capacity": lambda: capacity.figures(days=4000, rounds=9),
    "history": lambda: history.figures(lines=100_000, rounds=3),
    "reforecast": lambda: reforecast.figures(tickets=60, rounds=9),
    "bench_order": lambda: bench_order.figures(afternoons=12, rounds=5),
    "forecast": lambda: forecast.figures(rounds=7),
    "invite": lambda: invite.figures(n=200, rounds=15),
    "watch_idle": lambda: watch.idle(sqlite_rows=1_000_000, server_rows=200_000, rounds=9, looks=20),
    "watch_take": lambda: watch.take(tickets=2_500, rounds=8),
    "webhook": lambda: webhook.figures(calls=300, rounds=9),
    "vault": lambda: vault.figures(contacts=10_000, rounds=5),
    "lookup": lambda: lookup.figures(many=20_000, rounds=5),
    "forget": lambda: forget.figures(people=10_000),
    "held": lambda: held.figures(people=5_000, rounds=5),
    "backup": lambda: backup.figures(megabytes=200, rounds=3, seconds=2),
    "idle": lambda: idle.figures(seconds=20, settle=20),
}


def main(names: list[str]) -> None:
    """Runs the named groups, or all."""
    if unknown := set(names) - GROUPS.keys():
        sys.exit(f"There is no figure {', '.join(sorted(unknown))}. There are: {', '.join(GROUPS)}.")
    failed = [name for name in names or GROUPS if not run(name)]
    if failed:
        sys.exit(f"Not measured: {', '.join(failed)}.")


def run(name: str) -> bool:
    """Prints the lines of one group; False when it could not be measured, so that the others still are."""
    about = machine()
    try:
        for figure in GROUPS[name]():
            print(figure.as_json(about), flush=True)
    except Exception:
        traceback.print_exc()
        return False
    return True


if __name__ == "__main__":
    main(sys.argv[1:])
