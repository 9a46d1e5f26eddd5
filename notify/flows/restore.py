"""Bring a backup back: open it beside the data, take out whom the shop has forgotten since, and only then put it there.

What may have happened between the backup and now, and what is done about it:

- Somebody was forgotten: whoever stands on any copy of the erasure list loses the key and the rows, before anything
  can be sent. Whoever has no key in the copy of the keys, and stands on no list, is emptied as well and counted.
- Somebody wanted nothing more, or restricted what is done with their data: every stop, restriction and objection on a
  copy of the list of stops stands again, or is ended, as it was. A single use that was taken back left no trace: what
  rests on a consent is not used for anybody until they give it again.
- A message that waited may have left: what was due by now, or tried before, is dropped with a reason that staff see
  and can send again by hand. What is due later cannot have left, and the second look judges it as always. What the
  clock would catch up on (reminders, missed pickups) is caught up at once, and its messages are dropped with the rest.
- What happened before the restore and is told later (by a source that is read again, or from paper) tells no
  customer of it: the lost database may have told them (core/long_past.RESTORED).
- A listener is told again what it was told, under the same identifiers; a letter that is read again acts once.
- Sessions end; tokens, passes and feeds that were taken back since are valid again, which staff are told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from notify.core.actors import Actor
from notify.core.chunks import chunks
from notify.core.errors import Conflict, Invalid, Misconfigured, NotifyError
from notify.core.stop_list import Line
from notify.flows import ask_after, forget, questions, reminders, stop_list
from notify.flows.context import Context
from notify.store import archive, copying, erasing, job_runs, listeners, migrate, outbox, restoring, shops
from notify.store.archive import Manifest

Progress = Callable[[int], None]
_CATCH_UP: tuple[Callable[[Context, Actor], int], ...] = (
    questions.expire_due, reminders.note_missed, reminders.remind_due, reminders.remind_collection, ask_after.ask_due,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Unpacked:
    """A backup that was opened and found sound: what it says of itself, and its erasure list, not proved yet."""

    manifest: Manifest
    erased: bytes


@dataclass(frozen=True, slots=True)
class After:
    """What was done to a restored database before it may serve. Numbers and names of files only.

    `erased` stood on a list and were still in the backup; `lost` have no key in the copy of the keys and stood on no
    list; `stopped` are stops, restrictions and objections that were said or ended since; `unused` are consents that
    wait to be given again; `dropped` are messages that may have left; `signed_out` are sessions that ended; `missing`
    are lists that should lie beside the backups and do not.
    """

    made_at: datetime
    listed: int
    erased: int
    lost: int
    stopped: int
    unused: int
    dropped: int
    signed_out: int
    proved: bool
    missing: tuple[str, ...] = ()


def unpack(
    file: Path, into: Path, kind: str, identities: Sequence[str], *, progress: Progress = lambda done: None
) -> Unpacked:
    """Puts the database of a backup into the new file `into` and judges it; that file is useless after an error.

    Raises Invalid for a file that cannot be opened, is none of ours or of another kind, Misconfigured for one whose
    database is damaged or needs a newer program.
    """
    whole = max(file.stat().st_size, 1)
    with file.open("rb") as locked, copying.named(into) as made:
        manifest, listed = archive.read(
            locked, made.put, identities=list(identities), progress=lambda octets: progress(1000 * octets // whole)
        )
        if manifest.kind != kind:
            told = {"main": "the database", "keys": "people's keys"}
            raise Invalid(f"{file.name} is a backup of {told.get(manifest.kind, 'something else')}",
                          f"Name one of {told[kind]} here.", field="file")  # fmt: skip
        if not copying.is_whole(made.connection):
            raise Misconfigured("The database in the backup is damaged", "Take another backup.", field="file")
        if max(manifest.step, copying.step(made.connection)) > migrate.newest():
            raise Misconfigured("The backup was made by a newer program", "Restore it with that one.", field="file")
    return Unpacked(manifest, listed)


def after_care(
    ctx: Context, listed: Mapping[str, datetime], stops: Iterable[Line] = (), *, made_at: datetime | None
) -> After:  # fmt: skip
    """Does all that must be done before a restored database serves; doing it again changes nothing more.

    `listed` is the union of the erasure lists at hand; that of the key store is read here. `stops` are those of the
    lists of stops. While `made_at` is not known (None), the newest event stands for it.
    """
    now, db, every = ctx.clock(), ctx.db, shops.shop_ids(ctx.db)
    moment = made_at or restoring.newest_event(db, every) or now
    whole = _destroy(ctx, listed, now)
    erased = lost = stopped = unused = waited = sessions = 0
    for shop_id in every:
        actor = Actor(shop_id, "system", "clock")
        gone, without = _erase(ctx, actor, whole)
        erased, lost = erased + gone, lost + without
        with db.write(shop_id) as unit:
            noted, ended = stop_list.take_back(ctx, unit, stops)
        stopped, unused = stopped + noted, unused + ended
        for catch_up in _CATCH_UP:
            with suppress(NotifyError):
                catch_up(ctx, actor)
        with db.write(shop_id) as unit:
            outbox.release(unit)
            waited += restoring.drop_waiting(unit, now=ctx.clock(), since=now)
            sessions += restoring.end_sessions(unit)
            listeners.release(unit)
    job_runs.release_all(db)
    restoring.mark_restored(db, at=ctx.clock(), made_at=moment)
    confirmed = [forget.confirm(ctx, Actor(shop_id, "system", "clock")) for shop_id in every]
    return After(moment, len(whole), erased, lost, stopped, unused, waited, sessions, all(confirmed))


def _destroy(ctx: Context, listed: Mapping[str, datetime], now: datetime) -> frozenset[str]:
    """Keys first: from here on nobody on a list can be read, whatever stops this. Everybody who is listed."""
    vault = ctx.db.vault
    known = dict(vault.erased())
    by_time: dict[datetime, list[str]] = {}
    for who, at in listed.items():
        if who not in known:
            by_time.setdefault(at, []).append(who)
    for at, whom in by_time.items():
        vault.list_erased(whom, at)
    whole = frozenset(known) | frozenset(listed)
    for some in chunks(sorted(vault.with_keys(whole))):
        vault.destroy_keys(some, at=now)
    return whole


def _erase(ctx: Context, actor: Actor, listed: frozenset[str]) -> tuple[int, int]:
    """Overwrites whoever is listed, and whoever has no key: how many of each."""
    with ctx.db.read(actor.shop_id) as unit:
        here, others = restoring.people_here(unit), restoring.others_here(unit)
    keyless = (here | others) - ctx.db.vault.with_keys(here | others)
    gone = [one for one in sorted(here) if one in listed]
    without = [one for one in sorted(here) if one in keyless and one not in listed]
    for people, reason in ((gone, "restored"), (without, "no_key")):
        forget.erase_listed(ctx, actor, people, reason=reason)
    emptied = sorted(others & (keyless | listed))
    if emptied:
        with ctx.db.write(actor.shop_id) as unit:
            rows = restoring.empty_others(unit, emptied)
            erasing.add_erasure(unit, at=ctx.clock(), reason="restored", counts={"rows": rows})
    return len(gone), len(without)


def need_empty(main: Path, keys: Path | None) -> None:
    """Raises Conflict when something is there already: nothing is ever restored over it."""
    for file in (main, keys):
        if file is not None and file.exists() and file.stat().st_size:
            raise Conflict(
                f"There is an installation here already: {file.name} is not empty",
                f"Nothing was written. Move its folder {file.parent.name}/ away first, or restore into another place.",
                field="file",
            )
