"""Close a device as never collected the way a person does it: every step of the list, then the move."""

from __future__ import annotations

from typing import Any

from notify.core.actors import Actor
from notify.flows import moves, uncollected

STEPS = ("no_data", "cautions_read", "money_noted")


def note_all(ctx: Any, actor: Actor, ticket_id: str, *, but: str = "") -> None:
    """Notes every step of the list today, but one."""
    for step in STEPS:
        if step != but:
            uncollected.log_step(ctx, actor, ticket_id, step)
    if but != "notice_given":
        uncollected.log_step(ctx, actor, ticket_id, "notice_given", how="by_hand")


def leave(ctx: Any, actor: Actor, ticket_id: str, *, reason: str = "local_steps_done") -> Any:
    """Closes it for an own reason, confirmed once more, since no rule of the law counts in an empty shop."""
    note_all(ctx, actor, ticket_id)
    return moves.move(ctx, actor, ticket_id, "left_behind", reason=reason, note="They moved away.", anyway=True)
