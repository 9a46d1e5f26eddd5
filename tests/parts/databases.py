"""An empty, migrated database per test, once on SQLite and once on PostgreSQL."""

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
def database_urls(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[str], str]]:
    """Makes fresh databases with tables, as many as a test asks for: `database_urls("sqlite")`.

    A test that asks for "postgresql" by itself carries `@pytest.mark.real`.
    """
    copies: list[Path] = []
    taken: list[str] = []

    def make(kind: str) -> str:
        if kind == "sqlite":
            copies.append(tmp_path / f"shelfbell{len(copies)}.db")
            return _copy(request.getfixturevalue("sqlite_template"), copies[-1])
        server: Databases = request.getfixturevalue("postgres_server")
        taken.append(server.create() if request.node.get_closest_marker("untouched") else server.lend())
        return server.url(taken[-1])

    yield make
    for name in taken:
        request.getfixturevalue("postgres_server").give_back(name)


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.real)])
def backend(request: pytest.FixtureRequest, database_urls: Callable[[str], str]) -> Backend:
    """The test runs twice: on SQLite, and (marked `real`) on PostgreSQL."""
    return Backend(request.param, database_urls(request.param))


def _copy(template: Path, file: Path) -> str:
    if template.exists():
        shutil.copyfile(template, file)
    return f"sqlite:///{file}"
