"""What people decide about a doubt: mean, link, take theirs, leave ours, take in. The flow says what came of it.

A doubt that somebody decides about is tried again against what was known when the source told it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta

from notify.config.table import COLUMNS, PART_WORDS, PHASE_WORDS
from notify.core import claim_number
from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid
from notify.core.sources import Batch, Change, Doubt
from notify.flows.context import Context
from notify.flows.source_state import PART, PHASE
from notify.flows.take_changes import MOST
from notify.flows.take_row import Turn
from notify.flows.taker import Taker
from notify.store import doubts, erasing, sources, tickets
from notify.store.database import Unit
from notify.store.doubts import Stored

LONGEST_WORD = 80
KEPT_DAYS = 14  # of a source that the settings do not name any more (common practice, no source)
_OURS = {PHASE: PHASE_WORDS, PART: PART_WORDS}


@dataclass(frozen=True, slots=True)
class Decided:
    """What came of a decision: whether the doubt is settled, in words what happened, how many others were as well."""

    settled: bool
    said: str
    others: int = 0


def mean(ctx: Context, actor: Actor, batch: Batch, word: str, ours: str, *, kind: str = PHASE) -> Decided:
    """Keeps what a word of a source means, and tries every doubt about that word again. Raises Invalid."""
    actor.need("move")
    said = word.strip().casefold()
    if not said or len(said) > LONGEST_WORD:
        raise Invalid("This word cannot be kept", f"It has from 1 to {LONGEST_WORD} signs.", field="word")
    if not ours:
        raise Invalid(f"Nothing is chosen for “{word.strip()}”", "Choose what it means here.", field="means")
    if ours not in _OURS.get(kind, ()):
        raise Invalid(f"{ours[:40]!r} is none of our words", f"Use: {', '.join(_OURS[kind])}.", field="means")
    with ctx.db.write(actor.shop_id) as unit:
        sources.put_word(unit, batch.source, kind=kind, word=said, ours=ours, at=ctx.clock(), staff_id=actor.staff_id)
    known = dict(batch.phase_words if kind == PHASE else batch.part_words) | {said: ours}
    batch = replace(batch, phase_words=known) if kind == PHASE else replace(batch, part_words=known)
    taken = _retry_all(ctx, actor, batch)
    return Decided(True, f"“{word.strip()}” means {ours.replace('_', ' ')} from now on.", taken)


def _retry_all(ctx: Context, actor: Actor, batch: Batch) -> int:
    """Tries every unknown word of a source again, a hundred to a transaction; how many were taken."""
    after, taken = 0, 0
    while True:
        with ctx.db.write(actor.shop_id) as unit:
            found = doubts.list_open(unit, source=batch.source, kind=Doubt.UNKNOWN_WORD, behind=after, limit=MOST)
            taker = _taker(ctx, unit, actor, batch, found)
            taken += sum(taker.retry(one, decided_by=actor.id) for one in found)
            taker.finish()
        if len(found) < MOST:
            return taken
        after = found[-1].seq


def link(ctx: Context, actor: Actor, batch: Batch, doubt_id: str, number: str) -> Decided:
    """Keeps that what the source speaks of is our ticket with this claim number, and tries it again.

    Raises NotFound or Invalid for a number that is none here, Conflict when somebody decided before.
    """
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        waiting = _open(unit, doubt_id)
        if batch.about != "tickets":
            raise Invalid("This source tells of parts, not of tickets", "Note the part on its ticket.", field="number")
        ticket = tickets.find_by_number(unit, claim_number.parse_number(number))
        taker = _taker(ctx, unit, actor, batch, (waiting,), also=(ticket.id,))
        taker.remember(waiting, ticket.id, said=False)
        return _outcome(taker, taker.retry(waiting, decided_by=actor.id), waiting)


def take_theirs(ctx: Context, actor: Actor, batch: Batch, doubt_id: str) -> Decided:
    """Lets the source's word count against what was done here later. What the rules forbid stays forbidden."""
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        waiting = _open(unit, doubt_id)
        taker = _taker(ctx, unit, actor, batch, (waiting,))
        return _outcome(taker, taker.retry(waiting, force=True, decided_by=actor.id), waiting)


