"""Tables of other systems: each change once, none missed, and trouble told in words without losing the place."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from itertools import islice
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

from notify.cli.watch import watch_jobs
from notify.config.settings import Watch
from notify.core.sources import Doubt, Trouble
from notify.core.tickets import Phase
from notify.flows import source_state
from notify.schedule.jobs import Run
from notify.store import schema as s
from notify.store.watched_table import Asked, open_table
from notify.watch import table
from notify.watch.report import Report
from tests.parts.clock import FakeClock
from tests.parts.foreign import Foreign
from tests.parts.house import House, make_house
from tests.parts.mariadb import PASSWORD
from tests.parts.watched_folder import make_watch

COLUMNS = (("reference", "job"), ("phase", "stand"), ("device", "what"))
WORDS = (("here", "taken_in"), ("bench", "on_bench"), ("done", "repaired"))
JOBS = "create table jobs (job varchar(40), stand varchar(5000), what varchar(80), seen timestamp(6))"
QUERY = "select job, stand, what, seen from jobs"


@pytest.fixture
def shop(tmp_path: Path, database_urls: Callable[[str], str], clock: FakeClock, tzdata_only: None) -> Any:
    """Ours on SQLite, whatever theirs is."""
    made = make_house(tmp_path, database_urls("sqlite"), clock=clock)
    yield made
    made.services.close()


class Hand:
    """The other system's hand, and our looks at its table."""

    def __init__(self, house: House, foreign: Foreign, **changed: Any) -> None:
        self.house, self.foreign = house, foreign
        if foreign.password:
            file = house.services.settings.keys.master_key_file.parent / "theirs.txt"
            file.write_text(foreign.password)
            file.chmod(0o600)
            changed["password_file"] = file
        told = {"columns": COLUMNS, "phase_words": WORDS, "query": QUERY, "changed": "seen", "url": foreign.url,
                "kind": "table", "wait_seconds": 5, "zone": "UTC"}  # fmt: skip
        self.watch: Watch = replace(make_watch(Path(), **(told | changed)), folder=None)
        foreign.do(JOBS, "create index jobs_seen on jobs (seen)")

    def now(self, back: float = 0) -> str:
        """A time of its change column, so many seconds ago."""
        return (self.house.clock() - timedelta(seconds=back)).strftime("%Y-%m-%d %H:%M:%S.%f")

    def put(self, *rows: tuple[str, str, str], back: float = 0) -> None:
        """New rows, seen so many seconds ago."""
        self.foreign.do("insert into jobs values (?, ?, ?, ?)", rows=[(*row, self.now(back)) for row in rows])

    def move(self, job: str, stand: str, back: float = 0) -> None:
        """Another word for a job."""
        self.foreign.do("update jobs set stand = ?, seen = ? where job = ?", rows=[(stand, self.now(back), job)])

    def look(self, after: float = 10, **more: Any) -> tuple[Report, ...]:
        """A look, some seconds later."""
        self.house.clock.advance(after)
        return table.look(self.house.ctx, self.house.shop_id, self.watch, pause=lambda seconds: None, **more)

    def phases(self) -> list[Phase]:
        """Where our tickets stand, in the order of their numbers."""
        query = select(s.tickets.c.phase).order_by(s.tickets.c.number)
        with self.house.read() as unit:
            return [Phase(phase) for phase in unit.connection.execute(query).scalars()]


@pytest.mark.long
def test_each_change_of_a_table_is_taken_once(shop: House, foreign: Foreign) -> None:
    hand = Hand(shop, foreign)
    hand.put(("A1", "here", "Kestrel radio"), ("A2", "bench", "Gull camera"))
    assert [len(one.taken.taken) for one in hand.look()] == [2]
    assert hand.phases() == [Phase.TAKEN_IN, Phase.ON_BENCH]
    assert hand.look() == ()
    hand.move("A1", "bench")
    assert [one.taken.taken for one in hand.look()] == [(2,)]  # A2 lies within the time to look back
    assert hand.phases() == [Phase.ON_BENCH, Phase.ON_BENCH]
    assert hand.look() == hand.look(400) == hand.look() == ()


