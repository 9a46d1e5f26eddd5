"""What the shop sees of its sources: how each is doing, and every change that waits for a person, with both sides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.config.settings import Watch
from notify.core.actors import Actor
from notify.core.errors import NotFound
from notify.core.sources import Doubt
from notify.core.tickets import Phase
from notify.flows import contact_reads
from notify.flows.by_beginning import the_one
from notify.flows.context import Context
from notify.flows.source_state import words_within
from notify.flows.view_lines import Lines, TicketLine
from notify.store import doubts, sources
from notify.store.database import Unit
from notify.store.doubts import Stored
from notify.store.sources import State

SHOWN = 50  # changes on one page
CONTACT = ("name", "phone", "email")
SHELF = Phase.ON_SHELF
MOVED = (Doubt.STAFF_SAID_OTHERWISE, Doubt.IMPOSSIBLE_MOVE, Doubt.NEEDS_A_PERSON)  # what is asked is where it stands


@dataclass(frozen=True, slots=True)
class SourceLine:
    """One source: its name, kind (folder, table, webhook, or "" where the settings do not name it any more), what it
    is about, how it is doing, how many changes wait by kind, and since when it has been silent for too long, if so.
    """

    name: str
    kind: str
    about: str
    state: State
    waiting: Mapping[str, int]
    silent_since: datetime | None

    @property
    def waits(self) -> int:
        """How many changes wait for a person."""
        return sum(self.waiting.values())


@dataclass(frozen=True, slots=True)
class DoubtLine:
    """One change that waits. `word` is what the source calls the phase, `means` our phase for it ("" if unknown).

    `ticket` is ours, if it is known which. `cells` are all that it said by our words; whom it names is left out for
    those who may not see contacts. `field` is the cell that the reason is about.
    """

    id: str
    source: str
    about: str
    kind: Doubt
    state: str
    reason: str
    field: str
    reference: str
    word: str
    means: str
    ticket: TicketLine | None
    cells: Mapping[str, str]
    told_at: datetime | None
    seen_at: datetime

    @property
    def is_agreed(self) -> bool:
        """Whether the device has come to stand, by somebody's hand, where the source says that it does."""
        if not self.means or self.ticket is None or self.kind not in MOVED:
            return False
        return self.means in (self.ticket.phase.value, self.ticket.outcome if self.ticket.phase is SHELF else "")


@dataclass(frozen=True, slots=True)
class Sources:
    """Every source, and the changes that wait, the oldest first; `more` is how many more there are."""

    lines: tuple[SourceLine, ...]
    doubts: tuple[DoubtLine, ...]
    more: int


def view(
    ctx: Context, actor: Actor, watches: Sequence[Watch], *, source: str = "", limit: int = SHOWN, named: bool = True
) -> Sources:  # fmt: skip
    """Every source of this shop with what waits. `watches` are those of the settings that belong to it.

    Without `named` whom a change names is left out, for a list that does not show it.
    """
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        lines = source_lines(ctx, unit, watches)
        found = doubts.list_open(unit, source=source, limit=limit)
        counted = sum(line.waits for line in lines if source in ("", line.name))
        seen = Sources(lines, _doubt_lines(unit, actor, watches, found, named=named), counted - len(found))
    contact_reads.note(ctx, actor, "sources", _told(seen.doubts, found))
    return seen


def on_sheet(ctx: Context, actor: Actor, watches: Sequence[Watch]) -> tuple[SourceLine, ...]:
    """The sources that somebody has to look at: changes wait, or nothing has been read for too long."""
    with ctx.db.read(actor.shop_id) as unit:
        return tuple(line for line in source_lines(ctx, unit, watches) if line.waits or line.silent_since)


def source_lines(ctx: Context, unit: Unit, watches: Sequence[Watch]) -> tuple[SourceLine, ...]:
    """A line for each source of the settings, and for each other one of which something waits."""
    known, waiting, now = sources.states(unit), doubts.count_open(unit), ctx.clock()
    named = {watch.name: watch for watch in watches}
    names = [*named, *sorted(name for name in waiting if name not in named)]
    return tuple(
        _line(name, named.get(name), known.get(name, State(name)), waiting.get(name, {}), now) for name in names
    )


