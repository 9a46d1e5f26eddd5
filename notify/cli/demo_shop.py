"""The demo's shop: an invented repair counter at a tram stop, its people, hours and suppliers."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from notify.cli.demo_stage import ZONE, MovedClock, Stage
from notify.core.actors import Actor
from notify.flows import repair_kinds, set_up, staff
from notify.flows.view_lookup import acting_staff
from notify.wiring import Services

SHOP = {
    "name": "Tramstop Bench", "address": "3 Rope Walk, Quillhaven", "phone": "+44 7700 900321",
    "email": "bench@example.org", "zone": ZONE, "region": "GB", "language": "en", "currency": "GBP",
    "lead_minutes": "10", "all_well_days": "7", "controller": "Tramstop Bench, 3 Rope Walk, Quillhaven",
    "authority": "Quillhaven Data Protection Office",
}  # fmt: skip
# Name, role, password, PIN. Invented and shown on purpose: the demo listens on this machine only.
PEOPLE = (
    ("Marit", "owner", "tram-bell-rope-19", "1904"),
    ("Jonas", "technician", "solder-and-tea-7", "7007"),
    ("Ada", "counter", "counter-by-the-sea-4", "4114"),
)
EVENING = timedelta(hours=3)


def open_shop(services: Services, clock: MovedClock, now: datetime) -> Stage:
    """Makes the shop on the day to which the clock is set, and the stage around it."""
    ctx = services.context
    shop_id = set_up.make_shop(ctx, settings=SHOP)
    first = Actor(shop_id, "staff", "first-set-up", "owner")
    with ThreadPoolExecutor() as pool:  # hashing a password is meant to be slow
        list(pool.map(lambda who: _hire(services, first, who), PEOPLE))
    for weekday, opens, closes in [(d, 9, 19) for d in range(5)] + [(5, 9, 18), (6, 11, 17)]:
        set_up.add_hours(ctx, first, weekday=weekday, opens=time(opens), closes=time(closes), capacity=2,
                         valid_from=date(2020, 1, 1))  # fmt: skip
    _stay_open_tonight(services, first, now)
    repair_kinds.add_first(ctx, first)
    set_up.put_supplier(ctx, first, name="Harbour Parts", cutoff=time(16), delivers_at=time(9, 30), days=1,
                         working_days="1111111", redelivers=True)  # fmt: skip
    set_up.put_supplier(ctx, first, name="Fernhill Spares", cutoff=time(12), delivers_at=time(11), days=3,
                         zone="Europe/Berlin")  # fmt: skip
    owner, technician, counter = (acting_staff(ctx, shop_id, name) for name, *_ in PEOPLE)
    return Stage(services, clock, now, shop_id, owner, technician, counter)


def _hire(services: Services, first: Actor, who: tuple[str, str, str, str]) -> str:
    name, role, password, pin = who
    return staff.add_staff(services.context, first, name=name, role=role, password=password, pin=pin)


def _stay_open_tonight(services: Services, owner: Actor, now: datetime) -> None:
    """Whenever the demo is started there shall be slots today: in the evening the shop stays open for the festival."""
    local = now.astimezone(ZoneInfo(ZONE))
    closes = {5: 18, 6: 17}.get(local.weekday(), 19)
    if local + EVENING >= local.replace(hour=closes, minute=0):
        set_up.add_special_day(services.context, owner, local.date(), opens=time(9), closes=time(0), capacity=2,
                               reason="Harbour lights: open until midnight")  # fmt: skip
