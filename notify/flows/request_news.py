"""What somebody is told of their request about their own data, and what is noted about it."""

from __future__ import annotations

from notify.core.actors import Actor
from notify.flows import contact_codes
from notify.flows.context import Context
from notify.flows.held_about import brought_by
from notify.flows.record import record
from notify.store import requests
from notify.store.database import Unit
from notify.store.requests import Request


def tell(ctx: Context, unit: Unit, actor: Actor, kind: str, one: Request, **codes: str) -> bool:
    """The event, told to every contact of whoever asked that may be used, if they brought the visit; whether any is."""
    told: dict[str, str] = {}
    if brought_by(unit, one.visit_id) == one.person_id:
        told = contact_codes.working_contacts(ctx, unit, one.visit_id)
    record(ctx, unit, actor, kind, visit_id=one.visit_id,
           codes={"request": one.id, "asked": one.kind.value, **codes, **told})  # fmt: skip
    return bool(told)


def add_note(unit: Unit, one: Request, what: str, words: str) -> None:
    """One line more on a request: what was done, in whose words; nothing where there are none."""
    if words:
        requests.write_note(unit, one, with_line(one.note, what, words))


def with_line(note: str, what: str, words: str) -> str:
    """The note with one line more, if there are words for it."""
    return "\n".join(text for text in (note, f"{what}: {words}" if words else "") if text)