def _line(name: str, watch: Watch | None, state: State, waiting: Mapping[str, int], now: datetime) -> SourceLine:
    if watch is None:
        return SourceLine(name, "", "", state, waiting, None)
    return SourceLine(name, watch.kind, watch.about, state, waiting, _silent_since(watch, state, now))


def _silent_since(watch: Watch, state: State, now: datetime) -> datetime | None:
    """Since when nothing could be read, if that is too long; a source that was never looked at is not silent yet."""
    since = state.well_at or state.trouble_since
    is_long = since is not None and now - since > timedelta(minutes=watch.quiet_minutes)
    return since if watch.quiet_minutes and is_long else None


def view_doubt(ctx: Context, actor: Actor, watches: Sequence[Watch], doubt_id: str) -> DoubtLine:
    """One change, settled ones too; raises NotFound."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = (doubts.get(unit, doubt_id),)
        lines = _doubt_lines(unit, actor, watches, found)
    contact_reads.note(ctx, actor, "sources", _told(lines, found))
    return lines[0]


def _told(lines: Sequence[DoubtLine], found: Sequence[Stored]) -> tuple[contact_reads.Seen, ...]:
    """Whose phone or e-mail the source told, for the access log: known by the change alone."""
    both = zip(lines, found, strict=True)
    return tuple((row.id, None) for line, row in both if line.cells.keys() & {"phone", "email"})


def find_doubt(ctx: Context, actor: Actor, beginning: str) -> str:
    """A change that waits by the beginning of its identifier; raises NotFound or Conflict."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = doubts.ids_beginning(unit, beginning) if beginning else ()
    return the_one(found, beginning, thing="change", see="shelfbell doubt list", field="doubt")


def source_of(ctx: Context, actor: Actor, doubt_id: str) -> str:
    """The name of the source that told it; raises NotFound."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return doubts.get(unit, doubt_id).source


def find_watch(watches: Sequence[Watch], name: str) -> Watch:
    """The source of that name; raises NotFound."""
    for watch in watches:
        if watch.name == name:
            return watch
    raise NotFound(f"There is no source {name[:40]!r} in the settings", "See `shelfbell source list`.", field="name")


def _doubt_lines(
    unit: Unit, actor: Actor, watches: Sequence[Watch], found: Sequence[Stored], *, named: bool = True
) -> tuple[DoubtLine, ...]:  # fmt: skip
    known = {watch.name: watch for watch in watches}
    lines = Lines(unit).by_id({one.ticket_id for one in found if one.ticket_id}) if found else {}
    meanings = {name: _meanings(unit, name, known.get(name)) for name in {one.source for one in found}}
    hidden = () if named and actor.may("see_contact") else CONTACT
    return tuple(_doubt_line(one, known.get(one.source), lines, meanings.get(one.source, {}), hidden) for one in found)


def _meanings(unit: Unit, source: str, watch: Watch | None) -> Mapping[str, str]:
    """What a source's words for phases mean, as settings and people here say; people alone once it is not set."""
    return words_within(unit, source, watch.phase_words if watch else (), watch.part_words if watch else ())[0]


def _doubt_line(
    one: Stored, watch: Watch | None, lines: Mapping[str, TicketLine], meanings: Mapping[str, str],
    hidden: Sequence[str],
) -> DoubtLine:  # fmt: skip
    word = one.cells.get("phase", "").strip()
    return DoubtLine(
        id=one.id, source=one.source, about=watch.about if watch else "tickets", kind=one.kind, state=one.state,
        reason=one.reason, field=one.field, reference=one.cells.get("reference", "") or one.key, word=word,
        means=meanings.get(word.casefold(), ""), ticket=lines.get(one.ticket_id), told_at=one.told_at,
        seen_at=one.seen_at, cells={name: text for name, text in one.cells.items() if text and name not in hidden},
    )  # fmt: skip
