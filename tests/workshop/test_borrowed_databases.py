"""The databases that tests borrow are real, fresh and apart from each other."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest
from sqlalchemy import create_engine, inspect, text

from tests.parts.databases import Backend
from tests.parts.postgres import Databases


@pytest.mark.parametrize("round_", [1, 2])
def test_each_test_gets_a_database_that_no_other_test_has_touched(backend: Backend, round_: int) -> None:
    engine = create_engine(backend.url)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE left_by_a_test (id integer)"))
    assert engine.dialect.name == backend.name
    engine.dispose()


@pytest.mark.parametrize("kind", ["sqlite", pytest.param("postgresql", marks=pytest.mark.real)])
def test_a_test_may_ask_for_several_databases_that_are_apart(database_urls: Callable[[str], str], kind: str) -> None:
    first, second = database_urls(kind), database_urls(kind)
    engine = create_engine(first)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE only_here (id integer)"))
    other = create_engine(second)
    assert not inspect(other).has_table("only_here")
    assert inspect(other).get_table_names()
    engine.dispose()
    other.dispose()


def databases_of(server: Databases) -> set[str]:
    """The names that the server itself knows."""
    engine = create_engine(server.url("postgres"))
    with engine.connect() as connection:
        names = set(connection.execute(text("select datname from pg_database")).scalars())
    engine.dispose()
    return names


@pytest.mark.real
def test_every_copy_of_the_template_is_another_one_and_goes_again(postgres_server: Databases) -> None:
    began = time.perf_counter()
    names = [postgres_server.create() for _ in range(5)]
    milliseconds = (time.perf_counter() - began) * 1000 / len(names)
    there = databases_of(postgres_server)
    for name in names:
        postgres_server.drop(name)
    print(f"FIGURE postgres_copy databases={len(names)} ms_each={milliseconds:.0f}")
    assert len(set(names)) == 5 and set(names) <= there and not set(names) & databases_of(postgres_server)


@pytest.mark.real
def test_the_private_server_cannot_be_reached_over_the_network(postgres_server: Databases) -> None:
    engine = create_engine(postgres_server.url("postgres"))
    with engine.connect() as connection:
        assert connection.scalar(text("SHOW listen_addresses")) == ""
    engine.dispose()
