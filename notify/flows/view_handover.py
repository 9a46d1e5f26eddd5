"""What the handover desk sees: the devices of a visit, those that can go first, and who may collect them."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.actors import Actor
from notify.core.tickets import Phase
from notify.flows.context import Context
from notify.flows.view_visit import DeviceView, device_view
from notify.store import people, tickets, visits


@dataclass(frozen=True, slots=True)
class Collector:
    """Somebody who may collect; `role` is bringer or collector, `name` may be empty."""

    id: str
    name: str
    role: str


@dataclass(frozen=True, slots=True)
class HandoverView:
    """The visit's devices, ready ones first, and who may take them, the bringer first."""

    visit_id: str
    devices: tuple[DeviceView, ...]
    collectors: tuple[Collector, ...]

    @property
    def ready(self) -> tuple[DeviceView, ...]:
        """Those on the shelf."""
        return tuple(device for device in self.devices if device.phase is Phase.ON_SHELF)


def view_handover(ctx: Context, actor: Actor, visit_id: str) -> HandoverView:
    """The desk's view of a visit; raises NotFound."""
    actor.need("hand_back")
    with ctx.db.read(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        roles = visits.visit_people(unit, visit_id)
        may = [(person, role) for role in ("bringer", "collector") for person in roles.get(role, ())]
        devices = [device_view(ticket) for ticket in tickets.tickets_of_visit(unit, visit_id)]
        return HandoverView(
            visit_id,
            tuple(sorted(devices, key=lambda one: one.phase is not Phase.ON_SHELF)),
            tuple(Collector(person, people.get_person(unit, person).name, role) for person, role in may),
        )
