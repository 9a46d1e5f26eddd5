"""The owner's page of what is held, in a large shop: against its own statements, said once by the bare driver."""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
from pathlib import Path
from typing import Any
from uuid import uuid4

from sqlalchemy import event, insert, text

from notify.store import schema as s
from tests.bench import forget
from tests.bench.line import Figure, alternate, compare
from tests.bench.stage import Nothing, house_on
from tests.parts.house import House
from tests.web.conftest import Browser, make_app, sign_in

AGAINST = (
    "every statement of the page, said once by sqlite3 alone and read to its last row; ours is the page and the three "
    "pictures that a browser fetches with it, drawn"
)
PICTURES = ("/held/ages.svg", "/held/next.svg", "/held/consents.svg")
TABLES = (s.people, s.visits, s.visit_people, s.tickets)


def figures(*, people: int, rounds: int) -> list[Figure]:
    """`held`: so many people whose devices went home on 200 days, or the environment's SHELFBELL_HELD_PEOPLE."""
    people = int(os.environ.get("SHELFBELL_HELD_PEOPLE", people))
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name, house_on(Path(name), Nothing()) as house:
        _fill(house, people)
        owner = sign_in(make_app(house), house, role="owner")
        said, taken = _heard(house, owner), {"page": 0.0, "pictures": 0.0}
        bare = sqlite3.connect(str(house.ctx.db.engine.url.database))

        def ours(_: int) -> float:
            for part, paths in (("page", ("/held",)), ("pictures", PICTURES)):
                began = time.perf_counter()
                assert all(owner.get(path).status_code == 200 for path in paths)
                taken[part] = time.perf_counter() - began
            return sum(taken.values())

        def theirs(_: int) -> float:
            began = time.perf_counter()
            for sql, values in said:
                bare.execute(sql, values).fetchall()
            return time.perf_counter() - began

        ratio, we, they = compare(alternate(rounds, ours, theirs), unit="s")
        bare.close()
    more = {"people": people, "statements": len(said)} | {f"{part}_s": round(one, 3) for part, one in taken.items()}
    return [Figure("held", ratio, 2.0, AGAINST, rounds, we, they, higher=False, more=more)]


def _heard(house: House, owner: Browser) -> list[tuple[str, Any]]:
    said: list[tuple[str, Any]] = []

    def note(_c: Any, _u: Any, sql: str, values: Any, *_: Any) -> None:
        said.append((sql, values))

    event.listen(house.ctx.db.engine, "before_cursor_execute", note)
    owner.get("/held")
    event.remove(house.ctx.db.engine, "before_cursor_execute", note)
    return [one for one in said if one[0].startswith(("SELECT", "WITH"))]


def _fill(house: House, people: int) -> None:
    """Each asked for all three purposes by one channel; of twenty one is still owing."""
    forget.fill(house, people, only=TABLES)
    at = house.clock()
    with house.ctx.db.write(house.shop_id) as unit:
        spread = (
            "update tickets set paid = rowid % 20 > 0, "
            "phase_since = datetime(:at, '-' || (rowid % 200) || ' days') || '.000000'"
        )
        unit.connection.execute(text(spread), {"at": f"{at:%Y-%m-%d %H:%M:%S}"})
        ids = unit.connection.execute(text("select id from people")).scalars()
        consents = [
            {"shop_id": house.shop_id, "id": str(uuid4()), "person_id": one, "channel": "email", "purpose": purpose,
             "allowed": n % 7 > 0, "basis": "contract", "wording": f"{purpose}-1", "language": "en", "how": "counter",
             "at": at, "seq": n}
            for n, (one, purpose) in enumerate((one, purpose) for one in ids for purpose in ("repair", "pickup"))
        ]  # fmt: skip
        unit.connection.execute(insert(s.consents), consents)
