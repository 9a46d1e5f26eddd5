"""Claim tickets printed in advance: their numbers are taken, their secrets sealed under a key of the row's own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select, update

from notify.core.errors import NotFound
from notify.store import schema as s
from notify.store.database import Database, Unit

PRINTED, ENTERED, VOID = "printed", "entered", "void"
_T = s.pad_tickets


@dataclass(frozen=True, slots=True)
class PadTicket:
    """One of them: `place` on its pad from 1; `wordings` the version of each sentence that was printed beside a box."""

    id: str
    pad_id: str
    place: int
    number: str
    wordings: Mapping[str, str]
    state: str
    printed_at: datetime
    ended_at: datetime | None
    ticket_id: str
    sealed: bytes | None


@dataclass(frozen=True, slots=True)
class Printed:
    """Whose an unentered claim secret is: nothing is known of it but its shop and its number."""

    shop_id: str
    number: str


def add(
    unit: Unit, *, pad_id: str, place: int, number: str, token: str, token_hash: str, wordings: Mapping[str, str],
    at: datetime, staff_id: str | None,
) -> None:  # fmt: skip
    """Adds one; its key is made first, so that its secret can be read by nobody once that key is gone."""
    new = unit.new_id()
    unit.vault.have_key(new)
    sealed = unit.seal(new, "pad_tickets", new, "token", token)
    unit.connection.execute(
        insert(_T).values(
            shop_id=unit.shop_id, id=new, pad_id=pad_id, place=place, number=number, wordings=dict(wordings),
            token_hash=token_hash, token_sealed=sealed, state=PRINTED, printed_at=at, staff_id=staff_id,
        )
    )  # fmt: skip


def of_pad(unit: Unit, pad_id: str) -> tuple[PadTicket, ...]:
    """The tickets of a pad in their order; raises NotFound when there is no such pad."""
    found = _all(unit, _T.c.pad_id == pad_id)
    if not found:
        raise NotFound("There is no such pad here", "Look at the list of pads.")
    return found


def every(unit: Unit) -> tuple[PadTicket, ...]:
    """All of the shop, the newest pad first, each pad in its order."""
    return _all(unit)


def by_number(unit: Unit, number: str) -> PadTicket | None:
    """The one with this claim number, in whatever state, or None."""
    return next(iter(_all(unit, _T.c.number == number)), None)


def by_token_hash(unit: Unit, token_hash: str) -> PadTicket | None:
    """The one whose secret has this hash, while it is neither entered nor void; or None."""
    return next(iter(_all(unit, _T.c.token_hash == token_hash)), None)


def token_of(unit: Unit, pad_ticket: PadTicket) -> str:
    """The claim secret; empty once it is entered (it stands with the ticket then) or void."""
    return unit.open(pad_ticket.id, "pad_tickets", pad_ticket.id, "token", pad_ticket.sealed)


def end(unit: Unit, ids: Iterable[str], state: str, *, at: datetime, ticket_id: str = "") -> int:
    """Ends tickets as entered or void: the secret goes from here. How many were still open."""
    same = (_T.c.shop_id == unit.shop_id, _T.c.id.in_(list(ids)), _T.c.state == PRINTED)
    gone = {"token_hash": None, "token_sealed": None}
    return unit.connection.execute(
        update(_T).where(*same).values(state=state, ended_at=at, ticket_id=ticket_id or None, **gone)
    ).rowcount


def find_printed(db: Database, token_hash: str) -> Printed | None:
    """Over all shops, one look at one unique index, whatever the answer is."""
    with db.glance.connect() as connection:
        row = connection.execute(select(_T.c.shop_id, _T.c.number).where(_T.c.token_hash == token_hash)).first()
    return Printed(row.shop_id, row.number) if row else None


def _all(unit: Unit, *which: Any) -> tuple[PadTicket, ...]:
    order = (_T.c.printed_at.desc(), _T.c.pad_id, _T.c.place)
    rows = unit.connection.execute(select(_T).where(_T.c.shop_id == unit.shop_id, *which).order_by(*order))
    return tuple(
        PadTicket(row.id, row.pad_id, row.place, row.number, row.wordings, row.state, row.printed_at, row.ended_at,
                  row.ticket_id or "", row.token_sealed)
        for row in rows
    )  # fmt: skip
