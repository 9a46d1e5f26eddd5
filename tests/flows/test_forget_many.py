"""Many people forgotten at once leave no byte in any file, run after run, though few would show it in one.

Measured before (SQLite 3.40): secure_delete and an emptied journal left one or two of 200,000 values readable in four
of six runs, in the gaps of index pages that were balanced anew. So each run looks before the files are rewritten too.
"""

from __future__ import annotations

import os
import shutil
from collections import Counter
from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from notify.flows import forget
from notify.store import erasing
from tests.bench.forget import MESSAGES, fill, heard
from tests.parts.house import House, make_house
from tests.parts.traces import count_marks, files_below, heap

MANY = int(os.environ.get("SHELFBELL_FORGET_PEOPLE", 20_000))
RUNS = int(os.environ.get("SHELFBELL_FORGET_RUNS", 2))
# A name, two addresses with their blind indexes, a device with its fault and claim link (twice), a note, a data key; of
# each message its bytes and the gateway's name for it.
MARKED = 10 + 2 * MESSAGES


@pytest.mark.long
@pytest.mark.untouched
@pytest.mark.parametrize(
    ("kind", "people", "runs"),
    [
        ("sqlite", 150, 1),
        pytest.param("sqlite", MANY, RUNS, marks=pytest.mark.deep),
        pytest.param("postgresql", MANY, RUNS, marks=[pytest.mark.deep, pytest.mark.real]),
    ],
)
def test_many_people_leave_no_byte_in_any_file_run_after_run(
    kind: str,
    people: int,
    runs: int,
    database_urls: Callable[[str], str],
    clock: Any,
    tmp_path: Path,
    tzdata_only: None,
) -> None:  # fmt: skip
    first = clock()
    for run in range(runs):
        folder, mark = tmp_path / f"run-{run}", os.urandom(8)
        folder.mkdir()
        clock.set(first)
        url = f"sqlite:///{shutil.move(database_urls(kind)[10:], folder)}" if kind == "sqlite" else database_urls(kind)
        house = make_house(folder, url, clock=clock)
        try:
            seen = _forgotten(house, folder, people, mark)
        finally:
            house.services.close()
        print(f"FIGURE E1_many database={kind} run={run + 1} people={people} {seen}")
        shutil.rmtree(folder)


def _forgotten(house: House, folder: Path, people: int, mark: bytes) -> str:
    db = house.ctx.db

    def marks() -> int:
        return count_marks([*files_below(folder), *([] if db.is_sqlite else heap(db))], mark)

    fill(house, people, mark=mark, wide=300)
    with db.write(house.shop_id) as unit:  # a leak that forgetting knows nothing of
        unit.connection.execute(text("create table planted (leak varchar(99))"))
        unit.connection.execute(text("insert into planted values (:leak)"), {"leak": f"x{mark.hex()}x"})
    before = marks()
    house.clock.advance(200 * 86400)
    done = forget.forget(house.ctx, house.system(), prove=False)
    db.checkpoint(truncate=True)
    unwritten = marks()
    proved = forget.confirm(house.ctx, house.system())
    planted = marks()
    with db.write(house.shop_id) as unit:
        unit.connection.execute(text("drop table planted"))
    db.checkpoint(truncate=True)
    left = marks()
    assert len(done.due) == people and proved and before > people * MARKED and planted >= 1 and left == 0, left
    return f"before={before} before_rewriting={unwritten} planted_found={planted} hits={left}"


@pytest.mark.long
def test_fewer_go_at_once_where_the_machine_is_slow_and_all_go_all_the_same(house: House) -> None:
    fill(house, 150, wide=60)
    house.clock.advance(200 * 86400)
    ticks, at = count(step=0.12), list[int]()  # each look at it is that much later
    done = forget.forget(
        house.ctx, house.system(), batch=60, ticks=lambda: next(ticks), tell=lambda so_far, _: at.append(so_far)
    )
    # 120 ms where 60 are wanted: half as many each time, and never fewer than FEWEST.
    assert at == [60, 60 + 30, 60 + 30 + 20, 60 + 30 + 40, 150] and len(done.due) == done.counts["people"] == 150
    assert done.confirmed and done.counts["messages"] == 150 * MESSAGES


@pytest.mark.long
def test_each_statement_of_a_batch_finds_its_rows_by_an_index_of_more_than_the_shop(house: House) -> None:
    if not house.ctx.db.is_sqlite:
        return
    fill(house, 30, wide=60)
    house.clock.advance(200 * 86400)
    with heard({"main": house.ctx.db.engine, "keys": house.ctx.db.vault.engine}) as said:
        forget.forget(house.ctx, house.system(), batch=10, prove=False, ticks=lambda: 0.0)
    plans = dict[str, list[str]]()
    often = Counter(sql for _, sql, _, _ in said)
    for name, sql, values, many in said:
        if sql.startswith(("SELECT", "UPDATE", "DELETE")) and often[sql] >= 3:  # said of each batch
            engine = house.ctx.db.engine if name == "main" else house.ctx.db.vault.engine
            with engine.connect() as line:
                plan = line.exec_driver_sql(f"explain query plan {sql}", values[0] if many else values)
                plans[sql] = [row[3] for row in plan]
    # What is asked by law or held is little, whatever the number of people.
    few = ("requests USING INDEX", "data_holds USING", "SCAN json_each", "SCAN anon", "SCAN CONSTANT")
    steps = [step for plan in plans.values() for step in plan if not any(one in step for one in few)]
    whole = [step for step in steps if step.startswith("SCAN") or step.endswith("(shop_id=?)")]
    print(f"FIGURE forget_plans statements={len(plans)} steps={len(steps)} whole={len(whole)}")
    assert len(plans) > 30 and whole == []


@pytest.mark.long
def test_a_large_database_is_rewritten_and_said_to_be_proved_in_closed_hours_only(house: House) -> None:
    ballast = (
        "zeroblob(21000000) as air" if house.ctx.db.is_sqlite else "md5(n::text) from generate_series(1, 250000) n"
    )
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(text(f"create table ballast as select {ballast}"))
    fill(house, 3, wide=60)
    house.clock.advance(201 * 86400)  # a Monday morning
    forget.forget(house.ctx, house.system(), prove=False)

    def is_proved() -> bool:
        done = forget.prove_due(house.ctx, house.system(), [house.shop_id])
        with house.read() as unit:
            assert all((row.confirmed_at is not None) == done for row in erasing.list_erasures(unit))
        return done

    open_hours = is_proved()
    house.clock.advance(12 * 3600)
    with house.ctx.db.write(house.shop_id) as unit:  # what a run says with each of its batches
        erasing.add_erasure(unit, at=house.clock(), reason="period_over", counts={})
    in_a_run = is_proved()
    house.clock.advance(121)
    assert (open_hours, in_a_run, is_proved()) == (False, False, True)
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(text("drop table ballast"))
