"""What people wrote back, sealed: under the person's own key, or, from a stranger, under a key of the row's own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import case, delete, func, insert, select, update

from notify.core.errors import NotFound
from notify.store import schema as s
from notify.store import statements
from notify.store.database import Unit
from notify.store.listed import listed
from notify.store.prepared import Prepared
from notify.store.statements import given, is_in, where

NEW, SEEN = "new", "seen"
MOST_OF_A_VISIT, MOST_OF_STRANGERS = 5, 10  # unread replies that the day sheet shows
TEXTS = ("sender", "subject", "text", "letter_id")
_T = s.replies
# The next number is found in the same statement that uses it; writers of one shop follow each other.
_NEXT = select(func.coalesce(func.max(_T.c.seq), 0) + 1).where(*where(_T)).scalar_subquery()
_ADD = insert(_T).values(seq=_NEXT)
_LETTERS_OF = Prepared(
    select(_T.c.id, _T.c.sealed_for, _T.c.letter_id_sealed).where(
        *where(_T), listed(_T.c.person_id, "people"), _T.c.letter_id_sealed.is_not(None)
    )
)


@dataclass(frozen=True, slots=True, repr=False)
class Reply:
    """One reply, opened; its texts are empty once it was forgotten.

    `person_id` is "" for somebody else and for a stranger; a stranger's has no `visit_id` either. `ticket_id` is ""
    for a reply about the whole visit.
    """

    id: str
    seq: int
    visit_id: str
    ticket_id: str
    person_id: str
    message_id: str
    channel: str
    kind: str
    state: str
    sender: str
    subject: str
    text: str
    letter_id: str
    at: datetime
    seen_at: datetime | None
    staff_id: str


def add_reply(
    unit: Unit, reply_id: str, *, visit_id: str, ticket_id: str, person_id: str, sealed_for: str, message_id: str,
    channel: str, kind: str, state: str, sender: str, subject: str, text: str, letter_id: str, at: datetime,
    taken_at: datetime,
) -> None:  # fmt: skip
    """Keeps a reply under the identifier `reply_id`. An empty `sealed_for` gives it a key of its own first."""
    if not sealed_for:
        unit.vault.new_key(reply_id)
    owner = sealed_for or reply_id
    texts = dict(zip(TEXTS, (sender, subject, text, letter_id), strict=True))
    sealed = {f"{name}_sealed": unit.seal(owner, "replies", reply_id, name, said) for name, said in texts.items()}
    values = {
        "shop_id": unit.shop_id, "id": reply_id, "visit_id": visit_id or None, "ticket_id": ticket_id or None,
        "person_id": person_id or None, "sealed_for": owner, "message_id": message_id or None, "channel": channel,
        "kind": kind, "state": state, "at": at, "taken_at": taken_at, "seen_at": taken_at if state == SEEN else None,
    }  # fmt: skip
    unit.connection.execute(_ADD, {**given(unit), **values, **sealed})


def get_reply(unit: Unit, reply_id: str) -> Reply:
    """One reply; raises NotFound."""
    row = unit.connection.execute(select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == reply_id)).first()
    if row is None:
        raise NotFound("There is no such reply", "Look at the list of replies.")
    return _reply(unit, row)


def letter_ids_of(unit: Unit, person_ids: Sequence[str]) -> tuple[str, ...]:
    """The Message-IDs of the letters that these people wrote, as far as their keys are still there."""
    rows = _LETTERS_OF.rows(unit.connection, {**given(unit), "people": person_ids})
    found = (_letter_id(unit, row) for row in rows)
    return tuple(one for one in found if one)


def _letter_id(unit: Unit, row: Any) -> str:
    try:
        return unit.open(row.sealed_for, "replies", row.id, "letter_id", row.letter_id_sealed) or ""
    except NotFound:  # a run that was cut off had destroyed the key already
        return ""


def ids_beginning(unit: Unit, beginning: str) -> tuple[str, ...]:
    """The identifiers that begin so (statements.ids_beginning)."""
    return statements.ids_beginning(unit, _T, beginning)


def replies_of_visit(unit: Unit, visit_id: str, *, limit: int = 100) -> tuple[Reply, ...]:
    """The replies of a visit and all its tickets, newest first."""
    same = (_T.c.shop_id == unit.shop_id, _T.c.visit_id == visit_id)
    query = select(_T).where(*same).order_by(_T.c.seq.desc()).limit(limit)
    return tuple(_reply(unit, row) for row in unit.connection.execute(query).all())


def list_replies(unit: Unit, *, limit: int, skip: int = 0) -> tuple[Reply, ...]:
    """The shop's replies, newest first."""
    query = select(_T).where(_T.c.shop_id == unit.shop_id).order_by(_T.c.seq.desc()).limit(limit).offset(skip)
    return tuple(_reply(unit, row) for row in unit.connection.execute(query).all())


