"""A fresh, migrated database per test, once on SQLite and once on PostgreSQL."""

from __future__ import annotations

import importlib
import importlib.util
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.parts.missing import missing
from tests.parts.postgres import Databases, NoPostgres, open_databases

MIGRATE = "notify.store.migrate"


@dataclass(frozen=True, slots=True)
class Backend:
    """Which database it is ("sqlite" or "postgresql") and the address for the product's settings."""

    name: str
    url: str


def fill_with_tables(url: str) -> None:
    """Bring an empty database to the newest schema, with the product's own migrations."""
    if importlib.util.find_spec("notify.store") and importlib.util.find_spec(MIGRATE):
        importlib.import_module(MIGRATE).upgrade(url)


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[Databases]:
    """One server per run (and per worker), with a template that holds the newest schema."""
    try:
        databases = open_databases()
    except NoPostgres as error:
        missing(f"PostgreSQL ({error})", "run `make install`")
    try:
        databases.fill_template(fill_with_tables)
        yield databases
    finally:
        databases.close()


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed SQLite file with the newest schema; each test gets its own copy."""
    file = tmp_path_factory.mktemp("template") / "template.db"
    fill_with_tables(f"sqlite:///{file}")
    return file


@pytest.fixture
def new_sqlite_url(sqlite_template: Path, tmp_path: Path) -> str:
    """The address of a fresh SQLite file with tables."""
    file = tmp_path / "shelfbell.db"
    if sqlite_template.exists():
        shutil.copyfile(sqlite_template, file)
    return f"sqlite:///{file}"


@pytest.fixture
def new_postgres_url(request: pytest.FixtureRequest) -> Iterator[str]:
    """The address of a fresh PostgreSQL database with tables; it is dropped after the test."""
    server: Databases = request.getfixturevalue("postgres_server")
    name = server.create()
    yield server.url(name)
    server.drop(name)


BACKENDS = ["sqlite", pytest.param("postgresql", marks=pytest.mark.real)]


@pytest.fixture(params=BACKENDS)
def backend(request: pytest.FixtureRequest) -> Backend:
    """The test runs twice: on SQLite, and (marked `real`) on PostgreSQL."""
    source = "new_sqlite_url" if request.param == "sqlite" else "new_postgres_url"
    return Backend(request.param, request.getfixturevalue(source))


@pytest.fixture
def database_urls(tmp_path: Path, sqlite_template: Path) -> Callable[[str], str]:
    """Makes as many fresh SQLite databases as a test asks for, by name."""

    def make(name: str) -> str:
        file = tmp_path / f"{name}.db"
        if sqlite_template.exists():
            shutil.copyfile(sqlite_template, file)
        return f"sqlite:///{file}"

    return make
