"""The list of stops beside the backups, and what a restore takes back from it before anything can be sent.

A single use that somebody took back since leaves no hash behind. So what rests on a consent is not used for anybody
until they say so again: GDPR art. 7(1), the shop must be able to prove it. What belongs to the repair goes on. What
was restricted or objected to since (GDPR art. 18 and 21) stands again as it did.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from notify.core.actors import Actor
from notify.core.chunks import chunks
from notify.core.consent import CONSENT_PURPOSES, REACH_CHANNELS, allowed_on
from notify.core.requests import Kind
from notify.core.stop_list import Granted, Line, Stop, as_text, read_octets, united
from notify.flows import granted
from notify.flows.context import Context
from notify.store import consents, lists_beside, people, requests, restoring, shops, suppressions
from notify.store import granted as granted_rows
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
    every = [_lines(unit) for unit in _units(ctx)]
    ring = ctx.db.vault.index_keys()
    text = as_text(united(*every, *(read(folder, ring) for folder in there))).encode()
    lists_beside.write(there, LIST, text, ctx.db.vault.index_key())


def keep_if_newer(ctx: Context, folders: Sequence[Path], seen: dict[str, object]) -> None:
    """The same unless nothing has changed since the caller's last look, which `seen` remembers: asked each minute."""
    lists_beside.keep_if_newer(LIST, seen, stamps=lambda: _stamps(ctx, folders), keep=lambda: keep(ctx, folders))


def read(folder: Path, ring: Ring) -> tuple[Line, ...]:
    """The list of a folder; nothing where there is none. Raises Invalid when no index key of the ring proves it."""
    return read_octets(lists_beside.read(folder, LIST, ring))


def take_back(ctx: Context, unit: Unit, stops: Iterable[Line]) -> tuple[int, int]:
    """After a restore: how many stops were said or ended since, and how many consents are not used from now on."""
    whole = united(stops, granted_rows.list_granted(unit))  # what has ended in this copy does not begin anew
    again = _grant_again(ctx, unit, [one for one in whole if isinstance(one, Granted)])
    return suppressions.take_back(unit, [one for one in whole if isinstance(one, Stop)]) + again, _end_uses(ctx, unit)


def _grant_again(ctx: Context, unit: Unit, listed: Sequence[Granted]) -> int:
    before = set(granted_rows.list_granted(unit))
    clock = Actor(unit.shop_id, "system", "clock")
    for one in granted_rows.grant_again(unit, listed):
        if one.kind == Kind.OBJECTION:
            granted.stop_interests(ctx, unit, clock, requests.get_request(unit, one.id))
    changed = set(granted_rows.list_granted(unit)) - before
    people_changed(unit, {one.person_id for one in changed})
    return len(changed)


def _end_uses(ctx: Context, unit: Unit) -> int:
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


def _lines(unit: Unit) -> tuple[Line, ...]:
    return *suppressions.stops(unit), *granted_rows.list_granted(unit)


def _units(ctx: Context) -> Iterable[Unit]:
    for shop_id in shops.shop_ids(ctx.db):
        with ctx.db.read(shop_id) as unit:
            yield unit


def _stamps(ctx: Context, folders: Sequence[Path]) -> tuple[object, object]:
    """What changes with the table or the key, and with a copy of the list."""
    said = [(suppressions.stamp(unit), granted_rows.stamp(unit)) for unit in _units(ctx)]
    return (ctx.db.vault.index_key().id, *said), lists_beside.stamp(folders, LIST)
