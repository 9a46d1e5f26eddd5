"""The shortcut that reads a database's step agrees with alembic itself."""

from __future__ import annotations

from pathlib import Path

from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from notify.store import migrate
from notify.store.engine import open_engine
from tests.parts.databases import Backend


def test_the_newest_step_by_file_names_is_the_head_that_alembic_sees() -> None:
    config = Config()
    config.set_main_option("path_separator", "os")
    config.set_main_option("script_location", str(Path(migrate.__file__).parent / "migrations"))
    assert migrate.newest() == ScriptDirectory.from_config(config).get_current_head()


def test_the_step_of_a_database_is_read_as_alembic_reads_it(backend: Backend) -> None:
    engine = open_engine(backend.url, pooled=False)
    with engine.connect() as connection:
        assert migrate.current(connection) == MigrationContext.configure(connection).get_current_revision()
    engine.dispose()


def test_an_empty_database_is_at_no_step(tmp_path: Path) -> None:
    engine = open_engine(f"sqlite:///{tmp_path / 'empty.db'}", pooled=False)
    with engine.connect() as connection:
        assert migrate.current(connection) == ""
    engine.dispose()
