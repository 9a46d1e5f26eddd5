"""Kinds of repair: their usual minutes on the bench, and the sums of what was learned of each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import bindparam, insert, select, update

from notify.core.errors import NotFound
from notify.core.past_jobs import Sums
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.prepared import Prepared
from notify.store.statements import given, where

_T = s.repair_kinds
_KINDS = select(_T).where(*where(_T)).order_by(_T.c.name)
_CATCH_ALL = Prepared(select(_T).where(*where(_T), _T.c.catch_all))
_LEARN = Prepared(
    update(_T)
    .where(*where(_T, "id"))
    .values(
        learned=_T.c.learned + bindparam("more"),
        learned_sum=_T.c.learned_sum + bindparam("more_sum"),
        learned_squares=_T.c.learned_squares + bindparam("more_squares"),
    )
)


@dataclass(frozen=True, slots=True)
class KindRow:
    """One kind of repair. `minutes` is what it usually takes on the bench; an empty `device_class` fits every device.

    `learned` past jobs were learned from; `learned_sum` and `learned_squares` are the sums of their log minutes and of
    the squares (core/past_jobs.py). `catch_all`: the kind of every ticket that names none; each shop has one.
    """

    id: str
    name: str
    minutes: int
    device_class: str
    active: bool
    learned: int
    learned_sum: float
    learned_squares: float
    catch_all: bool = False

    @property
    def sums(self) -> Sums:
        """All that was learned of it."""
        return Sums(self.learned, self.learned_sum, self.learned_squares)


def list_kinds(unit: Unit) -> tuple[KindRow, ...]:
    """Every kind of the shop, retired ones too, by name; the catch-all last."""
    rows = [_row(row) for row in unit.connection.execute(_KINDS, given(unit))]
    return tuple(sorted(rows, key=lambda row: row.catch_all))


def get_kind(unit: Unit, kind_id: str) -> KindRow:
    """A kind by its identifier; raises NotFound."""
    row = unit.connection.execute(select(_T).where(*where(_T, "id")), given(unit, id=kind_id)).first()
    if row is None:
        raise NotFound("There is no such kind of repair", "Look at the list in the settings.", field="kind")
    return _row(row)


def find_kind(unit: Unit, name_or_id: str) -> KindRow:
    """A kind by identifier or name, whatever its capitals; raises NotFound."""
    wanted = name_or_id.strip()
    for row in list_kinds(unit):
        if row.id == wanted or row.name.casefold() == wanted.casefold():
            return row
    raise NotFound("There is no such kind of repair", "The settings and `shelfbell kind list` name them.", field="kind")


def catch_all(unit: Unit) -> KindRow:
    """The kind of every ticket that names none; raises NotFound in a shop without one."""
    rows = _CATCH_ALL.rows(unit.connection, given(unit))
    if not rows:
        raise NotFound("The shop has no kind for all other repairs", "Run `shelfbell kind first`.", field="kind")
    return _row(rows[0])


def add_kind(unit: Unit, *, name: str, minutes: int, device_class: str = "", catch_all: bool = False) -> str:
    """Adds a kind that nothing was learned of yet; its identifier."""
    new = unit.new_id()
    unit.connection.execute(
        insert(_T).values(
            shop_id=unit.shop_id, id=new, name=name, minutes=minutes, device_class=device_class, active=True,
            catch_all=catch_all, learned=0, learned_sum=0.0, learned_squares=0.0,
        )
    )  # fmt: skip
    return new


def change_kind(unit: Unit, kind_id: str, **columns: Any) -> None:
    """Changes name, minutes, device_class or active; raises NotFound."""
    done = unit.connection.execute(update(_T).where(*where(_T, "id")), {**given(unit, id=kind_id), **columns}).rowcount
    if not done:
        raise NotFound("There is no such kind of repair", "Look at the list in the settings.", field="kind")


def add_sums(unit: Unit, kind_id: str, *, jobs: int, total: float, squares: float) -> None:
    """Adds to what was learned of a kind (negative: takes away), in one statement; raises NotFound."""
    values = {"more": jobs, "more_sum": total, "more_squares": squares}
    if _LEARN.later(unit.connection, {**given(unit, id=kind_id), **values}) != 1:
        raise NotFound("There is no such kind of repair", "Look at the list in the settings.", field="kind")


def put_sums(unit: Unit, sums: Iterable[tuple[str, int, float, float]]) -> None:
    """Writes the sums of kinds anew: (kind, jobs, sum, squares)."""
    for kind_id, jobs, total, squares in sums:
        change_kind(unit, kind_id, learned=jobs, learned_sum=total, learned_squares=squares)


def _row(row: Any) -> KindRow:
    return KindRow(
        row.id, row.name, row.minutes, row.device_class, row.active, row.learned, row.learned_sum,
        row.learned_squares, row.catch_all,
    )  # fmt: skip
