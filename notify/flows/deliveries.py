"""What another system tells of a delivery: one row about parts that were sent or came in.

A row names its parts by our label, by article, order number or packing slip, by the supplier, or by the claim number
(`reference`) of the ticket they are for: each narrows the choice. A row that fits nothing is a doubt for a person.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from notify.core import claim_number
from notify.core.actors import Actor
from notify.core.errors import Invalid, NotFound, NotifyError
from notify.core.parts import MOST_AT_ONCE, PartState, same_code
from notify.core.sources import Batch, Doubt
from notify.core.text import clean_line
from notify.flows.arrivals import arrive_within
from notify.flows.context import Context
from notify.flows.part_gifts import to_whom
from notify.flows.part_match import gifts
from notify.flows.parts import change_due_within, end_order_within, note_columns, order_within
from notify.store import parts, shops, tickets
from notify.store.database import Unit
from notify.store.parts import OrderLine, Part

_CODES = {"article": "article", "order": "order_ref", "slip": "slip"}  # our words for a source's cells -> columns
_NAMES_A_PIECE = ("article", "part")


class Doubtful(NotifyError):
    """The row cannot be taken without a person; `doubt` says why."""

    def __init__(self, doubt: Doubt, what: str, advice: str, *, field: str = "") -> None:
        super().__init__(what, advice, field=field)
        self.doubt = doubt


def take_row(
    ctx: Context, unit: Unit, actor: Actor, batch: Batch, cells: Mapping[str, str], at: datetime
) -> bool:  # fmt: skip
    """Takes one row, inside the caller's transaction and savepoint; whether it changed anything.

    Cells: supplier, article, order, slip, part (our label, or the name that was noted), part_state (a word of
    `batch.part_words`, none: it was sent), quantity, due, reference (a claim number). `at`: when it happened.
    Raises Doubtful: unknown word, part that nobody waits for, more pieces than anybody waits for, what only people do;
    Invalid for a cell that cannot be read.
    """
    actor.need("receive_part")
    known = {name: clean_line(cells.get(name, ""), field=name) for name in (*_CODES, "supplier", "part", "reference")}
    state = _state(batch, cells.get("part_state", ""))
    found = _found(unit, known, cells.get("quantity", ""), arrived=state is PartState.ARRIVED)
    if state is PartState.ARRIVED:
        return _arrive(ctx, unit, actor, found, at)
    columns: dict[str, Any] = {column: known[name] for name, column in _CODES.items() if known[name]}
    due = _due(batch, cells.get("due", ""))
    changed = [_take(ctx, unit, actor, part, state, known["supplier"], due, columns) for part in found]
    return any(changed)


def _state(batch: Batch, word: str) -> PartState:
    said = word.strip().casefold()
    if not said:
        return PartState.ORDERED
    meant = batch.part_words.get(said)
    if meant is None:
        raise Doubtful(
            Doubt.UNKNOWN_WORD, f"The word {word[:40]!r} is not known", "Say what it means.", field="part_state"
        )
    if meant not in (PartState.NEEDED, PartState.ORDERED, PartState.ARRIVED):
        raise Doubtful(Doubt.NEEDS_A_PERSON, f"Only people note a part as {meant.replace('_', ' ')}",
                       "Look at the part, then note it on its ticket.", field="part_state")  # fmt: skip
    return PartState(meant)


def _found(unit: Unit, known: Mapping[str, str], quantity: str, *, arrived: bool) -> tuple[Part, ...]:
    """The parts that a row speaks of; those that are here already where it says that they came."""
    pieces = _pieces(quantity)
    lines = _narrowed(unit, known, parts.waiting_lines(unit))
    if not lines and arrived and _here_already(unit, known):
        return ()
    if not lines:
        raise Doubtful(
            Doubt.UNKNOWN_PART, "Nobody waits for this part", "Link it to a part, or let it be.", field="part"
        )
    most = pieces or (1 if any(known[name] for name in _NAMES_A_PIECE) else len(lines))
    if most > len(lines):
        raise Doubtful(Doubt.UNKNOWN_PART, f"Of {most} pieces only {len(lines)} are waited for",
                       "Book in those that are, and look who needs the others.", field="quantity")  # fmt: skip
    first = sorted(lines, key=lambda one: (one.state != PartState.ORDERED, one.due_at or one.needed_at, one.needed_at))
    return tuple(parts.get_part(unit, one.id, lock=True) for one in first[:most])


def _narrowed(unit: Unit, known: Mapping[str, str], lines: Sequence[OrderLine]) -> tuple[OrderLine, ...]:
    """The lines that fit everything that a row names; none when it names nothing that tells parts apart."""
    if known["part"] and parts.label_taken(unit, known["part"].lower()):
        label = parts.get_part(unit, known["part"].lower()).id
        return tuple(one for one in lines if one.id == label)
    if not any(known[name] for name in (*_CODES, "part", "reference")):
        return ()
    supplier = _supplier(unit, known["supplier"])
    found = [one for one in lines if supplier in ("", one.supplier_id) or one.supplier_id is None]
    if known["reference"]:
        ticket_id = _ticket(unit, known["reference"])
        found = [one for one in found if one.ticket_id == ticket_id]
    told = known["reference"] != ""
    for name, column in _CODES.items():
        fits = [one for one in found if known[name] and same_code(getattr(one, column)) == same_code(known[name])]
        # What no line has noted yet is news about it, not another part; but something has to fit.
        found, told = (fits, True) if fits else (_unsaid(found, column) if known[name] else found, told)
    if known["part"]:
        opened = parts.parts_by_id(unit, [one.id for one in found])
        found, told = [one for one in found if opened[one.id].name.casefold() == known["part"].casefold()], True
    return tuple(found) if told else ()


def _unsaid(lines: Sequence[OrderLine], column: str) -> list[OrderLine]:
    return [one for one in lines if not getattr(one, column)]


def _here_already(unit: Unit, known: Mapping[str, str]) -> bool:
    """Whether a part that fits is here, so that the row tells nothing new."""
    if known["part"] and parts.label_taken(unit, known["part"].lower()):
        return parts.get_part(unit, known["part"].lower()).arrived_at is not None
    return bool(_narrowed(unit, known, parts.lines_in(unit, ("arrived",))))


def _supplier(unit: Unit, name: str) -> str:
    """The identifier of a supplier that is named, case aside; empty for none."""
    if not name:
        return ""
    for row in shops.list_suppliers(unit):
        if str(row.name).casefold() == name.casefold():
            return str(row.id)
    raise Doubtful(Doubt.UNKNOWN_WORD, "This supplier is not known", "Add it under settings.", field="supplier")


def _ticket(unit: Unit, reference: str) -> str:
    try:
        return tickets.find_by_number(unit, claim_number.parse_number(reference)).id
    except (Invalid, NotFound):
        raise Doubtful(
            Doubt.UNKNOWN_TICKET, "There is no ticket of this number", "Link it to one.", field="reference"
        ) from None


def _pieces(text: str) -> int:
    """How many, 0 when a row does not say so."""
    said = text.strip()
    if not said:
        return 0
    if not (said.isascii() and said.isdigit() and 1 <= int(said[:4]) <= MOST_AT_ONCE):
        raise Invalid(f"{said[:20]!r} is no number of pieces", f"From 1 to {MOST_AT_ONCE}.", field="quantity")
    return int(said)


def _due(batch: Batch, text: str) -> datetime | date | None:
    """A day, or an instant; a time without a zone is by the source's own."""
    said = text.strip()
    if not said:
        return None
    try:
        if len(said) == len("2026-11-26"):
            return date.fromisoformat(said)
        at = datetime.fromisoformat(said)
    except ValueError:
        raise Invalid(f"The day {said[:40]!r} cannot be read", "Write it as 2026-11-26.", field="due") from None
    return at if at.tzinfo else at.replace(tzinfo=ZoneInfo(batch.zone))


