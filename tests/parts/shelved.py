"""Short ways to states that many tests begin with: a device on the shelf, the secret of a ticket."""

from __future__ import annotations

from typing import Any

from notify.core.tickets import Phase
from notify.flows import moves
from notify.store import tickets

_WAY = (Phase.IN_LINE, Phase.ON_BENCH, Phase.ON_SHELF)


def shelve(house: Any, ticket_id: str) -> None:
    """Takes a device from wherever it is to the shelf, repaired, a minute a step."""
    while True:
        with house.read() as unit:
            phase = tickets.get_ticket(unit, ticket_id).phase
        if phase is Phase.ON_SHELF:
            return
        target = Phase.ON_SHELF if phase is Phase.PROVING else _WAY[_WAY.index(phase) + 1] if phase in _WAY else _WAY[0]
        house.clock.advance(60)
        moves.move(house.ctx, house.actor(), ticket_id, target, anyway=True, note="it can be done")


def token_of(house: Any, ticket_id: str) -> str:
    """The claim secret, as it stands in the QR code."""
    with house.read() as unit:
        return tickets.get_ticket(unit, ticket_id).token
