"""When devices will be ready: what is foreseen of one ticket or of all, and making it anew."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.errors import NotFound
from notify.core.ready import Decides, Forecast, Without, chance_by
from notify.flows.forecast import remake
from notify.flows.view_forecasts import Ahead, view

_WITHOUT = {
    Without.QUESTION: "waits for the customer's answer",
    Without.NOT_ORDERED: "its part is not ordered",
    Without.NO_DUE: "nobody knows when its part comes",
    Without.BACK_ORDERED: "its part may not come for long",
    Without.NOBODY: "nobody is at the bench",
    Without.SHUT: "the shop does not open",
    Without.FAR: "too much lies before it",
    Without.TOO_MANY: "too many devices are in work",
}
_DECIDES = {Decides.PART: "the part", Decides.LINE: "the line", Decides.WORK: "the work", Decides.HANDS: "in hand"}


@click.group("forecast", cls=Group)
def forecast() -> None:
    """When devices will be ready. NUMBER is the claim number."""


@forecast.command("show")
@click.argument("number", required=False, default="")
@pass_desk
def show(desk: Desk, number: str) -> None:
    """What is foreseen of everything in work, or of NUMBER: ready between, in the middle, and what it hangs on."""
    seen = view(desk.ctx, desk.actor)
    found = _only(desk, seen.tickets, number) if number else seen.tickets
    made = f"Made {desk.when(seen.made_at)}." if seen.made_at else "Nothing was foreseen yet: `shelfbell forecast run`."
    old = " Something has changed since; it is made anew within seconds while the program runs."
    desk.show(
        {"made_at": seen.made_at, "changed": seen.changed, "tickets": [_data(one) for one in found]},
        *table([_row(desk, one) for one in found],
               head=("number", "device", "from", "middle", "until", "promised", "kept", "hangs on")),
        *([] if found else ["Nothing is in work."]), made + (old if seen.made_at and seen.changed else ""),
    )  # fmt: skip


@forecast.command("run")
@pass_desk
def run(desk: Desk) -> None:
    """Make all forecasts anew now; whoever a promise is in danger for is on the day sheet."""
    done = remake(desk.ctx, desk.actor)
    said = f"{done.tickets} forecasts were made." if done.stored else "Somebody else has just stored newer ones."
    warned = f" Promises in danger: {len(done.threatened)}." if done.threatened else ""
    told = f" New times told by the shop's rule: {len(done.told)}." if done.told else ""
    desk.show(done, f"{said}{warned}{told}")


def _only(desk: Desk, tickets: tuple[Ahead, ...], number: str) -> tuple[Ahead, ...]:
    wanted = desk.meant(number).ticket_id
    found = tuple(one for one in tickets if one.line.ticket_id == wanted)
    if not found:
        raise NotFound("That device is ready or gone", "`shelfbell ticket show` says where it is.", field="number")
    return found


def _row(desk: Desk, one: Ahead) -> list[str]:
    made, promised = one.forecast, desk.when(one.line.promise_at)
    if made is None or not made.grid:
        why = _WITHOUT[made.without] if made is not None and made.without else "not foreseen yet"
        return [one.line.number, one.line.device, "-", "-", "-", promised, "-", why]
    times = [desk.when(made.at(level)) for level in (0.1, 0.5, 0.9)]
    decides = _DECIDES[made.decides] if made.decides else ""
    return [one.line.number, one.line.device, *times, promised, _kept(one, made), decides]


def _kept(one: Ahead, made: Forecast) -> str:
    return f"{chance_by(made.grid, one.line.promise_at):.0%}" if one.line.promise_at else "-"


def _data(one: Ahead) -> dict[str, object]:
    line = one.line
    return {"number": line.number, "ticket_id": line.ticket_id, "phase": line.phase, "promise_at": line.promise_at,
            "forecast": one.forecast}  # fmt: skip
