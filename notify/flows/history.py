"""Read in a shop's history of finished repairs, so that forecasts make sense on the first day.

The file is not kept, and columns that are not ours are not looked at. Some thousand lines are one transaction with
what they teach: cut off between two of them, the file is read again, and lines already taken teach nothing twice.
"""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from statistics import median

from notify.core.actors import Actor
from notify.core.errors import Invalid, NotifyError
from notify.core.history import Reader, When, digest
from notify.core.instants import zone
from notify.core.past_jobs import Sums, sums_of
from notify.flows.context import Context
from notify.flows.history_file import Columns, decode, read
from notify.flows.learn import add_sums, relearn_within
from notify.flows.repair_kinds import MOST_KINDS, add_within, clean_name
from notify.store import past_jobs, repair_kinds, shops
from notify.store.database import Unit
from notify.store.past_jobs import PastJob

BATCH = 4000  # lines a transaction
MOST_REASONS = 1000  # refused lines that are told one by one
Progress = Callable[[int, int], None]
_UNKNOWN = "kind: there is no such kind of repair"


@dataclass(frozen=True, slots=True)
class Read:
    """What came of a file: jobs `taken`, those `known` before, lines refused (the first of them with their reasons).

    `made` are kinds that were added; `unknown` those that are not there, with their lines, the most frequent first.
    """

    taken: int
    known: int
    refused: int
    reasons: tuple[tuple[int, str], ...]
    made: tuple[str, ...]
    unknown: tuple[tuple[str, int], ...]


@dataclass(slots=True)
class _Sheet:
    """A file as it was understood: jobs by the name of their kind (as compared), in order."""

    jobs: list[tuple[str, float, When, str]] = field(default_factory=list)
    names: dict[str, str] = field(default_factory=dict)
    reasons: list[tuple[int, str]] = field(default_factory=list)
    refused: int = 0
    twice: int = 0  # lines that name the same minute of a day again
    new: int = 0  # of the names, those that the shop does not have

    def refuse(self, line: int, why: str) -> None:
        self.refused += 1
        if len(self.reasons) < MOST_REASONS:
            self.reasons.append((line, why))


def read_history(
    ctx: Context, actor: Actor, data: bytes, *, dates: str = "iso", encoding: str = "", new_kinds: bool = False,
    dry_run: bool = False, progress: Progress = lambda done, of: None, batch: int = BATCH,
) -> Read:  # fmt: skip
    """Takes the jobs of a CSV file and learns from them; bad lines are refused, the others taken.

    `new_kinds` makes kinds that are not there, with the middle of their minutes; else their lines are refused.
    `progress` is told lines done, of all, after each transaction of `batch` lines. Raises Invalid when it is no such
    file at all.
    """
    actor.need("settings")
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
        reader = Reader(shops.get_counter(unit, shop), zone(shop.zone), now=ctx.clock(), dates=dates)
        kinds = {row.name.casefold(): row.id for row in repair_kinds.list_kinds(unit)}
    sheet, unknown = _understand(*read(decode(data, encoding)), reader, kinds, new_kinds=new_kinds)
    made = [name for name in sheet.names if name not in kinds]
    if made and not dry_run:
        kinds = _make_kinds(ctx, actor, sheet, made)
    taken = 0
    lines, whole = iter(sheet.jobs), len(sheet.jobs)
    for done in range(0, whole, batch):
        taken += _take(ctx, actor, list(islice(lines, batch)), kinds, dry_run=dry_run)
        progress(min(done + batch, whole), whole)
    return Read(taken, whole - taken + sheet.twice, sheet.refused, tuple(sheet.reasons),
                tuple(sheet.names[name] for name in made), tuple(unknown.most_common(20)))  # fmt: skip


def drop_history(ctx: Context, actor: Actor) -> int:
    """Drops every job that was read in, and what it taught; how many. The shop's own jobs stay."""
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        gone = past_jobs.drop_read(unit)
        relearn_within(unit)
        return gone


