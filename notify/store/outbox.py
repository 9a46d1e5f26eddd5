"""The outbox: planned and skipped messages in; claims by lease, settling, and withdrawal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import bindparam, func, insert, or_, select, update

from notify.core.messages import MessageState
from notify.core.planner import Plan, Planned
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import among, given, is_in, where
from notify.store.vault import Place

WAITING = MessageState.WAITING
CANNOT_COMPOSE, JOINED = "cannot_compose", "joined_to_newer"  # reason codes that the code itself reads
HOLDS_BACK = timedelta(hours=2)
_T = s.messages
_IDENTITY = ("about", "cause", "notice", "person_id", "resend")
_SAME = select(_T.c.id).where(*where(_T, *_IDENTITY, "channel"))
# The next number is found in the same statement that uses it; writers of one shop follow each other.
_NEXT = select(func.coalesce(func.max(_T.c.seq), 0) + 1).where(*where(_T)).scalar_subquery()
_ADD = insert(_T).values(seq=_NEXT)
_CHANGE = update(_T).where(*where(_T, "id"))
_SETTLE = _CHANGE.where(_T.c.state.in_([WAITING, MessageState.TO_CALL]))
_RECEIPT = insert(s.receipts)
_BYTES = select(_T.c.bytes_sealed).where(*where(_T, "id"))
_SENTENCE = select(_T.c.sentence_sealed).where(*where(_T, "id"))
_MESSAGE = select(_T).where(*where(_T, "id"))
_OTHER_WAYS = select(_T.c.channel).where(*where(_T, *_IDENTITY), _T.c.id != bindparam("this"))
_EARLIER = _T.alias("earlier")
_HELD_BACK = (
    select(_EARLIER.c.id)
    .where(
        *(_EARLIER.c[name] == _T.c[name] for name in ("shop_id", "visit_id", "person_id", "channel")),
        _EARLIER.c.seq < _T.c.seq,
        _EARLIER.c.state == WAITING,
        _EARLIER.c.reason != CANNOT_COMPOSE,
        _EARLIER.c.created_at > bindparam("not_since"),
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
_LEASE = update(_T).where(*where(_T), among(_T, "id"))
_NEWER = (
    select(_T.c.id)
    .where(
        *where(_T, "about", "notice", "person_id"),
        _T.c.seq > bindparam("than"),
        _T.c.state.in_([WAITING, MessageState.TO_CALL]),
    )
    .limit(1)
)


@dataclass(frozen=True, slots=True)
class Message:
    """One outbox row. `refs` holds identifiers of what it speaks of; `bytes` is set once composed."""

    id: str
    seq: int
    visit_id: str
    about: str
    cause: str
    notice: str
    person_id: str
    sealed_for: str
    channel: str
    resend: int
    contact_id: str
    refs: Mapping[str, Any]
    state: str
    reason: str
    created_at: datetime
    due_at: datetime
    expires_at: datetime
    attempts: int
    ambiguous: int
    message_id: str
    has_bytes: bool
    leased: bool
    composed_at: datetime | None
    ended_at: datetime | None


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
        same = given(unit, **{name: values[name] for name in (*_IDENTITY, "channel")})
        if unit.connection.execute(_SAME, same).first() is None:
            unit.connection.execute(_ADD, {**given(unit), **values})
            written.append(new)
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
            "expires_at": item.expires_at,
        }
    return shared | {
        "channel": "",
        "contact_id": None,
        "state": MessageState.SKIPPED,
        "reason": item.reason,
        "due_at": now,
        "expires_at": now,
        "ended_at": now,
    }


def claim(unit: Unit, *, now: datetime, until: datetime, by: str, limit: int = 10) -> tuple[Message, ...]:
    """Takes up to `limit` due messages for `by` until the lease ends, oldest first; nobody else gets them.

    A message is not due while an earlier one to the same person about the same visit still waits for the same
    channel: what was told first arrives first. One that failed for two hours holds nobody back any more.
    """
    times = {"now": now, "not_since": now - HOLDS_BACK, "so_many": limit}
    rows = unit.connection.execute(_DUE, {**given(unit), **times}).all()
    if rows:
        ids = [row.id for row in rows]
        unit.connection.execute(_LEASE, {**given(unit), "any_id": ids, "lease_by": by, "lease_until": until})
    return tuple(_message(row) for row in rows)


def release(unit: Unit) -> int:
    """Ends every lease of the shop; how many. Only for a process that knows it is the only one."""
    t = s.messages
    return unit.connection.execute(
        update(t)
        .where(t.c.shop_id == unit.shop_id, is_in(t.c.state, WAITING), t.c.lease_until.is_not(None))
        .values(lease_by=None, lease_until=None)
    ).rowcount


def next_due(unit: Unit) -> datetime | None:
    """When the next waiting message is due."""
    t = s.messages
    return unit.connection.execute(
        select(func.min(t.c.due_at)).where(t.c.shop_id == unit.shop_id, is_in(t.c.state, WAITING))
    ).scalar()


def keep_bytes(
    unit: Unit,
    message: Message,
    data: bytes,
    *,
    message_id: str,
    sentence: str,
    channel: str,
    contact_id: str,
    at: datetime,
) -> None:
    """Stores the exact bytes (sealed) and the identity under which they will be sent, before the first try."""
    values = {
        "bytes_sealed": unit.seal(message.sealed_for, "messages", message.id, "bytes", data),
        "sentence_sealed": unit.seal(message.sealed_for, "messages", message.id, "sentence", sentence),
        "message_id": message_id,
        "channel": channel,
        "contact_id": contact_id or None,
        "composed_at": at,
    }
    unit.connection.execute(_CHANGE, {**given(unit, id=message.id), **values})


def get_bytes(unit: Unit, message: Message) -> bytes:
    """The stored bytes of a composed message; empty when there are none (or the person was forgotten)."""
    sealed = unit.connection.execute(_BYTES, given(unit, id=message.id)).scalar()
    if not sealed:
        return b""
    return unit.opener.open_bytes(message.sealed_for, Place("messages", message.id, "bytes"), sealed)


def get_sentence(unit: Unit, message: Message) -> str:
    """The plain sentence of a composed message: the body text, or what staff say on the phone."""
    sealed = unit.connection.execute(_SENTENCE, given(unit, id=message.id)).scalar()
    return unit.open(message.sealed_for, "messages", message.id, "sentence", sealed)


def settle(
    unit: Unit,
    message: Message,
    state: MessageState,
    *,
    now: datetime,
    reason: str = "",
    due_at: datetime | None = None,
    tried: bool = False,
    ambiguous: bool = False,
) -> bool:
    """Ends a claim: into `state`, or back to waiting with a new due time. False when it was withdrawn meanwhile."""
    values = {
        "state": state,
        "reason": reason,
        "ended_at": None if state in (WAITING, MessageState.TO_CALL) else now,
        "due_at": due_at or message.due_at,
        "lease_by": None,
        "lease_until": None,
        "attempts": message.attempts + int(tried),
        "ambiguous": message.ambiguous + int(ambiguous),
    }
    return unit.connection.execute(_SETTLE, {**given(unit, id=message.id), **values}).rowcount == 1


def add_receipt(unit: Unit, message: Message, *, verdict: str, code: str, text: str, at: datetime) -> None:
    """Keeps what the channel said about one try."""
    values = {
        "shop_id": unit.shop_id,
        "id": unit.new_id(),
        "message_id": message.id,
        "at": at,
        "attempt": message.attempts + 1,
        "verdict": verdict,
        "code": code[:40],
        "text": text[:200],
    }
    unit.connection.execute(_RECEIPT, values)


def receipts_of(unit: Unit, message_id: str) -> tuple[Any, ...]:
    """What the channel said about each try, in order (at, attempt, verdict, code, text)."""
    t = s.receipts
    return tuple(
        unit.connection.execute(
            select(t).where(t.c.shop_id == unit.shop_id, t.c.message_id == message_id).order_by(t.c.attempt)
        )
    )


def withdraw(unit: Unit, *, causes: Iterable[str], now: datetime, reason: str) -> int:
    """Drops messages of these causes that nobody was told and that are not just being sent; how many.

    One that a still wanted message was joined to stays: the second look makes it say what is left to say.
    """
    t = s.messages
    wanted = (
        t.c.shop_id == unit.shop_id,
        t.c.cause.in_(list(causes)),
        or_((t.c.state == WAITING) & (t.c.attempts == 0), t.c.state == MessageState.TO_CALL),
        or_(t.c.lease_until.is_(None), t.c.lease_until < now),
    )
    found = unit.connection.execute(select(t).where(*wanted)).all()
    ids = [row.id for row in found if not _stands_for_another(unit, row)]
    return unit.connection.execute(
        update(t)
        .where(*wanted, t.c.id.in_(ids))
        .values(state=MessageState.DROPPED, reason=reason, ended_at=now, lease_by=None, lease_until=None)
    ).rowcount


def _stands_for_another(unit: Unit, row: Any) -> bool:
    """Whether an earlier message was dropped because this one was to say the same, and nothing was said since."""
    t = s.messages
    same = [t.c[name] == getattr(row, name) for name in ("shop_id", "about", "notice", "person_id")]
    before = unit.connection.execute(
        select(t.c.state, t.c.reason).where(*same, t.c.seq < row.seq).order_by(t.c.seq.desc())
    )
    for state, reason in before:
        if state in (MessageState.SENT, MessageState.CALLED):
            return False
        if reason == JOINED:
            return True
    return False


def anybody_told(unit: Unit, visit_id: str, causes: Iterable[str]) -> bool:
    """Whether a message of these causes left, may have left, or is just leaving."""
    wanted = set(causes)
    whole = [m for m in messages_of_visit(unit, visit_id) if m.cause in wanted]
    return any(m.attempts or m.leased or m.state in (MessageState.SENT, MessageState.CALLED) for m in whole)


def tried_ways(unit: Unit, message: Message) -> frozenset[str]:
    """The channels of the other messages that say the same to the same person."""
    same = given(unit, **{name: getattr(message, name) for name in _IDENTITY})
    return frozenset(unit.connection.execute(_OTHER_WAYS, {**same, "this": message.id}).scalars())


def newer_waiting(unit: Unit, message: Message) -> bool:
    """Whether a later message of the same notice to the same person about the same thing still waits."""
    same = given(unit, about=message.about, notice=message.notice, person_id=message.person_id)
    return unit.connection.execute(_NEWER, {**same, "than": message.seq}).first() is not None


def calls_to_make(unit: Unit) -> tuple[Message, ...]:
    """Every call that waits for somebody to make it, the oldest first."""
    t = s.messages
    query = select(t).where(t.c.shop_id == unit.shop_id, is_in(t.c.state, MessageState.TO_CALL)).order_by(t.c.seq)
    return tuple(_message(row) for row in unit.connection.execute(query))


def get_message(unit: Unit, message_id: str) -> Message | None:
    """One message, or None; an empty identifier is none."""
    if not message_id:
        return None
    row = unit.connection.execute(_MESSAGE, given(unit, id=message_id)).first()
    return _message(row) if row else None


def messages_of_visit(unit: Unit, visit_id: str) -> tuple[Message, ...]:
    """Every message of a visit, the skipped and dropped ones too, in order."""
    t = s.messages
    rows = unit.connection.execute(
        select(t).where(t.c.shop_id == unit.shop_id, t.c.visit_id == visit_id).order_by(t.c.seq)
    )
    return tuple(_message(row) for row in rows)


def newest_of_visits(unit: Unit, notice: str, visit_ids: Iterable[str]) -> Mapping[str, Message]:
    """visit -> the newest message of that notice, whatever became of it."""
    t = s.messages
    rows = unit.connection.execute(
        select(t)
        .where(t.c.shop_id == unit.shop_id, t.c.notice == notice, t.c.visit_id.in_(set(visit_ids)))
        .order_by(t.c.seq)
    )
    return {row.visit_id: _message(row) for row in rows}


def list_messages(unit: Unit, *, states: Iterable[str] = (), limit: int = 100, skip: int = 0) -> tuple[Message, ...]:
    """The newest messages, in any of `states` (all when empty), after the first `skip` of them."""
    t = s.messages
    query = select(t).where(t.c.shop_id == unit.shop_id)
    wanted = list(states)
    if wanted:
        query = query.where(t.c.state.in_(wanted))
    return tuple(
        _message(row) for row in unit.connection.execute(query.order_by(t.c.seq.desc()).limit(limit).offset(skip))
    )


def count_in(unit: Unit, state: str) -> int:
    """How many messages of the shop are in this state."""
    t = s.messages
    where = (t.c.shop_id == unit.shop_id, t.c.state == state)
    return int(unit.connection.execute(select(func.count()).select_from(t).where(*where)).scalar_one())


def _message(row: Any) -> Message:
    return Message(
        id=row.id,
        seq=row.seq,
        visit_id=row.visit_id,
        about=row.about,
        cause=row.cause,
        notice=row.notice,
        person_id=row.person_id,
        sealed_for=row.sealed_for,
        channel=row.channel,
        resend=row.resend,
        contact_id=row.contact_id or "",
        refs=row.refs,
        state=row.state,
        reason=row.reason,
        created_at=row.created_at,
        due_at=row.due_at,
        expires_at=row.expires_at,
        attempts=row.attempts,
        ambiguous=row.ambiguous,
        message_id=row.message_id or "",
        has_bytes=row.bytes_sealed is not None,
        leased=row.lease_until is not None,
        composed_at=row.composed_at,
        ended_at=row.ended_at,
    )
