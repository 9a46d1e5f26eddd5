"""What the handover desk sees: the devices of a visit, who may collect them, and what is not as it should be."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.refusals import asks_for_check, wrong_secrets
from notify.core.tickets import OPEN_PHASES, Phase
from notify.flows.context import Context
from notify.flows.holds import Hold, hold_on
from notify.flows.passes import is_open
from notify.flows.view_visit import DeviceView, device_view
from notify.store import bookings, events, passes, people, tickets, visits
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class Collector:
    """Somebody who may collect; `role` is bringer, collector or delegate, `name` may be empty.

    A delegate has a pass, which ends at `until` and counts once.
    """

    id: str
    name: str
    role: str
    pass_id: str = ""
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class HandoverView:
    """The visit's devices, ready ones first, and who may take them, the bringer first.

    `by_pass` is whose pass was scanned. `booked` are start and end of the visit's pickup time. `wrong` is how many
    wrong secrets were shown since the last handover; `hold` why a check by staff is asked for beside a right one.
    """

    visit_id: str
    now: datetime
    devices: tuple[DeviceView, ...]
    collectors: tuple[Collector, ...]
    by_pass: Collector | None
    booked: tuple[datetime, datetime] | None
    wrong: int
    hold: Hold | None

    @property
    def ready(self) -> tuple[DeviceView, ...]:
        """Those on the shelf."""
        return tuple(device for device in self.devices if device.phase is Phase.ON_SHELF)

    @property
    def in_work(self) -> tuple[DeviceView, ...]:
        """Those that cannot go yet."""
        return tuple(d for d in self.devices if d.phase in OPEN_PHASES and d.phase is not Phase.ON_SHELF)

    @property
    def asks_check(self) -> bool:
        """Whether a right secret alone is not enough."""
        return self.hold is not None or asks_for_check(self.wrong)


def view_handover(ctx: Context, actor: Actor, visit_id: str, *, pass_code: str = "") -> HandoverView:
    """The desk's view of a visit; raises NotFound."""
    actor.need("hand_back")
    with ctx.db.read(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        devices = [device_view(ticket) for ticket in tickets.tickets_of_visit(unit, visit_id)]
        may, booking, now = _collectors(unit, visit_id, ctx.clock()), bookings.live_booking(unit, visit_id), ctx.clock()
        shown = passes.find_by_code(unit, pass_code) if pass_code else None
        return HandoverView(
            visit_id, now, tuple(sorted(devices, key=lambda one: one.phase is not Phase.ON_SHELF)), may,
            by_pass=next((one for one in may if shown and one.pass_id == shown.id), None),
            booked=(booking.start_at, booking.end_at) if booking else None,
            wrong=wrong_secrets(events.story_of(unit, visit_id=visit_id), now),
            hold=_hold(ctx, unit, visit_id),
        )  # fmt: skip


def _collectors(unit: Unit, visit_id: str, now: datetime) -> tuple[Collector, ...]:
    roles = visits.visit_people(unit, visit_id)
    named = [(person, role) for role in ("bringer", "collector") for person in roles.get(role, ())]
    open_ones = [one for one in passes.passes_of(unit, visit_id) if is_open(one, now)]
    known = people.people_by_id(unit, [*(person for person, _ in named), *(one.person_id for one in open_ones)])
    return (
        *(Collector(person, known[person].name, role) for person, role in named),
        *(Collector(p.person_id, known[p.person_id].name, "delegate", p.id, p.expires_at) for p in open_ones),
    )


def _hold(ctx: Context, unit: Unit, visit_id: str) -> Hold | None:
    return hold_on(unit, visit_id, ctx.clock(), ctx.shop(unit).hold_hours)
