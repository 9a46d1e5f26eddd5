"""What a customer's answer does to another part that came than was ordered: it is used after all, or it goes back."""

from __future__ import annotations

from notify.core.actors import Actor
from notify.core.parts import MISSING, PartState
from notify.core.questions import is_yes
from notify.flows.context import Context
from notify.flows.part_lines import tell, tell_if_complete
from notify.flows.parts import not_needed_within
from notify.store import parts
from notify.store.database import Unit
from notify.store.parts import Part
from notify.store.questions import Question


def heard(ctx: Context, unit: Unit, actor: Actor, question: Question, answer: str) -> None:
    """Acts on an answer, inside its transaction; a question about no such part changes nothing."""
    part = _asked_about(unit, question)
    if part is None or part.state != PartState.WRONG:
        return
    if is_yes(question.kind, answer):
        take_instead(ctx, unit, actor, part)
    elif answer == "give_back":
        _drop_replacement(ctx, unit, actor, part)


def take_instead(ctx: Context, unit: Unit, actor: Actor, part: Part) -> bool:
    """Uses the part that came; the right one is needed no more. Whether its ticket is free now."""
    parts.change_part(unit, part, state=PartState.ARRIVED, ended_at=None)
    tell(ctx, unit, actor, "part_taken_instead", part)
    _drop_replacement(ctx, unit, actor, part)
    return tell_if_complete(ctx, unit, actor, part)


def taken_back(ctx: Context, unit: Unit, actor: Actor, question: Question) -> None:
    """A yes was taken back: the part that came is another one than was ordered again, and the right one is needed."""
    part = _asked_about(unit, question)
    if part is None or part.state != PartState.ARRIVED:
        return
    replacement = parts.replacement_of(unit, part.id)
    if replacement is None or replacement.state != PartState.NOT_NEEDED:
        return  # it is no substitute: it had not come when the customer was asked
    parts.change_part(unit, part, state=PartState.WRONG, ended_at=ctx.clock())
    tell(ctx, unit, actor, "part_wrong", part)
    if replacement.ordered_at is None:
        parts.change_part(unit, replacement, state=PartState.NEEDED, ended_at=None)
        tell(ctx, unit, actor, "part_needed", replacement)


def _drop_replacement(ctx: Context, unit: Unit, actor: Actor, part: Part) -> None:
    replacement = parts.replacement_of(unit, part.id)
    if replacement is not None and replacement.state in MISSING:
        not_needed_within(ctx, unit, actor, replacement)


def _asked_about(unit: Unit, question: Question) -> Part | None:
    if question.kind != "substitute_part" or not question.part_id:
        return None
    return parts.get_part(unit, question.part_id, lock=True)
