"""Changes the master key or the index key while the shop is served; wherever it is cut off, running it again ends it.

The order, and why no moment of it loses anything: the new line stands in the key file (on the disk) before the store
names it as current; what is written anew stands under it from then on; the rest follows in batches; the old line
leaves the file only after nothing is left under it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from notify.config.key_files import read_ring, write_ring
from notify.core.errors import Conflict, NotFound
from notify.flows.context import Context
from notify.store import key_turning as turn
from notify.store import shops
from notify.store.key_rings import Key
from notify.store.key_store import Fact, known_ids

Kind = Literal["master", "index"]
Progress = Callable[[int, int], None]
Fault = Callable[[str], None]
KEY_BYTES = 32
TIDY_TRIES = 5
# Without these, people could not be read or found, or would be written to who said no: such a key is never given up.
VITAL = frozenset({"people", "contacts", "suppressions"})


@dataclass(frozen=True, slots=True)
class KeyLine:
    """One key: never its bytes. `under` counts what needs it: people for a master key, contacts for an index key."""

    kind: Kind
    id: str
    current: bool
    since: datetime | None
    under: int


@dataclass(frozen=True, slots=True)
class Rotated:
    """What came of it. `finished` says that an earlier one was brought to its end and no new key was made."""

    kind: Kind
    id: str
    finished: bool
    changed: int
    closed: int  # rows that do not open, and did not before
    left: tuple[str, ...]  # old keys that something may still need
    proved: bool  # that nothing under the old key is readable in the key store's files


def show(ctx: Context) -> tuple[KeyLine, ...]:
    """Every key that the store knows, with how much stands under it."""
    known = turn.known(ctx.db.vault)
    under = {"master": turn.count_by_master(ctx.db.vault), "index": turn.count_by_index(ctx.db)}
    kinds: tuple[Kind, Kind] = ("master", "index")
    return tuple(
        KeyLine(kind, name, known[kind].value == name, known[f"{kind}:{name}"].since, under[kind].get(name, 0))
        for kind in kinds
        for name in known_ids(known, kind)
    )


def prepare(ctx: Context, kind: Kind, file: Path) -> str:
    """Only writes the new line, which is not used yet: for copying the file to other machines first. Its name."""
    with turn.turning(ctx.db.vault):
        return _new_line(ctx, kind, file, turn.known(ctx.db.vault))


def rotate(
    ctx: Context, kind: Kind, file: Path, *, progress: Progress = lambda done, whole: None,
    fault: Fault = lambda point: None, batch: int = turn.BATCH,
) -> Rotated:  # fmt: skip
    """Puts a new key in place, or brings to its end what was cut off.

    Raises Conflict while another process changes keys, Misconfigured when the file cannot be changed: nothing was.
    """
    with turn.turning(ctx.db.vault):
        known = turn.known(ctx.db.vault)
        finished = _is_unfinished(kind, file, known)
        if not finished:
            name = _new_line(ctx, kind, file, known)
            fault("key line")
            turn.adopt(ctx.db.vault, kind, _key(file, name), ctx.clock())
            fault("key adopted")
        name = turn.known(ctx.db.vault)[kind].value
        work = _rewrap if kind == "master" else _rehash
        changed, closed = work(ctx, name, batch, progress, fault)
        left = _end_master(ctx, name, file, fault) if kind == "master" else _others(ctx, kind)
        proved = _tidy(ctx, fault) if kind == "master" else True
        if proved:
            turn.finish(ctx.db.vault, kind)
    return Rotated(kind, name, finished, changed, closed, left, proved)


def what_needs(ctx: Context, kind: Kind, key_id: str, file: Path) -> Mapping[str, int]:
    """What would be lost with this old key, as code -> how many; nothing when it can go."""
    known = turn.known(ctx.db.vault)
    if kind == "master":
        people = turn.count_by_master(ctx.db.vault).get(key_id, 0)
        return {"people": people} if people else {}
    oldest = read_ring(file)[-1][0] == key_id
    return turn.needs(ctx.db, key_id, since=known[kind].since, oldest=oldest, now=ctx.clock())


def retire(ctx: Context, kind: Kind, key_id: str, file: Path, *, anyway: bool = False) -> Mapping[str, int]:
    """Drops an old key that nothing needs; with `anyway` also one that something less than vital needs: what that is.

    Raises NotFound for an unknown key, Conflict for the current one and for one that is needed; nothing is changed.
    """
    with turn.turning(ctx.db.vault):
        known, ring = turn.known(ctx.db.vault), read_ring(file)
        if key_id not in known_ids(known, kind) and key_id not in dict(ring):
            raise NotFound(f"There is no {kind} key {key_id!r}", "See `shelfbell key show`.", field="id")
        lost = what_needs(ctx, kind, key_id, file)
        in_the_way = VITAL & lost.keys() if anyway else lost
        if known[kind].value != key_id and in_the_way:
            raise Conflict(
                f"The {kind} key {key_id!r} is still needed: " + ", ".join(f"{n} {code}" for code, n in lost.items()),
                "`shelfbell key check` says what each of them means.",
            )
        turn.drop(ctx.db.vault, kind, key_id)
        write_ring(file, [one for one in ring if one[0] != key_id])
        return lost


def _is_unfinished(kind: Kind, file: Path, known: Mapping[str, Fact]) -> bool:
    """Whether the current key was adopted and its work not brought to the end."""
    ring, names = read_ring(file), known_ids(known, kind)
    if ring[0][0] not in names:  # a new line that nothing uses yet: it is adopted, no other one is made
        return False
    return turn.UNFINISHED + kind in known


def _new_line(ctx: Context, kind: Kind, file: Path, known: Mapping[str, Fact]) -> str:
    """The name of the line that is not used yet; it is made when there is none."""
    ring = read_ring(file)
    if ring[0][0] not in known_ids(known, kind):
        return ring[0][0]
    taken = {name for name, _ in ring} | set(known_ids(known, kind))
    number = 1 + max((int(name[1:]) for name in taken if name[0] == "k" and name[1:].isdigit()), default=0)
    write_ring(file, [(f"k{number}", ctx.db.vault.random(KEY_BYTES)), *ring])
    return f"k{number}"


def _key(file: Path, name: str) -> Key:
    return Key(name, dict(read_ring(file))[name])


def _rewrap(ctx: Context, name: str, batch: int, progress: Progress, fault: Fault) -> tuple[int, int]:
    whole = sum(count for other, count in turn.count_by_master(ctx.db.vault).items() if other != name)
    changed = closed = 0
    after, more = "", whole > 0
    while more:
        step = turn.rewrap(ctx.db.vault, name, after, batch=batch)
        changed, closed, after = changed + step.done, closed + step.closed, step.after
        progress(changed + closed, whole)
        fault("key batch")
        more = bool(after)
    return changed, closed


def _rehash(ctx: Context, name: str, batch: int, progress: Progress, fault: Fault) -> tuple[int, int]:
    whole = sum(count for other, count in turn.count_by_index(ctx.db).items() if other != name)
    changed = closed = 0
    for shop_id in shops.shop_ids(ctx.db):
        after, more = "", True
        while more:
            with ctx.db.write(shop_id) as unit:
                step = turn.rehash(unit, name, after, batch=batch)
            changed, closed, after = changed + step.done, closed + step.closed, step.after
            progress(changed + closed, whole)
            fault("key batch")
            more = bool(after)
    return changed, closed


def _end_master(ctx: Context, name: str, file: Path, fault: Fault) -> tuple[str, ...]:
    """Drops every old master key that wraps nothing any more, from the store first; those that stay."""
    wraps = turn.count_by_master(ctx.db.vault)
    for other in _others(ctx, "master"):
        if not wraps.get(other):
            turn.drop(ctx.db.vault, "master", other)
            fault("key dropped")
    left = _others(ctx, "master")
    ring = read_ring(file)
    kept = [one for one in ring if one[0] == name or one[0] in left]
    if kept != list(ring):
        write_ring(file, kept)
        fault("key file")
    return left


def _others(ctx: Context, kind: Kind) -> tuple[str, ...]:
    known = turn.known(ctx.db.vault)
    return tuple(name for name in known_ids(known, kind) if name != known[kind].value)


def _tidy(ctx: Context, fault: Fault) -> bool:
    """Rewrites the key store, unless readers are in the way again and again; then the next run does it."""
    done = any(ctx.db.vault.tidy() for _ in range(TIDY_TRIES))
    fault("key tidied")
    return done
