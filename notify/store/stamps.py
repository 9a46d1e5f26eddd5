"""Stamps that say whether a claim page may have changed: raised by what no event tells, read with the claim.

Whatever a visit's own events tell needs no stamp, because the number of the newest event is one. Here are the
rest: what belongs to a person and so to all their visits, and places in slots, which every visit chooses from.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import bindparam, select, update

from notify.store import schema as s
from notify.store.database import Unit
from notify.store.listed import listed
from notify.store.prepared import Prepared
from notify.store.statements import given, where

_V, _VP = s.visits, s.visit_people
_OF_PEOPLE = select(_VP.c.visit_id).where(*where(_VP), listed(_VP.c.person_id, "people"))
_VISITS = Prepared(update(_V).where(*where(_V), _V.c.id.in_(_OF_PEOPLE)).values(changed=_V.c.changed + 1))
_S = s.shops
_PLACES = update(_S).where(_S.c.id == bindparam("the_shop_id")).values(booked=_S.c.booked + 1)


def people_changed(unit: Unit, person_ids: Iterable[str]) -> None:
    """Something about these people has changed: the pages of every visit they have a part in may have."""
    people = list(person_ids)
    if people:
        _VISITS.write(unit.connection, {**given(unit), "people": people})


def places_changed(unit: Unit) -> None:
    """A place in a slot was taken or given up: what is left for everybody else may have changed."""
    unit.connection.execute(_PLACES, given(unit))