def test_a_trial_says_what_would_change_and_changes_nothing(
    house: House, make_foreign: Callable[[str], Foreign]
) -> None:
    hand = Hand(house, make_foreign("sqlite"))
    hand.put(("A1", "here", "Kestrel radio"))
    (report,) = hand.look(dry_run=True)
    assert len(report.taken.would) == 1 and hand.phases() == []
    assert source_state.state(house.ctx, house.shop_id, "bench").looked_at is None


def test_many_rows_of_one_moment_are_all_read_though_they_fill_pages(make_foreign: Any) -> None:
    seen = [line for page in pages_of(make_foreign("sqlite"), [0] * 2500 + [1] * 3 + [2] * 1998) for line in page]
    assert len(seen) == len(set(seen)) == 2500 + 3 + 1998


def pages_of(foreign: Foreign, moments: list[int]) -> Iterator[list[Any]]:
    foreign.do("create table t (job text, seen integer)", "insert into t values (?, ?)",
               rows=[(f"J{at}", seen) for at, seen in enumerate(moments)])  # fmt: skip
    asked = Asked("select * from t", ("job",), "seen", ("job",))
    return islice(table._pages(open_table(foreign.url, "", asked, seconds=5), None), 20)


def test_a_change_that_was_written_earlier_than_it_could_be_seen_is_taken(shop: House, make_foreign: Any) -> None:
    hand = Hand(shop, make_foreign("sqlite"))
    hand.put(("A1", "here", "Kestrel radio"), back=400)
    hand.look()
    for _ in range(8):
        hand.put(("A1", "here", "Kestrel radio"))
        hand.look(50)
    hand.put(("B1", "here", "Gull camera"), back=250)  # a transaction that took four minutes
    (report,) = hand.look()
    assert len(report.taken.taken) == 1 and len(hand.phases()) == 2


def test_a_change_that_took_longer_is_found_by_the_comparison_of_the_night(shop: House, make_foreign: Any) -> None:
    hand = Hand(shop, make_foreign("sqlite"))
    hand.put(("A1", "here", "Kestrel radio"))
    hand.look()
    hand.look(400)
    hand.look(400)
    hand.put(("B1", "here", "Gull camera"), back=5_000)
    assert hand.look() == ()
    (report,) = hand.look(86_400)
    assert len(report.taken.taken) == 1 and len(hand.phases()) == 2


def test_a_row_without_a_moment_or_one_dated_in_another_century_hides_no_other(shop: House, make_foreign: Any) -> None:
    hand = Hand(shop, make_foreign("sqlite"))
    hand.foreign.do(
        "insert into jobs values ('N1', 'here', 'Clock', null), ('F1', 'here', 'Lamp', '2162-01-01 00:00:00')"
    )
    hand.put(("A1", "here", "Kestrel radio"))
    assert len(hand.look()[0].taken.taken) == 3
    hand.put(("B1", "here", "Gull camera"))
    assert len(hand.look()[0].taken.taken) == 1


def test_without_a_change_column_every_row_is_compared_and_one_that_is_gone_says_nothing(
    shop: House, make_foreign: Any
) -> None:
    hand = Hand(shop, make_foreign("sqlite"), changed="")
    hand.put(("A1", "here", "Kestrel radio"), ("A2", "here", "Gull camera"))
    hand.look()
    hand.foreign.do("delete from jobs where job = 'A1'", "update jobs set stand = 'bench'")
    assert [len(one.taken.taken) for one in hand.look()] == [1]
    assert hand.phases() == [Phase.TAKEN_IN, Phase.ON_BENCH] and hand.look() == ()


def test_a_row_without_a_reference_is_a_doubt_and_a_cell_too_long_is_refused(shop: House, make_foreign: Any) -> None:
    hand = Hand(shop, make_foreign("sqlite"), changed="")
    hand.foreign.do("insert into jobs (stand, what) values ('here', 'Clock')")
    hand.put(("A1", "x" * 4001, "Kestrel radio"), ("A2", "here", "Gull camera"))
    (report,) = hand.look()
    assert [kind for _, kind, _ in report.taken.doubted] == [Doubt.UNREADABLE]
    assert [line for line, _ in report.refused] == [2] and "phase" in report.refused[0][1]
    assert len(hand.phases()) == 1