def take_in(ctx: Context, actor: Actor, batch: Batch, doubt_id: str, cells: Mapping[str, str]) -> Decided:
    """Takes in the device that a source speaks of, with what it says and what somebody here corrected in `cells`."""
    actor.need("check_in")
    if unknown := [name for name in cells if name not in COLUMNS]:
        raise Invalid(f"{unknown[0]!r} is nothing that a source tells", f"Use: {', '.join(COLUMNS)}.")
    with ctx.db.write(actor.shop_id) as unit:
        waiting = _open(unit, doubt_id)
        if batch.about != "tickets":
            raise Invalid("This source tells of parts, not of tickets", "Note the part on its ticket.")
        whole = {**waiting.cells, **{name: text for name, text in cells.items() if text.strip()}}
        if not whole.get("device", "").strip():
            raise Invalid("There is no device to take in", "Say in a few words what it is.", field="device")
        taker = _taker(ctx, unit, actor, batch, (waiting,))
        changed = Change(waiting.line, whole, waiting.key)
        return _outcome(taker, taker.retry(waiting, changed, decided_by=actor.id), waiting)


def leave_ours(ctx: Context, actor: Actor, doubt_id: str) -> Decided:
    """Leaves everything here as it is; the same row does not come up again, a newer one may."""
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        _leave(ctx, unit, actor, _open(unit, doubt_id))
    return Decided(True, "It stays as it is here.")


def leave_all(ctx: Context, actor: Actor, source: str, *, kind: str = "") -> Decided:
    """Leaves everything here as it is against all that waits of a source, or all of one kind."""
    actor.need("move")
    left = 0
    while True:
        with ctx.db.write(actor.shop_id) as unit:
            found = doubts.list_open(unit, source=source, kind=kind, limit=MOST)
            for one in found:
                _leave(ctx, unit, actor, one)
        left += len(found)
        if len(found) < MOST:
            return Decided(True, f"{left} left as they are here.", max(0, left - 1))


def _leave(ctx: Context, unit: Unit, actor: Actor, waiting: Stored) -> None:
    batch = Batch(waiting.source, "tickets", "UTC", {}, {})
    taker = _taker(ctx, unit, actor, batch, (waiting,))
    known = taker.known.get(waiting.row_key)
    taker.remember(waiting, known.ticket_id if known else waiting.ticket_id, said=True)
    taker.finish()
    doubts.settle(unit, waiting.id, how="left", at=ctx.clock(), staff_id=actor.staff_id)


def forget_strangers(ctx: Context, actor: Actor, *, keep_days: Mapping[str, int]) -> int:
    """Erases what sources told of people who are not known here longer ago than their `keep_days`; how many rows.

    Keys first, then rows; the erasure is proved by the next run of `forget.confirm`. What was decided goes as well.
    Every row stays for a day at least: what waits is nowhere else, and the key of the day is still sealed with.
    """
    actor.need("forget")
    now, gone = ctx.clock(), 0
    with ctx.db.read(actor.shop_id) as unit:
        before = {
            source: now - timedelta(days=max(1, keep_days.get(source, KEPT_DAYS)))
            for source in doubts.sources_known(unit)
        }
        due = {source: doubts.strangers_before(unit, source, moment) for source, moment in before.items()}
    ctx.db.vault.destroy_keys([key for keys in due.values() for key in keys], at=now)
    with ctx.db.write(actor.shop_id) as unit:
        for source, keys in due.items():
            gone += doubts.drop(unit, source, keys)
            doubts.drop_ended(unit, source, before[source])
        if gone:
            erasing.add_erasure(unit, at=now, reason="strangers_changes", counts={"doubts": gone})
    return gone


def _open(unit: Unit, doubt_id: str) -> Stored:
    waiting = doubts.get(unit, doubt_id)
    if waiting.state != doubts.OPEN:
        raise Conflict("This was decided already", "Look at the list of sources.")
    return waiting


def _taker(
    ctx: Context, unit: Unit, actor: Actor, batch: Batch, found: tuple[Stored, ...], *, also: tuple[str, ...] = ()
) -> Taker:  # fmt: skip
    """Acts as the source, so that its newer word still counts against this one; the events name who decided."""
    taker = Taker(Turn(ctx, unit, Actor(actor.shop_id, "source", batch.source), batch, ctx.clock()))
    taker.known = sources.rows(unit, batch.source, [one.row_key for one in found])
    taker.waiting = {one.row_key: one for one in found}
    ids = {one.ticket_id for one in found} | {row.ticket_id for row in taker.known.values()}
    taker.read_acts([one for one in (*ids, *also) if one])
    return taker


def _outcome(taker: Taker, is_taken: bool, waiting: Stored) -> Decided:
    done = taker.finish()
    if is_taken:
        return Decided(True, " ".join(said for _, said in done.would) or "There is nothing left to change.")
    still = taker.waiting.get(waiting.row_key, waiting)
    return Decided(False, f"It still waits: {still.reason}")
