"""One row of a source about one ticket: whether it is new, whether it counts, and what it changes here.

What a row may change of a ticket that is here: its phase; its price, while none was agreed; a part that it names. Name,
ways to reach somebody, device and fault count only when the ticket is taken in, for people here have asked since.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from notify.core import claim_number
from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound
from notify.core.events import Event
from notify.core.money import parse_amount
from notify.core.source_order import Act, Said, Weight, weigh
from notify.core.sources import Batch, Doubt
from notify.core.tickets import DESK_ONLY, Phase, path
from notify.flows import deliveries, part_lines
from notify.flows.check_in import check_in_within
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.flows.context import Context
from notify.flows.deliveries import Doubtful
from notify.flows.heard import Heard, known_words
from notify.flows.moves import take_step
from notify.flows.record import record
from notify.store import parts, tickets
from notify.store.database import Unit
from notify.store.restoring import restored_at
from notify.store.sources import Row
from notify.store.tickets import Job

_ONLY_PEOPLE = DESK_ONLY | {"left_behind"}


@dataclass(slots=True)
class Turn:
    """One transaction's worth of rows, with what was read ahead for all of them; kept true row by row."""

    ctx: Context
    unit: Unit
    actor: Actor
    batch: Batch
    now: datetime
    jobs: dict[str, Job] = field(default_factory=dict)
    by_number: dict[str, str] = field(default_factory=dict)
    acts: dict[str, Act] = field(default_factory=dict)
    stories: dict[str, tuple[Event, ...]] = field(default_factory=dict)  # of devices on the bench; good for one step
    taken_in: int = 0  # devices, each of which costs much more than a move

    def job(self, ticket_id: str) -> Job:
        """The ticket, locked, as it stands in this transaction; raises NotFound."""
        if ticket_id not in self.jobs:
            self.jobs[ticket_id] = tickets.get_job(self.unit, ticket_id)
        return self.jobs[ticket_id]


def take_row(turn: Turn, heard: Heard, known: Row | None) -> tuple[str, str]:
    """Takes a row; the ticket's identifier and, in words, what it changed ("" for nothing).

    Inside a savepoint of the caller's. Raises Doubtful, or another error of check-in, moves or money, when a person
    has to decide.
    """
    if turn.batch.about == "deliveries":
        at = heard.told_at or turn.now
        changed = deliveries.take_row(turn.ctx, turn.unit, turn.actor, turn.batch, heard.change.cells, at)
        return "", "The parts are noted." if changed else ""
    cells = heard.change.cells
    target = _target(turn.batch, cells)
    ticket, is_new = _ticket(turn, heard, known)
    said = [f"The {cells['device'].strip()} is taken in."] if is_new else []
    phase_before, part_before = known_words(known)
    if target is not None:
        known_said = Said(phase_before) if known else None
        ticket, moved = _move_on(turn, heard, known_said, ticket, *target, is_new=is_new)
        said += [moved] if moved else []
    turn.jobs[ticket.id] = ticket
    said += _facts(turn, heard, ticket, part_before)
    return ticket.id, " ".join(said)


def _target(batch: Batch, cells: Mapping[str, str]) -> tuple[Phase, str] | None:
    word = cells.get("phase", "").strip()
    if not word:
        return None
    ours = batch.phase_words.get(word.casefold()) or batch.phase_words.get(word)
    if ours is None:
        known = ", ".join(sorted(batch.phase_words))
        raise Doubtful(Doubt.UNKNOWN_WORD, f"The word {word[:40]!r} is not known",
                       f"Say what it means. Known words: {known}.", field="phase")  # fmt: skip
    return (Phase.ON_SHELF, ours) if ours in ("repaired", "unrepaired") else (Phase(ours), "")


def _ticket(turn: Turn, heard: Heard, known: Row | None) -> tuple[Job, bool]:
    """The ticket a row speaks of: known from earlier rows, by our claim number, or newly taken in (then True)."""
    if known is not None and known.ticket_id:
        return turn.job(known.ticket_id), False
    found = find_by_reference(turn, heard.change.cells.get("reference", ""))
    if found:
        return turn.job(found), False
    if not heard.change.cells.get("device", "").strip():
        raise Doubtful(Doubt.UNKNOWN_TICKET, "There is no ticket of this reference",
                       "Link it to one, or take the device in.", field="reference")  # fmt: skip
    turn.taken_in += 1
    made = check_in_within(turn.ctx, turn.unit, turn.actor, form_of(heard.change.cells))
    return tickets.get_job(turn.unit, made.ticket_ids[0]), True


def find_by_reference(turn: Turn, reference: str) -> str:
    """The ticket whose claim number a reference is; "" for none."""
    try:
        number = claim_number.parse_number(reference)
        if number not in turn.by_number:
            turn.by_number[number] = tickets.find_by_number(turn.unit, number).id
    except (Invalid, NotFound):
        return ""
    return turn.by_number[number]


def form_of(cells: Mapping[str, str]) -> VisitForm:
    """The check-in that a row amounts to. Sources give no consent: what needs one is asked by people."""
    return VisitForm(
        bringer=PersonForm(name=cells.get("name", ""), phone=cells.get("phone", ""), email=cells.get("email", "")),
        devices=(DeviceForm(
            device=cells.get("device", ""), device_class=cells.get("device_class") or "other",
            fault=cells.get("fault", ""), price_agreed=cells.get("price", ""), kind=cells.get("kind", ""),
        ),),
        language=cells.get("language", ""),
    )  # fmt: skip


