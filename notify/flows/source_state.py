"""How a source is doing and what its words mean: what every room of `watch/` and the hooks ask and tell."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from notify.config.settings import Watch
from notify.core.sources import Batch, Trouble
from notify.flows.context import Context
from notify.store import sources
from notify.store.database import Unit
from notify.store.sources import State

PHASE, PART = "phase", "part"  # kinds of words


def state(ctx: Context, shop_id: str, source: str) -> State:
    """How a source is doing, and how far it was read (`position`)."""
    with ctx.db.read(shop_id) as unit:
        return sources.state(unit, source)


def looked(
    ctx: Context, shop_id: str, source: str, *, position: Mapping[str, Any] | None = None,
    trouble: Trouble | None = None, at: datetime | None = None,
) -> None:  # fmt: skip
    """Notes that a source was looked at: without trouble, or with which. `position` None leaves the old one.

    `at` is when the reading began, which is what later words without a time are held against: what staff did while it
    went on may be later than them. Without `at` it is now.
    """
    with ctx.db.write(shop_id) as unit:
        looked_within(unit, source, at=at or ctx.clock(), position=position, trouble=trouble)


def looked_within(
    unit: Unit, source: str, *, at: datetime, position: Mapping[str, Any] | None = None, trouble: Trouble | None = None
) -> None:
    """Like looked, inside the caller's transaction."""
    columns: dict[str, Any] = {"looked_at": at, "trouble": trouble.value if trouble else ""}
    if trouble is None:
        columns |= {"well_at": at, "trouble_since": None}
    elif not sources.state(unit, source).trouble:
        columns["trouble_since"] = at
    if position is not None:
        columns["position"] = dict(position)
    sources.put_state(unit, source, **columns)


def words(
    ctx: Context, shop_id: str, source: str, *, phases: Iterable[tuple[str, str]], parts: Iterable[tuple[str, str]] = ()
) -> tuple[Mapping[str, str], Mapping[str, str]]:  # fmt: skip
    """What the words for phases and parts mean: by the settings, and by what people here said since, which wins."""
    with ctx.db.read(shop_id) as unit:
        return words_within(unit, source, phases, parts)


def words_within(
    unit: Unit, source: str, phases: Iterable[tuple[str, str]], parts: Iterable[tuple[str, str]]
) -> tuple[Mapping[str, str], Mapping[str, str]]:
    """Like words, inside the caller's transaction."""
    said = sources.words(unit, source)
    by_kind = {
        kind: {word: ours for (of, word), ours in said.items() if of == kind} for kind in (PHASE, PART)
    }  # fmt: skip
    return (
        {word.casefold().strip(): ours for word, ours in phases} | by_kind[PHASE],
        {word.casefold().strip(): ours for word, ours in parts} | by_kind[PART],
    )


def batch_of(ctx: Context, shop_id: str, watch: Watch, *, digest: str = "") -> Batch:
    """A batch of this source as things stand: its words, its zone, and when it was last looked at without trouble.

    Made before the source is read, so that whatever is read was said after `seen_before`.
    """
    with ctx.db.read(shop_id) as unit:
        return batch_within(unit, watch, digest=digest)


def batch_for(ctx: Context, shop_id: str, watches: Sequence[Watch], source: str) -> Batch:
    """The same for a source by its name; one that the settings do not name any more has only what people here said."""
    for watch in watches:
        if watch.name == source:
            return batch_of(ctx, shop_id, watch)
    phases, parts = words(ctx, shop_id, source, phases=())
    return Batch(source, "tickets", "UTC", phases, parts)


def batch_within(unit: Unit, watch: Watch, *, digest: str = "") -> Batch:
    """Like batch_of, inside the caller's transaction."""
    phases, parts = words_within(unit, watch.name, watch.phase_words, watch.part_words)
    return Batch(watch.name, watch.about, watch.zone, phases, parts, digest, sources.state(unit, watch.name).well_at)
