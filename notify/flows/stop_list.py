"""The list of stops beside the backups, and what a restore takes back from it before anything can be sent.

A single use that somebody took back since leaves no hash behind. So what rests on a consent is set aside for everybody
until they say so again: GDPR art. 7(1), the shop must be able to prove it. What belongs to the repair goes on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from notify.core.chunks import chunks
from notify.core.consent import CONSENT_PURPOSES, REACH_CHANNELS, allowed_on
from notify.core.stop_list import Stop, as_text, read_octets, united
from notify.flows.context import Context
from notify.store import consents, lists_beside, people, restoring, shops, suppressions
from notify.store.consents import Saying
from notify.store.database import Unit
from notify.store.key_rings import Ring
from notify.store.stamps import people_changed

LIST = "stopped.txt"
HOW = "restore"
_NO_WORDS: Mapping[str, str] = dict.fromkeys(CONSENT_PURPOSES, "")  # nobody was shown any


def keep(ctx: Context, folders: Sequence[Path]) -> None:
    """Writes the list into these folders where they are there, with what it named already."""
    there = [folder for folder in folders if folder.is_dir()]
    every = [suppressions.stops(unit) for unit in _units(ctx)]
    ring = ctx.db.vault.index_keys()
    text = as_text(united(*every, *(read(folder, ring) for folder in there))).encode()
    lists_beside.write(there, LIST, text, ctx.db.vault.index_key())


def keep_if_newer(ctx: Context, folders: Sequence[Path], seen: dict[str, object]) -> None:
    """The same unless nothing has changed since the caller's last look, which `seen` remembers: asked each minute."""
    if seen.get(LIST) != (now := _stamps(ctx, folders)):
        keep(ctx, folders)
        seen[LIST] = (now[0], _stamps(ctx, folders)[1])  # what was said meanwhile is written next time


def read(folder: Path, ring: Ring) -> tuple[Stop, ...]:
    """The list of a folder; nothing where there is none. Raises Invalid when no index key of the ring proves it."""
    return read_octets(lists_beside.read(folder, LIST, ring))


def take_back(ctx: Context, unit: Unit, stops: Iterable[Stop]) -> tuple[int, int]:
    """After a restore: how many stops were said or ended since, and how many consents are set aside."""
    return suppressions.take_back(unit, stops), _set_aside(ctx, unit)


def _set_aside(ctx: Context, unit: Unit) -> int:
    done = 0
    for some in chunks(sorted(restoring.people_here(unit))):
        state = people.standings(unit, some)
        uses = {who: gone for who, said in state.items() if (gone := _optional(said))}
        for one in people.recipients(unit, uses):
            for channel, purposes in uses[one.person_id].items():
                saying = Saying(channel, False, _NO_WORDS, one.language, HOW, ctx.clock())
                consents.add(unit, one.person_id, saying, purposes)
                done += len(purposes)
        people_changed(unit, uses)
    return done


def _optional(state: Mapping[tuple[str, str], bool]) -> dict[str, list[str]]:
    """channel -> what is allowed there by a consent of its own."""
    allowed = {channel: sorted(allowed_on(state, channel) & set(CONSENT_PURPOSES)) for channel in REACH_CHANNELS}
    return {channel: purposes for channel, purposes in allowed.items() if purposes}


def _units(ctx: Context) -> Iterable[Unit]:
    for shop_id in shops.shop_ids(ctx.db):
        with ctx.db.read(shop_id) as unit:
            yield unit


def _stamps(ctx: Context, folders: Sequence[Path]) -> tuple[object, object]:
    """What changes with the table or the key, and with a copy of the list."""
    said = (ctx.db.vault.index_key().id, *(suppressions.stamp(unit) for unit in _units(ctx)))
    return said, lists_beside.stamp(folders, LIST)
