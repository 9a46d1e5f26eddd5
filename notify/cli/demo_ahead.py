"""The demo's forecasts: what the bench has learned, promises whose time has passed, and a line with a better order.

Every duration here is invented: drawn by a seeded generator around usual minutes, so that each demo has the same past.
"""

from __future__ import annotations

import heapq
import math
import random
from collections.abc import Iterator
from datetime import date, datetime, timedelta

from notify.cli.demo_stage import Stage, Story, Visit
from notify.core.actors import Actor
from notify.core.first_kinds import FIRST
from notify.core.hours import next_opening
from notify.flows import bench_order, forecast, history, moves, parts, promises
from notify.flows.check_in_form import DeviceForm
from notify.store import shops

_SEED = 1904
PAST_JOBS = 320
_SPREAD = 0.35  # of the logarithm of a duration: nine of ten repairs take less than 1.6 times the usual
# How much longer than a newcomer would guess such repairs take here.
_TRUE = {
    name["en"]: factor for (_, _, name), factor in zip(FIRST, (0.9, 1.3, 1.2, 0.8, 1.1, 0.9, 1.0, 1.4), strict=True)
}
_MINUTES = {name["en"]: minutes for _, minutes, name in FIRST}
# What the reading room next door brings once a week: device, class, kind.
_BOX = (
    ("Pagewright e-reader", "e_reader", "Reader battery"),
    ("Tidepool handheld", "handheld", "Handheld stick or buttons"),
    ("Foolscap e-reader", "e_reader", "Reader screen"),
    ("Pagewright e-reader", "e_reader", "Reader battery"),
    ("Cockle handheld", "handheld", "Handheld stick or buttons"),
    ("Foolscap e-reader", "e_reader", "Reader battery"),
)
_WEEKS = 6


def read_history(s: Stage) -> None:
    """What the bench repaired before the demo begins, as a file from the program that was used then."""
    dice, opened = random.Random(_SEED), s.clock().date()  # noqa: S311 - an invented past, no secret
    lines = "\n".join(_past_job(dice, opened) for _ in range(PAST_JOBS))
    history.read_history(s.ctx, s.owner, f"kind,minutes,ended\n{lines}\n".encode())


def _past_job(dice: random.Random, opened: date) -> str:
    kind = dice.choice(sorted(_TRUE))
    return f"{kind},{_drawn(dice, kind):.0f},{opened - timedelta(days=dice.randrange(1, 600))}"


def _drawn(dice: random.Random, kind: str) -> float:
    return max(2.0, _MINUTES[kind] * _TRUE[kind] * math.exp(dice.gauss(0, _SPREAD)))


def reading_room(s: Stage) -> Story:
    """A box of devices each week from next door, where somebody looks in: promised by the forecast, and kept or not."""
    dice = random.Random(_SEED + 1)  # noqa: S311 - the same
    for week in range(_WEEKS, 0, -1):
        yield s.day(7 * week, "11:30")
        visit = s.check_in("Reading room, Rope Walk", *(DeviceForm(device, kind_of, "worn out", kind=kind, shelf="R1")
                           for device, kind_of, kind in _BOX), waits_here=True)  # fmt: skip
        yield from _repair(s, visit, promise_all(s, visit), dice)
        yield s.clock() + timedelta(minutes=5)
        visit.hand_back()


def promise_all(s: Stage, visit: Visit) -> list[int]:
    """Tells for each device the time that its forecast names; in this order the bench takes them."""
    forecast.remake(s.ctx, s.system)
    named = [forecast.suggest(s.ctx, s.technician, ticket_id) for ticket_id in visit.ticket_ids]
    for ticket_id, at in zip(visit.ticket_ids, named, strict=True):
        if at is not None:
            promises.promise(s.ctx, s.technician, ticket_id, at)
    return sorted(range(len(named)), key=lambda number: (named[number] or s.now, visit.numbers[number]))


def _repair(s: Stage, visit: Visit, order: list[int], dice: random.Random) -> Iterator[datetime]:
    """Two people take the devices in order; each is watched for ten minutes before it goes to the shelf."""
    free = [(s.clock(), n) for n in range(2)]
    steps: list[tuple[datetime, int, str, Actor]] = []
    for number in order:
        kind = _BOX[number][2]
        starts, who = heapq.heappop(free)
        ends = starts + timedelta(minutes=_drawn(dice, kind))
        hands = (s.technician, s.owner)[who]
        steps += [(starts, number, "on_bench", hands), (ends, number, "proving", hands)]
        steps.append((ends + timedelta(minutes=10), number, "on_shelf", hands))
        heapq.heappush(free, (ends, who))
    for at, number, phase, hands in sorted(steps, key=lambda one: one[:3]):
        yield at
        if phase == "on_bench":
            moves.move(s.ctx, hands, visit.ticket_ids[number], "in_line")
        moves.move(s.ctx, hands, visit.ticket_ids[number], phase)


def long_before_short(s: Stage) -> Story:
    """One long repair is promised first and stands before two short ones: another order would keep more promises."""
    line = (
        ("Greta Sandford", "Barnacle box camera", "camera", "shutter stays open", "Camera shutter", 50),
        ("Ivo Penhale", "Leaflet e-reader", "e_reader", "empty by noon", "Reader battery", 55),
        ("Nell Oakum", "Whelk handheld", "handheld", "left button sticks", "Handheld stick or buttons", 60),
    )
    yield s.ago(18)
    opens = _open_at(s)
    for number, (name, device, device_class, fault, kind, minutes) in enumerate(line):
        visit = s.check_in(name, DeviceForm(device, device_class, fault, kind=kind, shelf=f"F{number + 1}",
                           price_agreed="30"), email=f"{name.split()[0].lower()}@example.net")  # fmt: skip
        visit.move("inspecting", "in_line")
        promises.promise(s.ctx, s.technician, visit.ticket_ids[0], _rounded(opens + timedelta(minutes=minutes)))


def in_danger(s: Stage) -> Story:
    """Promised for tomorrow; its part will come three days later, and nobody has told the customer yet."""
    yield s.ago(150)
    visit = s.check_in("Bastian Cove", DeviceForm("Breakwater table radio", "radio", "no sound", price_agreed="31",
                       kind="Radio without sound", shelf="E6"), email="bastian.cove@example.com")  # fmt: skip
    visit.move("inspecting", "in_line")
    part = parts.need(s.ctx, s.technician, visit.ticket_ids[0], name="output transformer")
    parts.order(s.ctx, s.technician, part, supplier="Harbour Parts", due=_rounded(s.now + timedelta(hours=20)))
    promises.promise(s.ctx, s.technician, visit.ticket_ids[0], _rounded(_open_at(s) + timedelta(hours=26), minutes=30))
    yield s.ago(25)
    parts.change_due(s.ctx, s.technician, part, due=_rounded(s.now + timedelta(days=4)))
    forecast.remake(s.ctx, s.system)


def look_ahead(s: Stage) -> None:
    """What a running service does within seconds: forecasts, warnings, and a better order of the bench."""
    forecast.remake(s.ctx, s.system)
    bench_order.suggest_due(s.ctx, s.system)


def _open_at(s: Stage) -> datetime:
    """Now while the shop is open, else when it opens."""
    with s.ctx.db.read(s.shop_id) as unit:
        return next_opening(shops.get_counter(unit, s.ctx.shop(unit)), s.now) or s.now


def _rounded(at: datetime, *, minutes: int = 5) -> datetime:
    return at.replace(minute=at.minute // minutes * minutes, second=0, microsecond=0)


STORIES = (reading_room, long_before_short, in_danger)