def new_replies(unit: Unit, *, limit: int = 500) -> tuple[Reply, ...]:
    """What nobody has looked at yet, the oldest first: five of each visit and ten of strangers.

    So nobody can write so much that another one's reply is not seen.
    """
    place = func.row_number().over(partition_by=_T.c.visit_id, order_by=_T.c.seq).label("place")
    kept = select(_T.c.id, _T.c.visit_id, place).where(_T.c.shop_id == unit.shop_id, is_in(_T.c.state, NEW)).subquery()
    most = case((kept.c.visit_id.is_(None), MOST_OF_STRANGERS), else_=MOST_OF_A_VISIT)
    shown = (_T.c.shop_id == unit.shop_id, _T.c.id.in_(select(kept.c.id).where(kept.c.place <= most)))
    query = select(_T).where(*shown).order_by(_T.c.visit_id.is_(None), _T.c.seq).limit(limit)
    return tuple(sorted((_reply(unit, row) for row in unit.connection.execute(query)), key=lambda one: one.seq))


def count_new_replies(unit: Unit) -> int:
    """How many nobody has looked at yet."""
    query = select(func.count()).select_from(_T).where(_T.c.shop_id == unit.shop_id, is_in(_T.c.state, NEW))
    return int(unit.connection.execute(query).scalar_one())


def mark_seen(unit: Unit, reply_id: str, *, at: datetime, staff_id: str | None) -> bool:
    """Notes who looked at it; False when somebody had before."""
    same = (_T.c.shop_id == unit.shop_id, _T.c.id == reply_id, _T.c.state == NEW)
    changed = update(_T).where(*same).values(state=SEEN, seen_at=at, staff_id=staff_id)
    return bool(unit.connection.execute(changed).rowcount)


def heard_since(unit: Unit, person_ids: Iterable[str], kind: str, since: datetime) -> int:
    """How many replies of that kind these people wrote from that instant on."""
    query = select(func.count()).select_from(_T).where(
        _T.c.shop_id == unit.shop_id, _T.c.person_id.in_(list(person_ids)), _T.c.kind == kind, _T.c.taken_at >= since
    )  # fmt: skip
    return int(unit.connection.execute(query).scalar_one())


def unread_since(unit: Unit, visit_id: str, since: datetime) -> int:
    """How many replies about this visit were taken from that instant on and not looked at yet."""
    query = select(func.count()).select_from(_T).where(
        _T.c.shop_id == unit.shop_id, _T.c.visit_id == visit_id, is_in(_T.c.state, NEW), _T.c.taken_at >= since
    )  # fmt: skip
    return int(unit.connection.execute(query).scalar_one())


def newest_stop(unit: Unit, person_ids: Iterable[str], channel: str) -> datetime | None:
    """When the newest reply was written by which these people ended the messages of a channel."""
    query = select(func.max(_T.c.at)).where(
        _T.c.shop_id == unit.shop_id, _T.c.person_id.in_(list(person_ids)), _T.c.channel == channel,
        _T.c.kind.in_(("stop", "erasure")),
    )  # fmt: skip
    newest: datetime | None = unit.connection.execute(query).scalar_one()
    return newest


def strangers_before(unit: Unit, before: datetime) -> tuple[str, ...]:
    """The replies under keys of their own that were taken before that instant."""
    query = select(_T.c.id).where(_T.c.shop_id == unit.shop_id, _T.c.sealed_for == _T.c.id, _T.c.taken_at < before)
    return tuple(unit.connection.execute(query).scalars())


def drop_replies(unit: Unit, ids: Sequence[str]) -> int:
    """Overwrites and removes these rows (their keys were destroyed before); how many."""
    which, told = (_T.c.shop_id == unit.shop_id, listed(_T.c.id, "ids")), {"ids": ids}
    unit.connection.execute(update(_T).where(*which).values({f"{name}_sealed": None for name in TEXTS}), told)
    return unit.connection.execute(delete(_T).where(*which), told).rowcount


def _reply(unit: Unit, row: Any) -> Reply:
    sender, subject, text, letter_id = _opened(unit, row)
    return Reply(
        row.id, row.seq, row.visit_id or "", row.ticket_id or "", row.person_id or "", row.message_id or "",
        row.channel, row.kind, row.state, sender, subject, text, letter_id, row.at, row.seen_at, row.staff_id or "",
    )  # fmt: skip


def _opened(unit: Unit, row: Any) -> list[str]:
    """Empty texts for somebody whose key is gone: their rows may not have been overwritten yet."""
    sealed = [getattr(row, f"{name}_sealed") for name in TEXTS]
    try:
        return [unit.open(row.sealed_for, "replies", row.id, n, one) for n, one in zip(TEXTS, sealed, strict=True)]
    except NotFound:
        return [""] * len(TEXTS)