def _understand(
    columns: Columns, lines: Iterator[tuple[int, Sequence[str] | str]], reader: Reader, kinds: dict[str, str], *,
    new_kinds: bool,
) -> tuple[_Sheet, Tally[str]]:  # fmt: skip
    """Every line as a job, or refused; and how often each kind was named that is not there and not made."""
    sheet, unknown = _Sheet(), Tally[str]()
    seen: Tally[tuple[str, float, datetime]] = Tally()
    known: dict[str, tuple[str, str]] = {}
    for line, cells in lines:
        if isinstance(cells, str):
            sheet.refuse(line, cells)
            continue
        try:
            kind, name = _kind(cells[columns.kind], known)
            if kind not in kinds and not (new_kinds and (kind in sheet.names or len(kinds) + sheet.new < MOST_KINDS)):
                unknown[name] += 1
                raise Invalid(_UNKNOWN)
            ended = reader.when(cells[columns.ended], "ended")
            minutes = _minutes(cells, columns, reader, ended)
        except NotifyError as problem:
            sheet.refuse(line, problem.what)
            continue
        if kind not in sheet.names:
            sheet.names[kind] = name
            sheet.new += kind not in kinds
        nth = seen[kind, minutes, ended.at] = seen[kind, minutes, ended.at] + 1
        if nth > 1 and not ended.is_day:
            sheet.twice += 1
            continue
        sheet.jobs.append((kind, minutes, ended, digest(kind, minutes, ended, nth)))
    return sheet, unknown


def _kind(cell: str, known: dict[str, tuple[str, str]]) -> tuple[str, str]:
    """(as compared, as written) of a cell."""
    if cell not in known:
        if len(cell) > 200:
            raise Invalid("kind: this is too long for a name")
        name = clean_name(cell)
        known[cell] = (name.casefold(), name)
    return known[cell]


def _minutes(cells: Sequence[str], columns: Columns, reader: Reader, ended: When) -> float:
    if columns.minutes is not None:
        return reader.minutes(cells[columns.minutes])
    return reader.between(reader.when(cells[columns.started or 0], "started"), ended)


def _make_kinds(ctx: Context, actor: Actor, sheet: _Sheet, made: list[str]) -> dict[str, str]:
    minutes: dict[str, list[float]] = {name: [] for name in made}
    for kind, length, _, _ in sheet.jobs:
        if kind in minutes:
            minutes[kind].append(length)
    with ctx.db.write(actor.shop_id) as unit:
        kinds = {row.name.casefold(): row.id for row in repair_kinds.list_kinds(unit)}
        for name in made:
            if name not in kinds:  # nobody made it meanwhile
                usual = max(1, round(median(minutes[name])))
                kinds[name] = add_within(unit, sheet.names[name], usual, known=len(kinds))
    return kinds


def _take(
    ctx: Context, actor: Actor, lines: list[tuple[str, float, When, str]], kinds: dict[str, str], *, dry_run: bool
) -> int:  # fmt: skip
    """One transaction: the lines that are not known yet, and what they teach; how many."""
    if dry_run:
        with ctx.db.read(actor.shop_id) as unit:
            return len(_new(unit, lines))
    with ctx.db.write(actor.shop_id) as unit:
        new = _new(unit, lines)
        jobs = [(key, PastJob(kinds[kind], minutes, when.at)) for kind, minutes, when, key in new]
        past_jobs.add_read(unit, jobs)
        _teach(unit, [job for _, job in jobs])
        return len(jobs)


def _new(unit: Unit, lines: list[tuple[str, float, When, str]]) -> list[tuple[str, float, When, str]]:
    known = past_jobs.known_digests(unit, [line[3] for line in lines])
    return [line for line in lines if line[3] not in known]


def _teach(unit: Unit, jobs: Sequence[PastJob]) -> None:
    by_kind: dict[str, list[float]] = {}
    for job in jobs:
        by_kind.setdefault(job.kind_id, []).append(job.minutes)
    for kind_id, minutes in sorted(by_kind.items()):
        sums: Sums = sums_of(minutes)
        add_sums(unit, kind_id, sums)
    if jobs:
        shops.note_change(unit)
