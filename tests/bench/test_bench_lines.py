"""Each figure runs with a tiny load and prints the line that a reader expects; nothing here judges speed."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from typing import Any

import pytest

from tests.bench import (
    backup,
    bench_order,
    bookings,
    calendar_reply,
    capacity,
    claim_page,
    composed,
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
    workers,
)
from tests.bench.line import Figure, Side, alternate, compare, machine

TINY: dict[str, tuple[Callable[[], list[Figure]], set[str]]] = {
    "messages": (
        lambda: messages.figures(n=2, rounds=1, drained=3, drain_rounds=1),
        {"messages_whole_life", "outbox_drain"},
    ),
    "composed": (
        lambda: composed.figures(n=4, rounds=1, slow=3, slow_rounds=1),
        {"composed_durable", "eight_connections"},
    ),
    "outbox": (
        lambda: outbox.figures(n=20, rounds=1, jobs=5, archive=2000, claims=2),
        {"outbox_huey", "outbox_apscheduler", "outbox_enqueue", "outbox_archive"},
    ),
    "workers": (lambda: workers.figures(n=12, rounds=1), {"two_workers"}),
    "bookings": (
        lambda: bookings.figures(attempts=40, places=4, rounds=1),
        {f"booking_{what}_{base}" for what in ("rush", "wait_p99") for base in ("sqlite", "postgresql")},
    ),
    "places": (
        lambda: places.figures(past=50, coming=20, rounds=1, looks=1),
        {"free_places_sqlite", "free_places_postgresql"},
    ),
    "claim_page": (lambda: claim_page.figures(seconds=0.6, rounds=1), {"claim_page", "claim_page_first_look"}),
    "smtp_channel": (lambda: smtp_channel.figures(n=3, rounds=1), {"smtp_channel"}),
    "calendar_reply": (lambda: calendar_reply.figures(n=3, rounds=1), {"calendar_reply", "calendar_bombs"}),
    "capacity": (lambda: capacity.figures(days=500, rounds=1), {"capacity"}),
    "history": (lambda: history.figures(lines=300, rounds=1), {"history_sqlite", "history_postgresql"}),
    "reforecast": (
        lambda: reforecast.figures(tickets=3, rounds=1),
        {"reforecast", "reforecast_cpu", "outlook_cpu"},
    ),
    "bench_order": (lambda: bench_order.figures(afternoons=1, rounds=1), {"bench_order", "bench_order_cpu"}),
    "forecast": (
        lambda: forecast.figures(rounds=1, small=12, large=20, runs=20, paths=(400, 200)),
        {
            *(
                f"forecast_{size}{against}"
                for size in ("small", "large", "large_in_hand")
                for against in ("", "_events")
            ),
            "forecast_growth",
        },
    ),
    "invite": (lambda: invite.figures(n=3, rounds=1), {"invite_composed"}),
    "watch_idle": (
        lambda: watch.idle(sqlite_rows=2_000, server_rows=2_000, rounds=1, looks=1),
        {"watch_idle_sqlite", "watch_idle_postgresql", "watch_idle_mariadb"},
    ),
    "watch_take": (lambda: watch.take(tickets=5, rounds=1), {"watch_take"}),
    "backup": (
        lambda: backup.figures(megabytes=1, rounds=1, seconds=0),
        {"backup_copy", "backup_online", "backup_whole"},
    ),
    "forget": (lambda: forget.figures(people=60, beside=False), {"forget"}),
    "held": (lambda: held.figures(people=20, rounds=1), {"held"}),
    "lookup": (
        lambda: lookup.figures(many=1100, rounds=1, looks=5),
        {"lookup_sqlite", "lookup_postgresql"},
    ),
    "vault": (lambda: vault.figures(contacts=20, rounds=1), {"vault_read"}),
    "idle": (lambda: idle.figures(seconds=0.3, settle=0), {"idle_memory", "idle_cpu"}),
}
FIELDS = {"name", "ratio", "goal", "met", "better", "against", "n", "ours", "theirs", "machine"}


@cache
def lines(group: str) -> list[dict[str, Any]]:
    """What one group prints; it is run once for all that look at it."""
    run, _ = TINY[group]
    return [json.loads(figure.as_json(machine())) for figure in run()]


@pytest.mark.real
@pytest.mark.parametrize("group", TINY)
def test_every_figure_prints_both_sides_with_units_and_the_machine(group: str) -> None:
    found = lines(group)
    assert {line["name"] for line in found} == TINY[group][1]
    for line in found:
        assert line.keys() >= FIELDS
        assert line["n"] >= 1 and line["against"] and isinstance(line["met"], bool)
        assert line["ours"]["unit"] == line["theirs"]["unit"] != ""
        assert line["theirs"]["value"] > 0 and line["ours"]["value"] >= 0
        assert {"cores", "python", "sqlite", "load_1min", "fdatasync_ms"} <= line["machine"].keys()


@pytest.mark.real
def test_both_sides_send_the_same_bytes_and_the_sink_counts_all_of_them() -> None:
    whole, drain = lines("messages")
    # One round warms up and one counts; each prepares two checked-in visits and tells two: ours 8, theirs 4.
    assert whole["same_bytes"] == 4
    assert whole["taken_by_sink"] == 12
    # Two rounds of three on either side.
    assert drain["same_bytes"] == 6
    assert drain["taken_by_sink"] == 12


@pytest.mark.real
def test_both_pages_have_the_same_size() -> None:
    for line in lines("claim_page"):
        sizes = line["octets_a_page"]
        assert abs(sizes["ours"] - sizes["theirs"]) < 0.1 * sizes["theirs"], sizes


def test_the_sides_alternate_and_the_first_round_is_left_out() -> None:
    order: list[str] = []

    def side(name: str) -> Callable[[int], float]:
        def run(number: int) -> float:
            order.append(f"{name}{number}")
            return float(number + 1)

        return run

    pairs = alternate(2, side("a"), side("b"))
    assert order == ["a0", "b0", "a1", "b1", "a2", "b2"] and len(pairs) == 2


@pytest.mark.parametrize(("ratio", "higher", "met"), [(0.5, True, True), (0.49, True, False), (1.1, False, False)])
def test_a_goal_is_met_from_its_own_side(ratio: float, higher: bool, met: bool) -> None:
    goal = 0.5 if higher else 1.0
    figure = Figure("x", ratio, goal, "y", 1, Side(1, "u"), Side(1, "u"), higher=higher)
    assert figure.met is met


def test_the_ratio_is_the_median_of_the_rounds_own_ratios() -> None:
    ratio, ours, theirs = compare([(1, 2), (3, 4), (9, 10)], unit="a")
    assert (ratio, ours.value, theirs.value) == (0.75, 3, 4)
