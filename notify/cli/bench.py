"""The order of the bench: look at it, look for a better one, take it or leave it, or put one device first."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.claim_number import show_number
from notify.core.errors import NotFound
from notify.core.tickets import WaitsOn
from notify.flows import bench_order
from notify.flows.view_bench_order import Better, Line, view
from notify.flows.view_lines import TicketLine

_WHY = {
    "sooner": "the others can wait",
    "sooner_costs": "another one will probably be late for it, but more are kept",
    "can_wait": "it can wait, and it holds up others that cannot",
    "late_anyway": "it will hardly be in time in any case, and it holds up others that can be",
    "gives_way": "it will probably be late for it, but more of the others are kept",
}
_WAITS = {WaitsOn.BENCH: "", WaitsOn.PART: "waits for a part", WaitsOn.CUSTOMER: "waits for an answer"}


@click.group("bench", cls=Group)
def bench() -> None:
    """The order in which the bench takes devices. NUMBER is the claim number."""


@bench.command("order")
@pass_desk
def order(desk: Desk) -> None:
    """Everything in work in the order of the bench, and a better order if one is known."""
    seen = view(desk.ctx, desk.actor)
    desk.show(
        _data(seen),
        *table(([line.number, line.device, desk.when(line.promise_at), _stands(line)] for line in seen.tickets),
               head=("number", "device", "promised", "")),
        *([] if seen.tickets else ["Nothing is in work."]),
        *([f"This order was taken {desk.when(seen.about.stands.since)}."] if seen.about.stands else []),
        *(_says(desk, seen.about.better) if seen.about.better else []),
    )  # fmt: skip


def _stands(line: TicketLine) -> str:
    return line.phase.value if line.phase in ("on_bench", "proving") else _WAITS.get(line.waits_on, "")


def _says(desk: Desk, better: Better) -> list[str]:
    what = f"{better.moved.number} {better.moved.device}"
    back = better.why not in ("sooner", "sooner_costs")
    before = f"{better.ahead_of.number} {better.ahead_of.device}" if better.ahead_of else ""
    place = "last" if back else f"before {before}" if before and not better.is_first else "first"
    act = f"let {what} wait until just before {before}" if back and before else f"take {what} {place}"
    only = f" Only the first {better.only_first} in line were looked at." if better.only_first else ""
    kept = f"{better.kept_after:.1f} instead of {better.kept_before:.1f}"
    return [
        f"A better order: {act}. {better.gain:.1f} promises more would be kept ({kept}): {_WHY[better.why]}.{only}",
        "Follow it with `shelfbell bench take`, or `shelfbell bench refuse`.",
    ]


def _data(seen: Line) -> dict[str, object]:
    better = seen.about.better
    return {
        "order": [line.number for line in seen.tickets],
        "standing_since": seen.about.stands.since if seen.about.stands else None,
        "better": better and {
            "order_id": better.order_id, "moved": better.moved.number, "first": better.is_first, "why": better.why,
            "before": better.ahead_of.number if better.ahead_of else None, "gain": round(better.gain, 3),
            "kept_before": round(better.kept_before, 3), "kept_after": round(better.kept_after, 3),
        },
    }  # fmt: skip


@bench.command("suggest")
@pass_desk
def suggest(desk: Desk) -> None:
    """Looks for a better order now; a running service does it by itself whenever something changes."""
    found = bench_order.suggest(desk.ctx, desk.actor)
    better = view(desk.ctx, desk.actor).about.better if found else None
    desk.show({"order_id": found}, *(_says(desk, better) if better else ["No better order is known."]))


@bench.command("take")
@pass_desk
def take(desk: Desk) -> None:
    """Follows the suggestion that `bench order` tells."""
    desk.show({"standing": bench_order.take(desk.ctx, desk.actor, _known(desk))}, "The bench follows the new order.")


@bench.command("refuse")
@pass_desk
def refuse(desk: Desk) -> None:
    """Leaves the order as it is; the same is not suggested again today."""
    known = _known(desk)
    bench_order.refuse(desk.ctx, desk.actor, known)
    desk.show({"refused": known}, "The order stays as it is.")


def _known(desk: Desk) -> str:
    better = view(desk.ctx, desk.actor).about.better
    if better is None:
        raise NotFound("No better order is known", "`shelfbell bench suggest` looks for one.")
    return better.order_id


@bench.command("first")
@click.argument("number")
@pass_desk
def first(desk: Desk, number: str) -> None:
    """Puts one device before all others in line."""
    meant = desk.meant(number)
    made = bench_order.take_next(desk.ctx, desk.actor, meant.ticket_id)
    number = show_number(meant.number)
    desk.show({"standing": made, "first": number}, f"{number} is next for the bench.")


@bench.command("usual")
@pass_desk
def usual(desk: Desk) -> None:
    """Back to the usual order: by promise, then by check-in."""
    made = bench_order.back_to_usual(desk.ctx, desk.actor)
    desk.show({"standing": made or None}, "The bench follows the usual order.")


@bench.command("undo")
@pass_desk
def undo(desk: Desk) -> None:
    """The order as it was before the last change of it."""
    bench_order.undo(desk.ctx, desk.actor)
    desk.show({"undone": True}, "The order of the bench is as it was before.")
