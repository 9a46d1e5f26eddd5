"""Messages as they stand in the outbox, read: one, those of a visit, their bytes. A bit long: one table, one room."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter
from typing import Any

from sqlalchemy import func, select

from notify.core.messages import MessageState
from notify.core.overtakes import Said
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.opener import Place
from notify.store.statements import among, given, is_in, where

# What says that two messages tell the same to the same person, by whatever way.
IDENTITY = ("about", "cause", "notice", "person_id", "resend")
_SAME_NEWS = IDENTITY[:-1]  # also sent once more
_IN_HAND = frozenset({MessageState.WAITING, MessageState.SENT, MessageState.TO_CALL, MessageState.CALLED})
_T = s.messages
_BYTES = select(_T.c.bytes_sealed).where(*where(_T, "id"))
_SENTENCE = select(_T.c.sentence_sealed).where(*where(_T, "id"))
BYTES_OF = select(_T.c.id, _T.c.bytes_sealed).where(*where(_T), among(_T, "id"))
_MESSAGE = select(_T).where(*where(_T, "id"))
_BY_PROVIDER = select(_T).where(*where(_T, "channel", "provider_id"))
# What the second look asks of the other messages of a visit; never their bytes.
_LOOKED_AT = ("id", "visit_id", "seq", "state", "channel", "due_at", "composed_at", *IDENTITY)
ALIKE = select(*(_T.c[name] for name in _LOOKED_AT)).where(*where(_T), among(_T, "visit_id"))


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
    parts: int = 0
    provider_id: str = ""
    delivery: str = ""
    delivery_at: datetime | None = None
    waited: str = ""
    free_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Composed:
    """A message ready to leave: `sentence` is its plain text, kept to show it as its reader sees it.

    `parts` is how many text messages it is paid for as; 0 for other channels. `stamped` is the booking whose calendar
    object was made for it, with its DTSTAMP; None for one without, and once its bytes are kept.
    """

    payload: bytes
    message_id: str
    sentence: str
    channel: str
    contact_id: str
    parts: int = 0
    stamped: tuple[str, datetime] | None = None


@dataclass(frozen=True, slots=True)
class Ending:
    """What a claim comes to: `state`, or back to waiting until `due_at` (None: as before).

    `provider_id` is a gateway's own name for the message, by which its later receipts find it.
    """

    message: Message
    state: MessageState
    reason: str = ""
    due_at: datetime | None = None
    tried: bool = False
    ambiguous: bool = False
    provider_id: str = ""


def get_message(unit: Unit, message_id: str) -> Message | None:
    """One message, or None; an empty identifier is none."""
    if not message_id:
        return None
    row = unit.connection.execute(_MESSAGE, given(unit, id=message_id)).first()
    return as_message(row) if row else None


def find_by_provider(unit: Unit, channel: str, provider_id: str) -> Message | None:
    """The message that a gateway knows by this name; None when there is none, or when it calls several the same."""
    rows = unit.connection.execute(_BY_PROVIDER, given(unit, channel=channel, provider_id=provider_id)).fetchmany(2)
    return as_message(rows[0]) if len(rows) == 1 else None


def find_by_message_id(unit: Unit, message_id: str) -> Message | None:
    """The message that left under this Message-ID (with its angle brackets), or None: it begins with the row's own."""
    if not (message_id.isascii() and message_id.isprintable()):  # a database takes no NUL, and we send none
        return None
    found = get_message(unit, message_id.removeprefix("<").partition(".")[0][:36])
    return found if found is not None and found.message_id == message_id else None


def messages_of_visit(unit: Unit, visit_id: str) -> tuple[Message, ...]:
    """Every message of a visit, the skipped and dropped ones too, in order."""
    t = s.messages
    rows = unit.connection.execute(
        select(t).where(t.c.shop_id == unit.shop_id, t.c.visit_id == visit_id).order_by(t.c.seq)
    )
    return tuple(as_message(row) for row in rows)


def newest_of_visits(unit: Unit, notice: str, visit_ids: Iterable[str]) -> Mapping[str, Message]:
    """visit -> the newest message of that notice, whatever became of it."""
    t = s.messages
    rows = unit.connection.execute(
        select(t)
        .where(t.c.shop_id == unit.shop_id, t.c.notice == notice, t.c.visit_id.in_(set(visit_ids)))
        .order_by(t.c.seq)
    )
    return {row.visit_id: as_message(row) for row in rows}