@pytest.mark.real
def test_half_a_sign_in_a_json_cell_stops_no_other_row(shop: House, make_foreign: Any) -> None:
    query = "select job, stand, json_build_object('was', what::json) as what, seen from jobs"
    hand = Hand(shop, make_foreign("postgresql"), query=query)
    # PostgreSQL's type json looks at the syntax of an escape only (its manual, 8.14); RFC 8259 8.2 warns of such texts.
    hand.put(("A1", "nobody knows", '"half \\ud800"'), ("A2", "here", '"Gull camera"'))
    (report,) = hand.look()
    assert [kind for _, kind, _ in report.taken.doubted] == [Doubt.UNKNOWN_WORD]
    assert hand.phases() == [Phase.TAKEN_IN]


def test_trouble_is_told_and_the_next_look_goes_on_where_it_was(shop: House, make_foreign: Any) -> None:
    hand = Hand(shop, make_foreign("sqlite"))
    hand.put(("A1", "here", "Kestrel radio"))
    hand.look()
    place = source_state.state(shop.ctx, shop.shop_id, "bench").position
    assert place["marks"]
    hand.foreign.do("alter table jobs rename to kept")
    (report,) = hand.look()
    state = source_state.state(shop.ctx, shop.shop_id, "bench")
    assert report.trouble is Trouble.MISSING and "jobs" in report.problem
    assert (state.trouble, state.position) == ("missing", place) and state.trouble_since == shop.clock()
    hand.foreign.do("alter table kept rename to jobs")
    hand.put(("B1", "here", "Gull camera"))
    assert [len(one.taken.taken) for one in hand.look(86_400)] == [1]
    assert source_state.state(shop.ctx, shop.shop_id, "bench").trouble == ""


def test_a_password_file_that_others_may_read_is_told_and_not_used(
    shop: House, make_foreign: Any, tmp_path: Path
) -> None:
    file = tmp_path / "open.txt"
    file.write_text(PASSWORD)
    file.chmod(0o644)
    (report,) = Hand(shop, make_foreign("sqlite"), password_file=file).look()
    assert report.trouble is Trouble.REFUSED and "chmod 600" in report.problem and PASSWORD not in report.problem


def test_a_table_that_its_owner_writes_in_all_the_while_is_not_held_up(make_foreign: Any) -> None:
    """Between two pages nothing is held open there: SQLite would refuse its writer's commit (lockingv3.html)."""
    foreign = make_foreign("sqlite")
    wrote = 0
    with closing(sqlite3.connect(foreign.url.removeprefix("sqlite:///"), timeout=0)) as writer:
        for _ in pages_of(foreign, list(range(3500))):
            writer.execute("insert into t values ('W', 0)")
            writer.commit()
            wrote += 1
    assert wrote == 4


def test_a_time_without_a_zone_is_in_the_sources_own(shop: House, make_foreign: Any) -> None:
    """In Adelaide it is ten and a half hours later than in UTC in November (zone data: Australia/Adelaide)."""
    columns = (*COLUMNS, ("changed_at", "seen"))
    hand = Hand(shop, make_foreign("sqlite"), columns=columns, zone="Australia/Adelaide")
    there = shop.clock().astimezone(ZoneInfo("Australia/Adelaide")).replace(tzinfo=None)
    rows = [("A1", "here", "Lamp", str(there)), ("A2", "here", "Lamp", str(there + timedelta(hours=1)))]
    hand.foreign.do("insert into jobs values (?, ?, ?, ?)", rows=rows)
    (report,) = hand.look()
    assert len(report.taken.taken) == 1 and [one[1] for one in report.taken.doubted] == [Doubt.UNREADABLE]


def test_a_database_that_is_away_is_left_alone_longer_and_longer_while_a_command_looks_at_once(
    shop: House, make_foreign: Any
) -> None:
    hand = Hand(shop, make_foreign("sqlite"))
    hand.foreign.do("alter table jobs rename to kept")
    (job,) = watch_jobs(replace(shop.services.settings, watch=(hand.watch,)))
    looked = []
    for _ in range(60):
        shop.clock.advance(10)
        job.flow(Run(shop.services, "", shop.clock(), shop.clock()))
        looked.append(source_state.state(shop.ctx, shop.shop_id, "bench").looked_at)
    assert len(set(looked)) == 7
    hand.foreign.do("alter table kept rename to jobs")
    hand.look(1)
    assert source_state.state(shop.ctx, shop.shop_id, "bench").trouble == ""
