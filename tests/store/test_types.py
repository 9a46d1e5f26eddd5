"""Instants come back as they went in, aware and in UTC, on both databases; a naive one is refused."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Column, MetaData, Table, select
from sqlalchemy.exc import StatementError

from notify.store.types import Instant

ZONES = st.sampled_from([UTC, timezone(timedelta(hours=14)), timezone(timedelta(hours=-12, minutes=-30))])
# From year 1000 on: PostgreSQL and the fixed width of SQLite's text both hold these.
MOMENTS = st.lists(
    st.datetimes(min_value=datetime(1000, 1, 3), max_value=datetime(9999, 12, 28), timezones=ZONES), min_size=1,
    max_size=20, unique=True,
)  # fmt: skip
INSTANTS = Table("instants_of_a_test", MetaData(), Column("at", Instant), Column("n", Instant, nullable=True))


@pytest.fixture
def engine(house: Any) -> Any:
    INSTANTS.create(house.ctx.db.engine)
    return house.ctx.db.engine


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(moments=MOMENTS)
def test_aware_instants_round_trip_in_utc_and_sort_in_time_order(engine: Any, moments: list[datetime]) -> None:
    with engine.execution_options(writes=True).begin() as connection:
        connection.execute(INSTANTS.delete())
        connection.execute(INSTANTS.insert(), [{"at": m, "n": None} for m in moments])
        rows = connection.execute(select(INSTANTS).order_by(INSTANTS.c.at)).all()
        first = connection.execute(select(INSTANTS.c.at).where(INSTANTS.c.at >= max(moments))).all()
    assert [row.at for row in rows] == sorted(moments)
    assert all(row.at.utcoffset() == timedelta(0) and row.n is None for row in rows)
    assert {row.at for row in first} == {max(moments)}


def test_a_time_without_a_zone_is_refused(engine: Any) -> None:
    with engine.execution_options(writes=True).begin() as connection, pytest.raises(StatementError, match="time zone"):
        connection.execute(INSTANTS.insert().values(at=datetime(2026, 11, 25, 9)))
