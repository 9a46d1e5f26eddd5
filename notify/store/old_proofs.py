"""Proofs whose own time is over: consents and requests of forgotten people, erasure records, the log of looks."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Select, Table, and_, delete, exists, func, select

from notify.store import schema as s
from notify.store.database import Unit
from notify.store.people import SET_ASIDE

KINDS = ("consent_record", "request_record", "erasure_record", "access_log")


def drop_some(unit: Unit, kind: str, *, before: datetime, most: int) -> int:
    """Deletes at most so many rows of one kind whose event lies before that instant; how many went.

    `kind` is one of KINDS. Consents count from when their person was forgotten, requests from when they were answered
    or lifted, looks from the last one; a request that is open or keeps somebody's data set aside, and an erasure that
    is not proved yet, stay.
    """
    table, query = _old(unit, kind, before)
    ids = list(unit.connection.execute(query.limit(most)).scalars())
    if ids:
        unit.connection.execute(delete(table).where(table.c.shop_id == unit.shop_id, table.c.id.in_(ids)))
    return len(ids)


def _old(unit: Unit, kind: str, before: datetime) -> tuple[Table, Select[tuple[str]]]:
    p, c, r, e, a = s.people, s.consents, s.requests, s.erasures, s.contact_reads
    if kind == "consent_record":
        gone = (p.c.shop_id == c.c.shop_id) & (p.c.id == c.c.person_id)
        query = select(c.c.id).join(p, gone).where(p.c.shop_id == unit.shop_id, p.c.forgotten_at < before)
        return c, query
    if kind == "request_record":
        here = (p.c.shop_id == r.c.shop_id) & (p.c.id == r.c.person_id) & p.c.forgotten_at.is_(None)
        in_force = and_(*SET_ASIDE, exists().where(here))
        over = func.coalesce(r.c.lifted_at, r.c.ended_at) < before
        return r, select(r.c.id).where(r.c.shop_id == unit.shop_id, r.c.state != "open", over, ~in_force)
    if kind == "erasure_record":
        return e, select(e.c.id).where(e.c.shop_id == unit.shop_id, e.c.confirmed_at.is_not(None), e.c.at < before)
    return a, select(a.c.id).where(a.c.shop_id == unit.shop_id, a.c.last_at < before)
