"""Since when nothing of a person is open, and what keeps them all the same: facts for the rules of keeping."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any

from sqlalchemy import and_, bindparam, case, func, literal_column, or_, select

from notify.core.tickets import OPEN_PHASES, Phase
from notify.store import schema as s
from notify.store.data_holds import held
from notify.store.database import Unit
from notify.store.erasing import SEALED
from notify.store.listed import listed
from notify.store.people import SET_ASIDE
from notify.store.prepared import Prepared
from notify.store.statements import given, is_in, one_of, where

_CLOSED = [phase for phase in Phase if phase not in OPEN_PHASES]
_V, _T, _P = s.visit_people, s.tickets, s.people
# Outer joins, because SQLite never changes their order: without statistics, or with old ones, it would otherwise join
# every person with every ticket of the shop (measured: 1.4 s for 1,500 people, and as the square of them; now 0.3 s for
# 20,000). The index of the parts bears the visit too, else SQLite prefers the longer way over all parts of the shop.
_PARTS = _P.outerjoin(_V, (_V.c.shop_id == _P.c.shop_id) & (_V.c.person_id == _P.c.id)).outerjoin(
    _T, (_T.c.shop_id == _V.c.shop_id) & (_T.c.visit_id == _V.c.visit_id)
)
_R = s.requests
_OPEN = is_in(_R.c.state, "open") & (_R.c.kind != literal_column("'erasure'"))
_ASKED = select(_R.c.person_id, _R.c.state).where(*where(_R), _OPEN | and_(*SET_ASIDE))
_ASKING, _ASKING_ONE = Prepared(_ASKED), Prepared(_ASKED.where(*where(_R, "person_id")))
_NEW = s.tickets.alias("new")
_FOLLOWED = Prepared(
    select(_V.c.person_id)
    .join(_T, (_T.c.shop_id == _V.c.shop_id) & (_T.c.visit_id == _V.c.visit_id))
    .join(_NEW, (_NEW.c.shop_id == _T.c.shop_id) & (_NEW.c.follows_id == _T.c.id))
    .where(*where(_V), _NEW.c.follows_id.is_not(None), one_of(_NEW.c.phase, sorted(OPEN_PHASES)))
)
_MINE = Prepared(
    select(_T.c.id)
    .select_from(_V.outerjoin(_T, (_T.c.shop_id == _V.c.shop_id) & (_T.c.visit_id == _V.c.visit_id)))
    .where(*where(_V, "person_id"))
)
_AGAIN = Prepared(
    select(_T.c.id).where(*where(_T), listed(_T.c.follows_id, "tickets"), one_of(_T.c.phase, sorted(OPEN_PHASES)))
)
_L, _H = s.passes, s.data_holds
_ENDED = (
    select(_L.c.person_id, _L.c.ended_at, _H.c.reason)
    .join(_P, (_P.c.shop_id == _L.c.shop_id) & (_P.c.id == _L.c.person_id))
    .outerjoin(_H, (_H.c.shop_id == _L.c.shop_id) & (_H.c.visit_id == _L.c.visit_id) & _H.c.ended_at.is_(None))
    .where(*where(_L), _L.c.ended_at.is_not(None), _P.c.forgotten_at.is_(None))
)
_ALL_ENDED, _ENDED_ONE = Prepared(_ENDED), Prepared(_ENDED.where(*where(_L, "person_id")))


@dataclass(frozen=True, slots=True)
class Candidate:
    """A person none of whose tickets is open: when the last one was closed, and the reasons found to keep them.

    `reasons` has codes of core/retention.EXCEPTIONS, each once.
    """

    person_id: str
    last_closed_at: datetime
    reasons: frozenset[str]


def candidates(
    unit: Unit, *, closed_by: datetime | None = None, person_id: str = "", among: Collection[str] | None = None
) -> tuple[Candidate, ...]:
    """Every person not yet forgotten with no open ticket in any visit they have a part in, whatever the part.

    Only those whose last ticket was closed by that instant, or one person, if given.
    """
    ids = [person_id] if person_id else among
    asked = _candidates(some=ids is not None, timed=closed_by is not None)
    rows = asked.rows(unit.connection, {**given(unit), "people": [*(ids or ())], "closed_by": closed_by})
    others = other_reasons(unit, person_id=person_id) if rows else {}
    return tuple(_candidate(row, others) for row in rows)


@cache
def _candidates(*, some: bool, timed: bool) -> Prepared:
    last, phase = func.max(_T.c.phase_since).label("last"), _T.c.phase
    query = (
        select(_P.c.id, last, *_flags())
        .select_from(_PARTS)
        .where(*where(_P), _P.c.forgotten_at.is_(None), *([listed(_P.c.id, "people")] if some else []))
        .group_by(_P.c.id)
        .having(
            func.sum(case((one_of(phase, _CLOSED), 0), (phase.is_not(None), 1), else_=0)) == 0, func.count(phase) > 0
        )
        .order_by(last, _P.c.id)  # as they came: their rows lie together, so forgetting them touches fewer pages
    )
    return Prepared(query.having(last.element <= bindparam("closed_by")) if timed else query)


def _flags() -> tuple[Any, ...]:
    """What keeps a person as their tickets show it: a repair not paid, a device that was never collected."""
    owes = _T.c.paid.is_(False) & (_T.c.price_agreed > func.coalesce(_T.c.deposit, 0)) & (_T.c.outcome == "repaired")
    left = _T.c.phase == Phase.LEFT_BEHIND
    found = {"unpaid": owes, "uncollected": left}
    return tuple(func.sum(case((which, 1), else_=0)).label(code) for code, which in found.items())


def _candidate(row: Any, others: Mapping[str, set[str]]) -> Candidate:
    person_id, last, unpaid, uncollected = row
    shown = {code for code, is_so in (("unpaid", unpaid), ("uncollected", uncollected)) if is_so}
    return Candidate(person_id, last, frozenset(shown | others.get(person_id, set())))


def other_reasons(unit: Unit, *, person_id: str = "") -> Mapping[str, set[str]]:
    """person -> what keeps them that their own tickets do not show: holds, requests, a repair that follows.

    They are few, whatever the number of people; only one person, if given. An open request for erasure keeps nobody.
    """
    found: defaultdict[str, set[str]] = defaultdict(set)
    for whose, reason in (*held(unit, person_id=person_id), *_asking(unit, person_id), *_followed(unit, person_id)):
        found[whose].add(reason)
    return found


def _asking(unit: Unit, person_id: str) -> Iterable[tuple[str, str]]:
    asked = _ASKING_ONE if person_id else _ASKING
    rows = asked.rows(unit.connection, given(unit, person_id=person_id))
    return tuple((who, "request" if state == "open" else "set_aside") for who, state in rows)


def _followed(unit: Unit, person_id: str) -> Iterable[tuple[str, str]]:
    """Whoever has a part in a visit whose device came back under warranty, whoever brought it, until that is closed.

    Of one person in two steps, each by an index: a claim page must not read all that ever came back.
    """
    if person_id:
        mine = _MINE.firsts(unit.connection, given(unit, person_id=person_id))
        again = bool(mine) and _AGAIN.firsts(unit.connection, {**given(unit), "tickets": mine})
        return ((person_id, "follow_up"),) if again else ()
    return tuple((one, "follow_up") for one in _FOLLOWED.firsts(unit.connection, given(unit)))


@dataclass(frozen=True, slots=True)
class Ended:
    """Somebody who was named in passes that have all ended: when the last one did, and what keeps those visits."""

    person_id: str
    ended_at: datetime
    reasons: frozenset[str]


def delegates_ended(unit: Unit, *, person_id: str = "") -> tuple[Ended, ...]:
    """Those named in passes that have ended and who are not forgotten yet; only one person, if given."""
    asked = _ENDED_ONE if person_id else _ALL_ENDED
    found: dict[str, Ended] = {}
    for row in asked.rows(unit.connection, given(unit, person_id=person_id)):
        one = found.get(row.person_id, Ended(row.person_id, row.ended_at, frozenset()))
        reasons = one.reasons | ({row.reason} if row.reason else set())
        found[row.person_id] = Ended(row.person_id, max(one.ended_at, row.ended_at), reasons)
    asking = other_reasons(unit, person_id=person_id) if found else {}
    return tuple(Ended(one.person_id, one.ended_at, one.reasons | asking.get(one.person_id, set()))
                 for one in found.values())  # fmt: skip


def numbers_of(unit: Unit, person_ids: Iterable[str] | None = None) -> Mapping[str, tuple[str, ...]]:
    """person -> the claim numbers of every ticket in visits they have a part in, or were let collect, oldest first.

    Of everybody, or of these people.
    """
    found: defaultdict[str, dict[str, None]] = defaultdict(dict)
    for people in (_V, s.passes):
        query = (
            select(people.c.person_id, _T.c.number)
            .join(_T, (_T.c.shop_id == people.c.shop_id) & (_T.c.visit_id == people.c.visit_id))
            .where(people.c.shop_id == unit.shop_id)
            .order_by(_T.c.created_at, _T.c.number)
        )
        if person_ids is not None:
            query = query.where(people.c.person_id.in_(list(person_ids)))
        for row in unit.connection.execute(query):
            found[row.person_id][row.number] = None
    return {person: tuple(numbers) for person, numbers in found.items()}


def held_rows(unit: Unit, *, person_id: str = "") -> Mapping[str, Mapping[str, int]]:
    """person -> table -> how many of its rows hold something sealed about them: what would go."""
    found: defaultdict[str, dict[str, int]] = defaultdict(dict)
    for table, owner, columns in SEALED:
        who = table.c[owner]
        query = (
            select(who, func.count())
            .where(table.c.shop_id == unit.shop_id, or_(*(table.c[name].is_not(None) for name in columns)))
            .group_by(who)
        )
        if person_id:
            query = query.where(who == person_id)
        for person, count in unit.connection.execute(query):
            found[person][table.name] = count
    return found


def proofs_of(unit: Unit, *, person_id: str = "") -> Mapping[str, frozenset[str]]:
    """person -> which kinds of proof are kept of them beyond their data: codes of core/retention.DATA_CLASSES."""
    found: defaultdict[str, set[str]] = defaultdict(set)
    for code, table in (
        ("consent_record", s.consents),
        ("request_record", s.requests),
        ("access_log", s.contact_reads),
    ):
        query = select(table.c.person_id).where(table.c.shop_id == unit.shop_id).distinct()
        if person_id:
            query = query.where(table.c.person_id == person_id)
        for person in unit.connection.execute(query).scalars():
            found[person].add(code)
    return {person: frozenset(codes) for person, codes in found.items()}