def _arrive(ctx: Context, unit: Unit, actor: Actor, found: Sequence[Part], at: datetime) -> bool:
    given = gifts(ctx, unit, found)
    for part, _ in to_whom(ctx, unit, actor, found, given):
        arrive_within(ctx, unit, actor, part, at=at)
    return bool(found)


def _take(
    ctx: Context, unit: Unit, actor: Actor, part: Part, state: PartState, supplier: str, due: datetime | date | None,
    columns: dict[str, Any],
) -> bool:  # fmt: skip
    """One part was ordered or sent, or its order came to nothing. What is only spelled otherwise is nothing new."""
    columns = {name: said for name, said in columns.items() if same_code(getattr(part, name)) != same_code(said)}
    if state is PartState.NEEDED:
        if part.state == PartState.ORDERED:
            end_order_within(ctx, unit, actor, part)
            return True
        return note_columns(ctx, unit, actor, part, {"article": columns["article"]} if "article" in columns else {})
    if part.state == PartState.NEEDED:
        if not supplier:
            raise Invalid("It is not said from whom this part comes", "Name the supplier.", field="supplier")
        order_within(ctx, unit, actor, [part.id], supplier=_supplier(unit, supplier), due=due, columns=columns)
        return True
    noted = note_columns(ctx, unit, actor, part, columns)
    return (due is not None and change_due_within(ctx, unit, actor, part, due=due)) or noted
