"""Take a batch of ticket changes from another system: one transaction, a savepoint per row, each change once."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from notify.core import claim_number
from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound, NotifyError
from notify.core.tickets import Move, Phase, path
from notify.flows.check_in import check_in_within
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.flows.context import Context
from notify.flows.moves import take_step
from notify.store import taken, tickets
from notify.store.database import Unit
from notify.store.tickets import Job

AHEAD = timedelta(minutes=5)  # how far another system's clock may run before ours


@dataclass(frozen=True, slots=True)
class Change:
    """One row: its line, its cells by our column names. `phase` is still the other system's word."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Batch:
    """Where changes come from: the source's name, what its phase words mean here, its zone, the file's digest."""

    source: str
    phase_words: Mapping[str, str]
    zone: str
    digest: str


@dataclass(frozen=True, slots=True)
class Taken:
    """What came of a batch: lines taken, lines that said nothing new, (line, reason) refused; `known` = seen before."""

    taken: tuple[int, ...] = ()
    unchanged: tuple[int, ...] = ()
    refused: tuple[tuple[int, str], ...] = ()
    known: bool = False


class _DryRun(Exception):
    """Rolls a trial back."""


def take_changes(
    ctx: Context, actor: Actor, batch: Batch, changes: Sequence[Change], *, taken_before: int = 0,
    refused_before: int = 0, is_last: bool = True, dry_run: bool = False,
) -> Taken:  # fmt: skip
    """Takes what can be taken and refuses the rest line by line; the same file or row twice changes nothing.

    A long file comes in several turns, so that nobody at the counter waits for the whole of it: it counts as known
    after the one that `is_last`. Cut off between, it is read again, and rows already taken change nothing.
    """
    result = Taken()
    try:
        with ctx.db.write(actor.shop_id) as unit:
            if taken.file_known(unit, batch.source, batch.digest):
                return Taken(unchanged=tuple(change.line for change in changes), known=True)
            result = _take_all(ctx, unit, actor, batch, changes)
            if is_last:
                taken.add_file(unit, batch.source, batch.digest, at=ctx.clock(),
                               taken=len(result.taken) + taken_before,
                               refused=len(result.refused) + refused_before)  # fmt: skip
            if dry_run:
                raise _DryRun
    except _DryRun:
        pass
    return result


def _take_all(ctx: Context, unit: Unit, actor: Actor, batch: Batch, changes: Sequence[Change]) -> Taken:
    done: list[int] = []
    same: list[int] = []
    refused: list[tuple[int, str]] = []
    for change in changes:
        try:
            with unit.savepoint():
                changed = _take_one(ctx, unit, actor, batch, change)
        except NotifyError as problem:
            refused.extend((change.line, str(one)) for one in problem.problems)
        else:
            (done if changed else same).append(change.line)
    return Taken(tuple(done), tuple(same), tuple(refused))


def _take_one(ctx: Context, unit: Unit, actor: Actor, batch: Batch, change: Change) -> bool:
    """Whether the row changed anything."""
    reference = change.cells.get("reference", "")
    if not reference:
        raise Invalid("There is no reference", "Every line needs the job it speaks of.")
    key, digest = _hash(reference), _hash(repr(sorted(change.cells.items())))
    known = taken.get_row(unit, batch.source, key)
    if known is not None and known.digest == digest:
        return False
    target, outcome = _target(batch, change)
    at = _moment(ctx, batch, change)
    ticket = _ticket(ctx, unit, actor, change, reference, known.ticket_id if known else "")
    moved = _move_on(ctx, unit, actor, ticket, target, outcome, at)
    taken.put_row(unit, batch.source, key, digest=digest, ticket_id=ticket.id, at=ctx.clock())
    return moved or known is None


def _target(batch: Batch, change: Change) -> tuple[Phase, str]:
    word = change.cells.get("phase", "")
    ours = batch.phase_words.get(word) or batch.phase_words.get(word.casefold())
    if ours is None:
        known = ", ".join(sorted(batch.phase_words))
        raise Invalid(f"The phase word {word[:40]!r} is not known", f"Known words: {known}. Add it to the settings.")
    return (Phase.ON_SHELF, ours) if ours in ("repaired", "unrepaired") else (Phase(ours), "")


def _moment(ctx: Context, batch: Batch, change: Change) -> datetime:
    text, now = change.cells.get("changed_at", ""), ctx.clock()
    if not text:
        return now
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise Invalid(f"The time {text[:40]!r} cannot be read", "Write it as 2026-11-26T11:30.") from None
    at = at if at.tzinfo else at.replace(tzinfo=ZoneInfo(batch.zone))
    if at > now + AHEAD:
        raise Invalid("The time of this change lies ahead", "Check that system's clock and its time zone.")
    return min(at, now)


def _ticket(ctx: Context, unit: Unit, actor: Actor, change: Change, reference: str, known_id: str) -> Job:
    """The ticket a row speaks of: known from earlier rows, by our claim number, or newly taken in."""
    if known_id:
        return tickets.get_job(unit, known_id)
    try:
        return tickets.find_by_number(unit, claim_number.parse_number(reference))
    except (Invalid, NotFound):
        pass
    cells = change.cells
    if not cells.get("device"):
        raise NotFound("There is no ticket of this reference", "Name a claim number, or the device to take it in.")
    form = VisitForm(
        bringer=PersonForm(name=cells.get("name", ""), phone=cells.get("phone", ""), email=cells.get("email", "")),
        devices=(DeviceForm(
            device=cells["device"], device_class=cells.get("device_class") or "other", fault=cells.get("fault", ""),
            price_agreed=cells.get("price", ""), kind=cells.get("kind", ""),
        ),),
        language=cells.get("language", ""),
    )  # fmt: skip
    made = check_in_within(ctx, unit, actor, form)
    return tickets.get_ticket(unit, made.ticket_ids[0])


def _move_on(ctx: Context, unit: Unit, actor: Actor, ticket: Job, target: Phase, outcome: str, at: datetime) -> bool:
    """Walks the allowed moves to the target. What happened here later than `at` is not overridden."""
    same = ticket.phase is target and (not outcome or ticket.outcome == outcome)
    if same:
        return False
    if at < ticket.phase_since:
        raise Conflict(
            "This change is older than the last one known here", "Look at the ticket; it was not overridden."
        )
    if target is Phase.LEFT_BEHIND:
        raise NotAllowed("Only a person here closes a device as never collected", "Do it on its page of steps.")
    steps: tuple[Move, ...] = path(ticket.phase, target, outcome=outcome)
    for step in steps:
        ticket = take_step(ctx, unit, actor, ticket, step, at=at, codes={"source": actor.id}).ticket
    return True


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
