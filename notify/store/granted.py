"""Restrictions and objections that were granted, as the list of stops beside the backups has them."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import func, select, update

from notify.core.requests import DONE
from notify.core.stop_list import Granted
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.listed import listed
from notify.store.requests import ADD
from notify.store.statements import given

_T, _V, _P = s.requests, s.visit_people, s.people
_IS = (_T.c.state == DONE, _T.c.kind.in_(("restriction", "objection")))
_COLUMNS = (_T.c.shop_id, _T.c.id, _T.c.person_id, _T.c.visit_id, _T.c.kind, _T.c.how, _T.c.received_at,
            _T.c.ended_at, _T.c.lifted_at)  # fmt: skip
_HERE = (
    select(_V.c.person_id, _V.c.visit_id)
    .join(_P, (_P.c.shop_id == _V.c.shop_id) & (_P.c.id == _V.c.person_id))
    .where(_P.c.forgotten_at.is_(None), listed(_V.c.person_id, "people"))
)


def list_granted(unit: Unit) -> tuple[Granted, ...]:
    """Every one, whether it has ended or not."""
    rows = unit.connection.execute(select(*_COLUMNS).where(_T.c.shop_id == unit.shop_id, *_IS))
    return tuple(Granted(*row) for row in rows)


def stamp(unit: Unit) -> tuple[int, int]:
    """How many there are, and how many of them ended: another one once the list has changed."""
    query = select(func.count(), func.count(_T.c.lifted_at)).where(_T.c.shop_id == unit.shop_id, *_IS)
    done, ended = unit.connection.execute(query).one()
    return int(done), int(ended)


def grant_again(unit: Unit, granted: Iterable[Granted]) -> tuple[Granted, ...]:
    """Writes down what this list says of people who are here: what was granted or ended otherwise than it stands.

    Those that are new here. Their words are not on the list.
    """
    mine = [one for one in granted if one.shop_id == unit.shop_id]
    people = {"people": [one.person_id for one in mine]}
    here = {tuple(row) for row in unit.connection.execute(_HERE.where(_V.c.shop_id == unit.shop_id), people)}
    known = {one.id for one in list_granted(unit)}
    for one in mine:
        if (one.person_id, one.visit_id) in here:
            _write(unit, one)
    return tuple(one for one in mine if one.id not in known and (one.person_id, one.visit_id) in here)


def _write(unit: Unit, one: Granted) -> None:
    same = (_T.c.shop_id == unit.shop_id, _T.c.id == one.id)
    stands = {"state": DONE, "ended_at": one.at, "lifted_at": one.ended_at}
    if unit.connection.execute(update(_T).where(*same).values(stands)).rowcount == 0:
        told = {"person_id": one.person_id, "visit_id": one.visit_id, "kind": one.kind, "how": one.how}
        unit.connection.execute(ADD, {
            **given(unit), **stands, **told, "shop_id": unit.shop_id, "id": one.id, "received_at": one.received_at,
            "proved_at": one.at, "due_on": one.at.date(), "reason": "", "note_sealed": None, "staff_id": None,
        })  # fmt: skip
