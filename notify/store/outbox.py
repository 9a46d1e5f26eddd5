"""The outbox, written: planned and skipped messages in; claims by lease, settling, and withdrawal."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import bindparam, func, or_, select, update

from notify.core.messages import Delivery, MessageState, may_move
from notify.core.notices import AT_ONCE
from notify.core.planner import Plan, Planned
from notify.core.second_look import STANDS_ASIDE
from notify.store import schema as s
from notify.store import wake
from notify.store.database import Unit
from notify.store.messages import IDENTITY, Composed, Ending, Message, as_message
from notify.store.prepared import Prepared
from notify.store.statements import among, given, is_in, where
from notify.store.unless_there import unless_there

WAITING = MessageState.WAITING
CANNOT_COMPOSE = "cannot_compose"  # a reason code that the code itself reads
HOLDS_BACK = timedelta(hours=2)
_T = s.messages
# The next number is found in the same statement that uses it; writers of one shop follow each other.
_NEXT = select(func.coalesce(func.max(_T.c.seq), 0) + 1).where(*where(_T)).scalar_subquery()
_ONCE = unless_there(_T, "shop_id", *IDENTITY, "channel", seq=_NEXT)
_ADD = {kind: Prepared(once) for kind, once in _ONCE.items()}
_CHANGE = update(_T).where(*where(_T, "id"))
_STATES = select(_T.c.id, _T.c.state).where(*where(_T), among(_T, "id")).with_for_update()
_EARLIER = _T.alias("earlier")
_HELD_BACK = (
    select(_EARLIER.c.id)
    .where(
        *(_EARLIER.c[name] == _T.c[name] for name in ("shop_id", "visit_id", "person_id", "channel")),
        _EARLIER.c.seq < _T.c.seq,
        _T.c.notice.not_in(AT_ONCE),  # what answers somebody's own message waits for nothing they were told
        _EARLIER.c.state == WAITING,
        _EARLIER.c.reason != CANNOT_COMPOSE,
        or_(_EARLIER.c.reason.not_in(STANDS_ASIDE), _EARLIER.c.due_at <= bindparam("now")),
        func.coalesce(_EARLIER.c.free_at, _EARLIER.c.created_at) > bindparam("not_since"),
    )
    .exists()
)
_DUE = (
    select(_T)
    .where(
        *where(_T),
        is_in(_T.c.state, WAITING),
        _T.c.due_at <= bindparam("now"),
        or_(_T.c.lease_until.is_(None), _T.c.lease_until < bindparam("now")),
        ~_HELD_BACK,
    )
    .order_by(_T.c.due_at, _T.c.seq)
    .limit(bindparam("so_many"))
    .with_for_update(skip_locked=True)
)
# The ending of most messages, for a whole group at once.
_SENT = (
    update(_T)
    .where(*where(_T), among(_T, "id"))
    .values(
        state=MessageState.SENT, reason="", ended_at=bindparam("now"), lease_by=None, lease_until=None,
        attempts=_T.c.attempts + 1, delivery=Delivery.HANDED_OVER, delivery_at=bindparam("now"),
    )
)  # fmt: skip
_LEASE = update(_T).where(*where(_T), among(_T, "id"))


def add(
    unit: Unit,
    plan: Plan,
    *,
    visit_id: str,
    sealed_for: str,
    refs: Mapping[str, Any],
    now: datetime,
    resend: int = 0,
) -> tuple[str, ...]:
    """Writes a plan; a message with the same identity is never written twice. The identifiers written."""
    written = []
    for item in plan:
        new = unit.new_id()
        values = _row(item, now=now) | {
            "shop_id": unit.shop_id,
            "id": new,
            "visit_id": visit_id,
            "resend": resend,
            "sealed_for": sealed_for,
            "refs": dict(refs),
            "created_at": now,
            "attempts": 0,
            "ambiguous": 0,
        }
        if _ADD[unit.connection.dialect.name].write(unit.connection, {**given(unit), **values}):
            written.append(new)
    if written:
        wake.call(unit)
    return tuple(written)


def _row(item: Any, *, now: datetime) -> dict[str, Any]:
    shared = {"notice": item.notice, "person_id": item.person_id, "about": item.about, "cause": item.cause}
    if isinstance(item, Planned):
        return shared | {
            "channel": item.channel,
            "contact_id": item.contact_id or None,
            "state": WAITING,
            "reason": "",
            "due_at": item.due_at,
            "free_at": item.due_at,
            "expires_at": item.expires_at,
        }
    return shared | {
        "channel": "",
        "contact_id": None,
        "state": MessageState.SKIPPED,
        "reason": item.reason,
        "due_at": now,
        "free_at": None,
        "expires_at": now,
        "ended_at": now,
    }


def claim(unit: Unit, *, now: datetime, until: datetime, by: str, limit: int = 10) -> tuple[Message, ...]:
    """Takes up to `limit` due messages for `by` until the lease ends, oldest first; nobody else gets them.

    A message is not due while an earlier one to the same person about the same visit still waits for the same
    channel: what was told first arrives first. One that has failed for two hours holds nobody back any more, nor
    does one that waits for a decent hour or for a newer message.
    """
    times = {"now": now, "not_since": now - HOLDS_BACK, "so_many": limit}
    rows = unit.connection.execute(_DUE, {**given(unit), **times}).all()
    if rows:
        ids = [row.id for row in rows]
        unit.connection.execute(_LEASE, {**given(unit), "any_id": ids, "lease_by": by, "lease_until": until})
    return tuple(as_message(row) for row in rows)


def release(unit: Unit) -> int:
    """Ends every lease of the shop; how many. Only for a process that knows it is the only one."""
    t = s.messages
    return unit.connection.execute(
        update(t)
        .where(t.c.shop_id == unit.shop_id, is_in(t.c.state, WAITING), t.c.lease_until.is_not(None))
        .values(lease_by=None, lease_until=None)
    ).rowcount


def seal_bytes(unit: Unit, message: Message, composed: Composed, *, at: datetime) -> dict[str, Any]:
    """The exact bytes that will leave, sealed, and the identity under which they will: a row for `keep_bytes`."""
    return {
        "the_id": message.id,
        "bytes_sealed": unit.seal(message.sealed_for, "messages", message.id, "bytes", composed.payload),
        "sentence_sealed": unit.seal(message.sealed_for, "messages", message.id, "sentence", composed.sentence),
        "message_id": composed.message_id,
        "channel": composed.channel,
        "contact_id": composed.contact_id or None,
        "parts": composed.parts,
        "composed_at": at,
    }


def keep_bytes(unit: Unit, rows: Sequence[dict[str, Any]], *, but_not: Collection[str] = ()) -> None:
    """Stores what `seal_bytes` made, before the first try; not for the messages `but_not`."""
    wanted = [{**given(unit), **row} for row in rows if row["the_id"] not in but_not]
    if wanted:
        unit.connection.execute(_CHANGE, wanted)


def settle(unit: Unit, endings: Sequence[Ending], *, now: datetime) -> frozenset[str]:
    """Ends claims. The identifiers of those that stood: an ending of a message that moved on meanwhile is void.

    The rule is core/messages.MOVES: from the state that the ending was thought of in, which must still be so.
    """
    ids = [ending.message.id for ending in endings]
    states = {row.id: row.state for row in unit.connection.execute(_STATES, {**given(unit), "any_id": ids})}
    standing = frozenset(e.message.id for e in endings if _may_end(e, states.get(e.message.id, "")))
    stand = [ending for ending in endings if ending.message.id in standing]
    if sent := [ending.message.id for ending in stand if _just_sent(ending)]:
        unit.connection.execute(_SENT, {**given(unit), "any_id": sent, "now": now})
    if rows := [{**given(unit, id=e.message.id), **_ended(e, now)} for e in stand if not _just_sent(e)]:
        unit.connection.execute(_CHANGE, rows)
    return standing


def _just_sent(ending: Ending) -> bool:
    """Whether it is what nearly all are: sent, and nothing more to be kept of it."""
    plain = ending.tried and not (ending.ambiguous or ending.provider_id or ending.reason or ending.due_at)
    return plain and ending.state == MessageState.SENT


def _may_end(ending: Ending, state: str) -> bool:
    return state == ending.message.state and may_move(MessageState(state), ending.state)


def _ended(ending: Ending, now: datetime) -> dict[str, Any]:
    message, state = ending.message, ending.state
    put_off = state == WAITING and not ending.tried and ending.due_at is not None
    return {
        "state": state,
        "reason": ending.reason,
        "waited": ending.reason if put_off else message.waited,
        "free_at": ending.due_at if put_off else message.free_at,
        "ended_at": None if state in (WAITING, MessageState.TO_CALL) else now,
        "due_at": ending.due_at or message.due_at,
        "lease_by": None,
        "lease_until": None,
        "attempts": message.attempts + int(ending.tried),
        "ambiguous": message.ambiguous + int(ending.ambiguous),
        "provider_id": ending.provider_id or message.provider_id or None,
        "delivery": Delivery.HANDED_OVER if state == MessageState.SENT else message.delivery,
        "delivery_at": now if state == MessageState.SENT else message.delivery_at,
    }


def note_delivery(unit: Unit, message_id: str, delivery: str, *, at: datetime) -> None:
    """Keeps how far a message got after it left (core/messages.Delivery); the caller looked that it goes further."""
    unit.connection.execute(_CHANGE, [{**given(unit, id=message_id), "delivery": delivery, "delivery_at": at}])


def withdraw(unit: Unit, *, causes: Iterable[str], now: datetime, reason: str) -> int:
    """Drops messages of these causes that nobody was told and that are not just being sent; how many.

    What they would have told beside their own news is told after all: that message waited for this one.
    """
    t = s.messages
    wanted = (
        t.c.shop_id == unit.shop_id,
        t.c.cause.in_(list(causes)),
        or_((t.c.state == WAITING) & (t.c.attempts == 0), t.c.state == MessageState.TO_CALL),
        or_(t.c.lease_until.is_(None), t.c.lease_until < now),
    )
    return unit.connection.execute(
        update(t)
        .where(*wanted)
        .values(state=MessageState.DROPPED, reason=reason, ended_at=now, lease_by=None, lease_until=None)
    ).rowcount
