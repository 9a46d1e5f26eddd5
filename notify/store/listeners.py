"""Listeners: where the shop's own systems are told of events, how far each has heard, and what it refused."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import and_, delete, func, insert, or_, select, update

from notify.core.errors import NotFound
from notify.core.events import Event
from notify.store import schema as s
from notify.store import shown
from notify.store.database import Unit
from notify.store.events import as_event

_L, _R, _E, _T = s.listeners, s.refused_events, s.events, s.tickets
ON, PAUSED, OFF = "on", "paused", "off"
AGAIN = 0  # stands for the status of a refused event that is to be offered again


@dataclass(frozen=True, slots=True)
class Listener:
    """One listener. `kinds` are the events it wants, none for all; `heard` is the number of the newest it took."""

    id: str
    name: str
    kinds: tuple[str, ...]
    state: str
    heard: int
    attempts: int
    next_at: datetime | None
    trouble: str
    trouble_since: datetime | None
    made_at: datetime
    old_until: datetime | None


@dataclass(frozen=True, slots=True)
class Secrets:
    """What is sealed of a listener: its address, its key, and the key before while that signs as well ("" for none)."""

    address: str = field(repr=False)
    secret: str = field(repr=False)
    old_secret: str = field(repr=False, default="")


@dataclass(frozen=True, slots=True)
class Numbered:
    """An event with its number in the shop's story and its device's claim number ("" for one of a whole visit)."""

    seq: int
    event: Event
    number: str


def add_listener(
    unit: Unit, new_id: str, *, name: str, address: str, secret: str, kinds: Sequence[str], by: str | None,
    at: datetime,
) -> None:  # fmt: skip
    """Keeps a new listener, which hears of what happens from now on. Its key in the vault must be there already."""
    unit.connection.execute(insert(_L).values(
        shop_id=unit.shop_id, id=new_id, name=name, kinds=list(kinds), state=ON, heard=newest(unit), attempts=0,
        trouble="", made_at=at, staff_id=by, **_sealed(unit, new_id, address=address, secret=secret),
    ))  # fmt: skip


def list_listeners(unit: Unit) -> tuple[Listener, ...]:
    """All that were not dropped, by name."""
    query = select(_L).where(_L.c.shop_id == unit.shop_id, _L.c.state != OFF).order_by(_L.c.name)
    return tuple(_listener(row) for row in unit.connection.execute(query))


def get_listener(unit: Unit, listener_id: str) -> Listener:
    """One that was not dropped; raises NotFound."""
    row = unit.connection.execute(select(_L).where(*_one(unit, listener_id), _L.c.state != OFF)).first()
    if row is None:
        raise NotFound("There is no such listener", "Look at the list: it may have been dropped.")
    return _listener(row)


def secrets_of(unit: Unit, listener_id: str) -> Secrets:
    """Opens what is sealed of a listener. Raises NotFound."""
    get_listener(unit, listener_id)
    row = unit.connection.execute(select(_L).where(*_one(unit, listener_id))).one()
    return Secrets(*(
        unit.open(listener_id, "listeners", listener_id, name, row._mapping[f"{name}_sealed"])
        for name in ("address", "secret", "old_secret")
    ))  # fmt: skip


def put_secret(unit: Unit, listener_id: str, *, secret: str, old_secret: str, until: datetime) -> None:
    """Changes its key; the one before signs as well until then."""
    sealed = _sealed(unit, listener_id, secret=secret, old_secret=old_secret)
    unit.connection.execute(update(_L).where(*_one(unit, listener_id)).values(old_until=until, **sealed))


def set_state(unit: Unit, listener_id: str, state: str, *, trouble: str = "") -> bool:
    """Lets it hear, pauses it, or drops it; what was in the way is forgotten. False where there is none."""
    gone = dict.fromkeys(("address_sealed", "secret_sealed", "old_secret_sealed")) if state == OFF else {}
    values = {"state": state, "attempts": 0, "next_at": None, "trouble": trouble, **gone}
    values |= {} if trouble else {"trouble_since": None}
    live = (*_one(unit, listener_id), _L.c.state != OFF)
    shown.changed(unit.connection)
    return bool(unit.connection.execute(update(_L).where(*live).values(**values)).rowcount)


def free_name(unit: Unit, listener_id: str) -> None:
    """Gives the name of a dropped one free, and what it refused away."""
    unit.connection.execute(update(_L).where(*_one(unit, listener_id)).values(name=listener_id))
    unit.connection.execute(delete(_R).where(_R.c.shop_id == unit.shop_id, _R.c.listener_id == listener_id))


def due(unit: Unit, *, now: datetime) -> tuple[str, ...]:
    """Those that have something to hear now and that no worker has in hand."""
    news = select(_E.c.seq).where(_E.c.shop_id == _L.c.shop_id, _E.c.seq > _L.c.heard).exists()
    again = select(_R.c.seq).where(_R.c.shop_id == _L.c.shop_id, _R.c.listener_id == _L.c.id, _R.c.status == AGAIN)
    query = select(_L.c.id).where(
        _L.c.shop_id == unit.shop_id, _L.c.state == ON, or_(_L.c.next_at.is_(None), _L.c.next_at <= now),
        or_(_L.c.lease_until.is_(None), _L.c.lease_until < now), or_(news, again.exists()),
    )  # fmt: skip
    return tuple(unit.connection.execute(query.order_by(_L.c.name)).scalars())


def claim(unit: Unit, listener_id: str, *, by: str, now: datetime, until: datetime) -> bool:
    """Takes a listener in hand; False when another worker has it, or it wants nothing now."""
    free = or_(_L.c.lease_until.is_(None), _L.c.lease_until < now)
    ready = or_(_L.c.next_at.is_(None), _L.c.next_at <= now)
    query = update(_L).where(*_one(unit, listener_id), _L.c.state == ON, free, ready)
    return bool(unit.connection.execute(query.values(lease_by=by, lease_until=until)).rowcount)


def hold(unit: Unit, listener_id: str, *, by: str, until: datetime | None, **columns: Any) -> bool:
    """Writes what came of a call while the lease is ours (until None gives it back); whether to go on.

    False when another worker has it by now, or somebody paused or dropped it: what was heard is noted all the same.
    """
    mine = (*_one(unit, listener_id), _L.c.lease_by == by)
    lease = {"lease_by": by if until else None, "lease_until": until}
    changed = update(_L).where(*mine).values(**lease, **columns)
    if "state" in columns:  # how far it has heard is on no sheet
        shown.changed(unit.connection)
    if not unit.connection.execute(changed).rowcount:
        return False
    return unit.connection.execute(select(_L.c.state).where(*_one(unit, listener_id))).scalar() == ON


def release(unit: Unit) -> None:
    """Gives every lease back: whoever calls knows that nobody else is at work."""
    changed = update(_L).where(_L.c.shop_id == unit.shop_id).values(lease_by=None, lease_until=None)
    unit.connection.execute(changed)


def newest(unit: Unit) -> int:
    """The number of the newest event of the shop; 0 for none."""
    query = select(func.max(_E.c.seq)).where(_E.c.shop_id == unit.shop_id)
    return int(unit.connection.execute(query).scalar() or 0)


def events_after(unit: Unit, after_seq: int, *, limit: int) -> tuple[Numbered, ...]:
    """The next events of the story, in its order."""
    return _numbered(unit, _E.c.seq > after_seq, limit)


def wanted_again(unit: Unit, listener_id: str, *, limit: int) -> tuple[Numbered, ...]:
    """Refused events that are to be offered once more, in the order of the story."""
    mine = (_R.c.shop_id == unit.shop_id, _R.c.listener_id == listener_id, _R.c.status == AGAIN)
    return _numbered(unit, _E.c.id.in_(select(_R.c.event_id).where(*mine)), limit)


def refused(unit: Unit, listener_id: str) -> tuple[tuple[Event, int], ...]:
    """(event, status) of what it refused, in the order of the story; status AGAIN for what is offered once more."""
    query = (
        select(_E, _R.c.status)
        .join(_R, (_R.c.shop_id == _E.c.shop_id) & (_R.c.event_id == _E.c.id))
        .where(_E.c.shop_id == unit.shop_id, _R.c.listener_id == listener_id)
        .order_by(_E.c.seq)
    )
    return tuple((as_event(row), row.status) for row in unit.connection.execute(query))


def count_refused(unit: Unit) -> dict[str, int]:
    """listener -> how many events it refused and nobody offered again."""
    query = select(_R.c.listener_id, func.count()).where(_R.c.shop_id == unit.shop_id, _R.c.status != AGAIN)
    return {row[0]: int(row[1]) for row in unit.connection.execute(query.group_by(_R.c.listener_id))}


def needs_somebody(unit: Unit) -> bool:
    """Whether any listener was given up on, or refused something: one look, for sheets that ask again and again."""
    refused = select(_R.c.seq).where(_R.c.shop_id == _L.c.shop_id, _R.c.listener_id == _L.c.id, _R.c.status != AGAIN)
    given_up = and_(_L.c.state == PAUSED, _L.c.trouble != "")
    query = select(_L.c.id).where(_L.c.shop_id == unit.shop_id, _L.c.state != OFF, or_(given_up, refused.exists()))
    return unit.connection.execute(query.limit(1)).first() is not None


def add_refused(unit: Unit, listener_id: str, one: Numbered, *, status: int, at: datetime) -> None:
    """Keeps an event that was refused for good."""
    drop_refused(unit, listener_id, [one.event.id])
    shown.changed(unit.connection)
    unit.connection.execute(insert(_R).values(
        shop_id=unit.shop_id, listener_id=listener_id, event_id=one.event.id, seq=one.seq, status=status, at=at,
    ))  # fmt: skip


def offer_again(unit: Unit, listener_id: str) -> int:
    """Marks what it refused to be offered once more; how many."""
    mine = (_R.c.shop_id == unit.shop_id, _R.c.listener_id == listener_id)
    shown.changed(unit.connection)
    return unit.connection.execute(update(_R).where(*mine).values(status=AGAIN)).rowcount


def drop_refused(unit: Unit, listener_id: str, event_ids: Iterable[str]) -> None:
    """Forgets that these were refused: they were taken after all."""
    mine = (_R.c.shop_id == unit.shop_id, _R.c.listener_id == listener_id)
    unit.connection.execute(delete(_R).where(*mine, _R.c.event_id.in_(list(event_ids))))


def _numbered(unit: Unit, which: Any, limit: int) -> tuple[Numbered, ...]:
    same = (_T.c.shop_id == _E.c.shop_id) & (_T.c.id == _E.c.ticket_id)
    query = select(_E, _T.c.number).outerjoin(_T, same).where(_E.c.shop_id == unit.shop_id, which)
    rows = unit.connection.execute(query.order_by(_E.c.seq).limit(limit))
    return tuple(Numbered(row.seq, as_event(row), row.number or "") for row in rows)


def _one(unit: Unit, listener_id: str) -> tuple[Any, ...]:
    return (_L.c.shop_id == unit.shop_id, _L.c.id == listener_id)


def _sealed(unit: Unit, listener_id: str, **texts: str) -> dict[str, Any]:
    return {
        f"{name}_sealed": unit.seal(listener_id, "listeners", listener_id, name, text) if text else None
        for name, text in texts.items()
    }


def _listener(row: Any) -> Listener:
    return Listener(
        row.id, row.name, tuple(row.kinds), row.state, row.heard, row.attempts, row.next_at, row.trouble,
        row.trouble_since, row.made_at, row.old_until,
    )  # fmt: skip
