"""Other systems' databases, as shops have them: a file, or a database of a real server, filled by their owner."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tests.parts.mariadb import PASSWORD, Mariadb
from tests.parts.postgres import Databases

KINDS = ("sqlite", pytest.param("postgresql", marks=pytest.mark.real), pytest.param("mariadb", marks=pytest.mark.real))


@dataclass(frozen=True, slots=True)
class Foreign:
    """One of them: its kind, the address and password for the settings, and its owner's hand."""

    kind: str
    url: str
    password: str
    open: Callable[[], Any]

    def do(self, *statements: str, rows: Sequence[Sequence[Any]] = ()) -> None:
        """As its owner, committed; with `rows` the last statement once for each, its places written as ?."""
        line = self.open()
        try:
            cursor = line.cursor()
            for statement in statements[:-1] if rows else statements:
                cursor.execute(statement)
            if rows:
                mark = "?" if self.kind == "sqlite" else "%s"
                cursor.executemany(statements[-1].replace("?", mark), rows)
            line.commit()
        finally:
            line.close()

    def ask(self, statement: str) -> list[tuple[Any, ...]]:
        """What its owner reads."""
        line = self.open()
        try:
            cursor = line.cursor()
            cursor.execute(statement)
            return [tuple(row) for row in cursor.fetchall()]
        finally:
            line.close()


@pytest.fixture
def make_foreign(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[str], Foreign]]:
    """Makes an empty one of a kind; a test that asks for a server's carries `real`."""
    made: list[Callable[[], None]] = []

    def make(kind: str) -> Foreign:
        if kind == "sqlite":
            file = tmp_path / f"theirs{len(made)}.db"
            made.append(lambda: None)
            return Foreign(kind, f"sqlite:///{file}", "", lambda: sqlite3.connect(file))
        if kind == "postgresql":
            server: Databases = request.getfixturevalue("postgres_server")
            name = server.create()
            made.append(lambda: server.drop(name))
            url = server.url(name)
            address = url.replace("postgresql+psycopg", "postgresql")
            return Foreign(kind, url, "", lambda: psycopg.connect(address))
        other: Mariadb = request.getfixturevalue("mariadb")
        base = other.create()
        made.append(lambda: other.do(f"drop database {base}"))
        return Foreign(kind, other.url(base), PASSWORD, lambda: other.owner(base))

    yield make
    for drop in made:
        drop()


@pytest.fixture(params=KINDS)
def foreign(request: pytest.FixtureRequest, make_foreign: Callable[[str], Foreign]) -> Foreign:
    """The test runs for each kind of database; those of servers are marked `real`."""
    return make_foreign(request.param)
