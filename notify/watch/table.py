"""Watches a query on another system's database: by its rising change column, or by comparing every line."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from notify.config.key_files import read_password
from notify.config.settings import Watch
from notify.core import rising
from notify.core.actors import Actor
from notify.core.chunks import chunks
from notify.core.errors import Misconfigured
from notify.core.rising import Bound, Position, Value
from notify.core.sources import Batch, Change, SourceTrouble, Taken, Trouble
from notify.flows import source_news, source_state, take_changes
from notify.flows.context import Context
from notify.store.watched_table import Asked, WatchedTable, open_table
from notify.watch.report import Report
from notify.watch.table_cells import LONGEST, text_of

PAGE = 1_000  # lines held at once
AT_ONCE, PAUSE = 100, 0.05  # so many lines in one transaction, and how long others have the writer between two
NOTED = timedelta(seconds=9)  # a look that found nothing is noted no more often: it would be a write for each
# What tells lines apart that have the same value in the change column; the first that is there is read along otherwise.
KEYS = ("reference", "order", "article", "slip", "part")

Tell = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class _Line:
    """A line as read: the value that it is read along, and its cells as texts."""

    along: Value | None
    cells: tuple[str, ...]


@dataclass(slots=True)
class _Seen:
    """What came of a look so far."""

    lines: int = 0
    newest: Value | None = None
    taken: Taken = field(default_factory=Taken)
    refused: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class _Way:
    """How it is taken: only tried or for good, who hears how far it is, and how others get their turn."""

    dry_run: bool
    tell: Tell
    pause: Callable[[float], None]


def look(
    ctx: Context, shop_id: str, watch: Watch, *, dry_run: bool = False, tell: Tell = lambda lines: None,
    pause: Callable[[float], None] = time.sleep,
) -> tuple[Report, ...]:  # fmt: skip
    """Reads what is new there and takes it, page by page; `tell` hears after each how many lines were looked at.

    With `dry_run` nothing changes. Trouble is told in the report, and the next look begins where this one did.
    """
    seen, began = _Seen(), ctx.clock()
    trouble: SourceTrouble | None = None
    state = source_state.state(ctx, shop_id, watch.name)
    position = rising.read(state.position, _of(watch))
    try:
        position = _look(ctx, shop_id, watch, position, seen, began, _Way(dry_run, tell, pause))
    except SourceTrouble as problem:
        trouble = problem
    is_idle = seen.taken == Taken() and not seen.refused and not trouble
    is_noted = is_idle and not state.trouble and state.looked_at and began - state.looked_at < NOTED
    if not dry_run and not is_noted:
        kept = None if trouble else rising.written(position)
        which = trouble.trouble if trouble else None
        source_state.looked(ctx, shop_id, watch.name, position=kept, trouble=which, at=began)
    if is_idle:
        return ()
    return (Report(watch.name, seen.taken, seen.refused, trouble.trouble if trouble else None, str(trouble or "")),)


def _of(watch: Watch) -> str:
    """Names what the settings ask: where it is something else than it was, all is read from the beginning."""
    asked = repr((watch.url, watch.query, watch.changed, watch.columns))
    return hashlib.sha256(asked.encode()).hexdigest()


def _look(
    ctx: Context, shop_id: str, watch: Watch, position: Position, seen: _Seen, began: datetime, way: _Way
) -> Position:
    back = timedelta(seconds=watch.look_back_seconds)
    whole = not watch.changed or rising.is_whole_due(position, began, watch.zone, back)
    table = open_table(watch.url, _password(watch), _asked(watch), seconds=watch.wait_seconds)
    batch = source_state.batch_of(ctx, shop_id, watch)
    for page in _every_page(table) if whole else _pages(table, rising.start(position, back)):
        changes = _changes(watch, page, seen)
        seen.taken += _take(ctx, Actor(shop_id, "source", watch.name), batch, changes, way)
        seen.newest = next((one.along for one in reversed(page) if rising.is_usable(one.along, began)), seen.newest)
        way.tell(seen.lines)
    night = rising.night_of(began, watch.zone) if whole else None
    newest = seen.newest if watch.changed else None
    return rising.moved(position, began=began, newest=newest, look_back=back, whole=night)


def _take(ctx: Context, actor: Actor, batch: Batch, changes: Sequence[Change], way: _Way) -> Taken:
    """What is news among the lines of a page, a few in one transaction, with pauses for others who write."""
    done, fresh = Taken(), source_news.news(ctx, actor.shop_id, batch, changes)
    for some in chunks(fresh, AT_ONCE):
        taken = take_changes.take(ctx, actor, batch, some, dry_run=way.dry_run)
        done += taken if way.dry_run else replace(taken, would=())
        way.pause(PAUSE)
    return done


def _password(watch: Watch) -> str:
    if watch.password_file is None:
        return ""
    try:
        return read_password(watch.password_file, field=f"watch.{watch.name}.password_file")
    except Misconfigured as problem:
        raise SourceTrouble(Trouble.REFUSED, problem.what, problem.advice) from None


def _asked(watch: Watch) -> Asked:
    theirs = dict(watch.columns)
    keys = tuple(theirs[ours] for ours in KEYS if ours in theirs) or (watch.columns[0][1],)
    return Asked(watch.query, tuple(theirs.values()), watch.changed or keys[0], keys)


def _every_page(table: WatchedTable) -> Iterator[list[_Line]]:
    """All lines, those without a value in the column that is read along among them."""
    if without := table.rows_without(limit=PAGE, shape=_line):
        yield without
    yield from _pages(table, None)


def _pages(table: WatchedTable, after: Bound | None) -> Iterator[list[_Line]]:
    """Page after page in rising order. The next begins with the last value of the one before, since not all of its
    lines may have had room there; where one value fills a page, those read are gone past by number."""
    skip, before = 0, frozenset[_Line]()
    while True:
        page = table.rows(after, limit=PAGE, skip=skip, shape=_line)
        yield [line for line in page if line not in before]
        if len(page) < PAGE:
            return
        last = page[-1].along
        if last is None:
            raise SourceTrouble(Trouble.WRONG_ANSWER, f"Nobody can read along {table.asked.along!r}", _ALONG)
        again = after is not None and after.same_too and _same(after.value, last)
        skip = skip + PAGE if again else PAGE if _same(page[0].along, last) else 0
        after, before = Bound(last, same_too=True), frozenset(line for line in page if line.along == last)


_ALONG = "It must be a number, a time or a text. Give the query another one as changed, or as reference."


def _same(one: object, other: object) -> bool:
    """Whether a database may hold both for one value: many see no capitals, and no blanks at the end."""
    texts = isinstance(one, str) and isinstance(other, str)
    return one.casefold().rstrip() == other.casefold().rstrip() if texts else one == other  # type: ignore[attr-defined]


def _line(row: Sequence[Any]) -> _Line:
    return _Line(rising.same_kind(row[0]), tuple(map(text_of, row[1:])))


def _changes(watch: Watch, page: Sequence[_Line], seen: _Seen) -> list[Change]:
    ours = [word for word, _ in watch.columns]
    changes = []
    for line in page:
        seen.lines += 1
        if fault := next((word for word, cell in zip(ours, line.cells, strict=True) if len(cell) > LONGEST), ""):
            seen.refused += ((seen.lines, f"its {fault} is longer than {LONGEST} characters"),)
        else:
            changes.append(Change(seen.lines, dict(zip(ours, line.cells, strict=True))))
    return changes