def _move_on(
    turn: Turn, heard: Heard, known: Said | None, ticket: Job, target: Phase, outcome: str, *, is_new: bool
) -> tuple[Job, str]:
    """Walks the allowed moves to the target, if the word counts; the ticket then, and what was done in words."""
    if ticket.phase is target and (not outcome or ticket.outcome == outcome):
        return ticket, ""
    if not is_new and not heard.force:
        act = turn.acts.get(ticket.id) or Act(ticket.phase_since, ticket.phase_since)
        weight = weigh(heard.said, known, act, seen_before=heard.since)
        if weight is Weight.NOTHING_NEW:
            return ticket, ""
        if weight is Weight.OURS_IS_LATER:
            raise Doubtful(Doubt.STAFF_SAID_OTHERWISE, "Somebody here did something later", "Decide which one stands.")
    if target is Phase.LEFT_BEHIND:
        raise Doubtful(Doubt.NEEDS_A_PERSON, "Only a person here closes a device as never collected",
                       "Do it on its page of steps.", field="phase")  # fmt: skip
    return _walk(turn, heard, ticket, target, outcome, is_new=is_new)


def _walk(
    turn: Turn, heard: Heard, ticket: Job, target: Phase, outcome: str, *, is_new: bool = False
) -> tuple[Job, str]:
    try:
        steps = path(ticket.phase, target, outcome=outcome)
    except NotAllowed as error:
        raise Doubtful(Doubt.IMPOSSIBLE_MOVE, error.what, error.advice, field="phase") from None
    if any(step.event in _ONLY_PEOPLE for step in steps):
        raise Doubtful(Doubt.NEEDS_A_PERSON, "Only a person here gives devices back or takes that back",
                       "Do it at the handover desk.", field="phase")  # fmt: skip
    at = max(heard.told_at or _unsaid(turn, heard), ticket.phase_since)
    codes: dict[str, str | int] = {"source": turn.batch.source}
    if heard.decided_by:
        codes["decided"] = heard.decided_by
    before = ticket.phase
    for step in steps:
        story = turn.stories.pop(ticket.id, None)  # the step makes it longer
        ticket = take_step(turn.ctx, turn.unit, turn.actor, ticket, step, at=at, codes=codes, story=story).ticket
    where = f"{_words(target)}, {outcome}" if outcome else _words(target)
    who = "It" if is_new else claim_number.show_number(ticket.number)  # tried beforehand, a number is not yet its own
    return ticket, f"{who} goes from {_words(before)} to {where}."


def _unsaid(turn: Turn, heard: Heard) -> datetime:
    """When a word without a time counts as said: now; before the restore where the source was not read since.

    What it says may have been read, and told, by the database that was lost (core/long_past.RESTORED).
    """
    restored = restored_at(turn.unit)
    if restored is None or heard.since is None or heard.since >= restored:
        return turn.now
    return restored - timedelta(microseconds=1)


def _words(phase: Phase) -> str:
    return phase.value.replace("_", " ")


def _facts(turn: Turn, heard: Heard, ticket: Job, part_before: str) -> list[str]:
    """The price while none is agreed, and the part that the row names for the first time so."""
    said, cells = [], heard.change.cells
    price = cells.get("price", "").strip()
    if price and ticket.price_agreed is None:
        columns: dict[str, Any] = {"price_agreed": parse_amount(price, currency=turn.ctx.shop(turn.unit).currency)}
        ticket = turn.jobs[ticket.id] = tickets.change_ticket(turn.unit, turn.job(ticket.id), **columns)
        record(turn.ctx, turn.unit, turn.actor, "money_recorded", visit_id=ticket.visit_id, ticket_id=ticket.id,
               codes={"price_agreed": 1, "source": turn.batch.source})  # fmt: skip
        said.append("Its price is noted.")
    if heard.part and heard.part != part_before:
        turn.jobs.pop(ticket.id, None)
        said += ["Its part is noted."] if _take_part(turn, heard, ticket) else []
    return said


def _take_part(turn: Turn, heard: Heard, ticket: Job) -> bool:
    cells = {**heard.change.cells, "reference": ticket.number}
    name, word = cells.get("part", "").strip(), cells.get("part_state", "").strip().casefold()
    meant = turn.batch.part_words.get(word) if word else "needed"
    if meant != "needed":
        at = heard.told_at or turn.now
        return deliveries.take_row(turn.ctx, turn.unit, turn.actor, turn.batch, cells, at)
    if any(part.name.casefold() == name.casefold() for part in parts.parts_of(turn.unit, ticket.id)):
        return False  # what is ordered or here already is not taken back by a word
    if not name:
        raise Doubtful(Doubt.UNREADABLE, "It is not said which part is needed", "Name it on the ticket.", field="part")
    part_lines.add(turn.ctx, turn.unit, turn.actor, ticket.id, name, article=cells.get("article", ""))
    return True


def kind_of(error: Exception) -> Doubt:
    """Which sort of doubt an error of a row is."""
    if isinstance(error, Doubtful):
        return error.doubt
    if isinstance(error, NotAllowed | Conflict):
        return Doubt.IMPOSSIBLE_MOVE
    return Doubt.UNKNOWN_TICKET if isinstance(error, NotFound) else Doubt.UNREADABLE
