"""Which moves a ticket page offers to whom: allowed, refused for now with the reason, and what can be undone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.tickets import DESK_ONLY, Move, Phase, WaitsOn, moves_from
from notify.flows.context import Context
from notify.flows.moves import UNDO_WITHIN, last_move
from notify.store import events
from notify.store.database import Unit
from notify.store.tickets import Ticket


@dataclass(frozen=True, slots=True)
class MoveOffer:
    """One move of core/tickets.MOVES. `anyway`: the ticket still waits, so a note must say why to start.

    `reasons` are codes, one of which must be chosen; `desk` moves happen at the handover desk, not by a button.
    """

    event: str
    to: str
    outcome: str
    reasons: tuple[str, ...]
    anyway: bool
    desk: bool


@dataclass(frozen=True, slots=True)
class Refused:
    """A move of the table that is not open now: `why` is `role`, or whom the ticket waits on."""

    event: str
    why: str


@dataclass(frozen=True, slots=True)
class UndoOffer:
    """The last move and until when anybody may take it back; after that an owner may, with a reason."""

    event_id: str
    event: str
    until: datetime
    needs_reason: bool


def offers(actor: Actor, ticket: Ticket, waits: WaitsOn) -> tuple[tuple[MoveOffer, ...], tuple[Refused, ...]]:
    """Every move from the ticket's phase, offered or refused, in the order of the table."""
    offered, refused = [], []
    for move in moves_from(ticket.phase):
        why = _refusal(actor, move, waits)
        if why:
            refused.append(Refused(move.event, why))
        else:
            offered.append(_offer(move, waits))
    return tuple(offered), tuple(refused)


def _refusal(actor: Actor, move: Move, waits: WaitsOn) -> str:
    if not actor.may(_permission(move)):
        return "role"
    blocked = _starts(move) and waits is not WaitsOn.BENCH
    return str(waits) if blocked and not actor.may("start_anyway") else ""


def _permission(move: Move) -> str:
    named = {"left_behind": "leave_behind", "handed_back": "hand_back", "handover_undone": "undo_handover"}
    return named.get(move.event, "move")


def _starts(move: Move) -> bool:
    return move.source is Phase.IN_LINE and move.target is Phase.ON_BENCH


def _offer(move: Move, waits: WaitsOn) -> MoveOffer:
    return MoveOffer(
        event=move.event, to=move.target.value, outcome=move.outcome.value if move.outcome else "",
        reasons=move.reasons, anyway=_starts(move) and waits is not WaitsOn.BENCH, desk=move.event in DESK_ONLY,
    )  # fmt: skip


def undo_offer(ctx: Context, unit: Unit, actor: Actor, ticket: Ticket) -> UndoOffer | None:
    """What Undo would take back for this person now; None when nothing, or when they may not any more."""
    last = last_move(unit, ticket)
    if last is None or last.kind in DESK_ONLY or not actor.may("move"):
        return None
    until = events.recorded_at(unit, last) + UNDO_WITHIN
    late = ctx.clock() > until
    if late and not actor.may("correct"):
        return None
    return UndoOffer(last.id, last.kind, until, needs_reason=late)
