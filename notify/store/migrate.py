"""Brings a database to today's tables, one step after the other, and says how far it is."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect, text

from notify.core.errors import Misconfigured
from notify.store.engine import open_engine
from notify.store.schema import shops

if TYPE_CHECKING:
    from alembic.config import Config


VERSION_TABLE = "alembic_version"


def upgrade(url: str) -> None:
    """Brings the database at `url` to the newest step; does nothing when it is there."""
    engine = open_engine(url, pooled=False)
    try:
        upgrade_engine(engine)
    finally:
        engine.dispose()


def upgrade_engine(engine: Engine) -> None:
    """Like upgrade, on an open engine. Two processes that start at once wait for each other."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        if engine.dialect.name == "postgresql":
            connection.execute(text("select pg_advisory_xact_lock(739155)"))
        found = current(connection)
        if found != newest():
            _need_known(connection, found)
            _run(connection)


def _need_known(connection: Connection, found: str) -> None:
    """Raises Misconfigured for a step that is none of ours to go on from, and for our tables without any step."""
    if found not in steps() if found else inspect(connection).has_table(shops.name):
        raise Misconfigured(
            f"The database says that it is at step {found[:40] or 'none'}, which this program does not know",
            "Nothing was changed. Use the program that it was made with, or restore another backup.",
            field="database.url",
        )


def check_current(engine: Engine, *, or_older: bool = False) -> None:
    """Raises Misconfigured when the database is older (unless that will do) or newer than this program."""
    with engine.connect() as connection:
        found = current(connection)
    if found != newest() and not (or_older and found in steps()):
        raise Misconfigured(
            f"The database is at step {found or 'none'}, this program needs {newest()}",
            "Run `shelfbell upgrade` (make a backup first), or use the program that matches.",
            field="database.url",
        )


def current(connection: Connection) -> str:
    """The step the database is at; empty for an empty one. Without alembic, which takes long to import."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return ""
    return str(connection.execute(text(f"select version_num from {VERSION_TABLE}")).scalar() or "")  # noqa: S608


def newest() -> str:
    """The newest step this program knows."""
    return max(steps(), default="")


def steps() -> frozenset[str]:
    """Every step this program knows: each file of `versions` begins with its step, in order."""
    files = (Path(__file__).parent / "migrations" / "versions").glob("*_*.py")
    return frozenset(step for step in (file.name.partition("_")[0] for file in files) if step.isdigit())


def _run(connection: Connection) -> None:
    # alembic takes a third of a second to import: only when there is something to do.
    from alembic import command

    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _config() -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("path_separator", "os")
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    return config