def list_messages(unit: Unit, *, states: Iterable[str] = (), limit: int = 100, skip: int = 0) -> tuple[Message, ...]:
    """The newest messages, in any of `states` (all when empty), after the first `skip` of them."""
    t = s.messages
    query = select(t).where(t.c.shop_id == unit.shop_id)
    wanted = list(states)
    if wanted:
        query = query.where(t.c.state.in_(wanted))
    return tuple(
        as_message(row) for row in unit.connection.execute(query.order_by(t.c.seq.desc()).limit(limit).offset(skip))
    )


def calls_to_make(unit: Unit) -> tuple[Message, ...]:
    """Every call that waits for somebody to make it, the oldest first."""
    t = s.messages
    query = select(t).where(t.c.shop_id == unit.shop_id, is_in(t.c.state, MessageState.TO_CALL)).order_by(t.c.seq)
    return tuple(as_message(row) for row in unit.connection.execute(query))


def count_in(unit: Unit, state: str) -> int:
    """How many messages of the shop are in this state."""
    t = s.messages
    where = (t.c.shop_id == unit.shop_id, t.c.state == state)
    return int(unit.connection.execute(select(func.count()).select_from(t).where(*where)).scalar_one())


def next_due(unit: Unit) -> datetime | None:
    """When the next waiting message is due."""
    t = s.messages
    return unit.connection.execute(
        select(func.min(t.c.due_at)).where(t.c.shop_id == unit.shop_id, is_in(t.c.state, MessageState.WAITING))
    ).scalar()


def anybody_told(unit: Unit, visit_id: str, causes: Iterable[str]) -> bool:
    """Whether a message of these causes left, may have left, or is just leaving."""
    wanted = set(causes)
    whole = [m for m in messages_of_visit(unit, visit_id) if m.cause in wanted]
    return any(m.attempts or m.leased or m.state in (MessageState.SENT, MessageState.CALLED) for m in whole)


def told_since(unit: Unit, visit_id: str, channel: str, notices: Sequence[str], since: datetime) -> int:
    """How many messages of these kinds were planned in a visit on a channel from that instant on."""
    t = s.messages
    query = select(func.count()).select_from(t).where(
        t.c.shop_id == unit.shop_id, t.c.visit_id == visit_id, t.c.channel == channel,
        t.c.notice.in_(list(notices)), t.c.created_at >= since,
    )  # fmt: skip
    return int(unit.connection.execute(query).scalar_one())


def tried_ways(unit: Unit, message: Message) -> frozenset[str]:
    """The channels of the other messages that say the same to the same person."""
    alike = _others(unit, message, IDENTITY)
    return frozenset(row.channel for row in alike)


def said_another_way(unit: Unit, message: Message) -> bool:
    """Whether another message told the same to the same person since, waits to, or is to be phoned."""
    return any(row.state in _IN_HAND for row in _others(unit, message, _SAME_NEWS))


def others_to(unit: Unit, message: Message) -> tuple[Said, ...]:
    """The other messages of the visit to the same person, whatever became of them."""
    return tuple(
        Said(row.seq, row.notice, row.about, row.channel, row.state, row.due_at, row.composed_at)
        for row in _others(unit, message, ("person_id",))
    )


def _others(unit: Unit, message: Message, names: Sequence[str]) -> list[Any]:
    """The other messages of the same visit (what they are about belongs to it) that are alike in these columns."""
    rows = unit.once(
        ("alike", message.visit_id),
        lambda: unit.connection.execute(ALIKE, {**given(unit), "any_visit_id": [message.visit_id]}).all(),
    )
    same = attrgetter(*names)
    return [row for row in rows if row.id != message.id and same(row) == same(message)]


def get_bytes(unit: Unit, message: Message) -> bytes:
    """The stored bytes of a composed message; empty when there are none (or the person was forgotten)."""
    sealed = unit.once(
        ("bytes", message.id), lambda: unit.connection.execute(_BYTES, given(unit, id=message.id)).scalar()
    )
    if not sealed:
        return b""
    return unit.opener.open_bytes(message.sealed_for, Place("messages", message.id, "bytes"), sealed)


def get_sentence(unit: Unit, message: Message) -> str:
    """The plain sentence of a composed message: the body text, or what staff say on the phone."""
    sealed = unit.connection.execute(_SENTENCE, given(unit, id=message.id)).scalar()
    return unit.open(message.sealed_for, "messages", message.id, "sentence", sealed)


def as_message(row: Any) -> Message:
    """One row of the table, whole, as a message."""
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
        parts=row.parts,
        provider_id=row.provider_id or "",
        delivery=row.delivery,
        delivery_at=row.delivery_at,
        waited=row.waited,
        free_at=row.free_at,
    )
