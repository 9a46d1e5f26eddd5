"""A private MariaDB server on a unix socket and a loopback port in a temporary folder, gone when the tests are over."""

from __future__ import annotations

import os
import secrets
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pymysql
import pytest

from tests.parts.missing import missing
from tests.parts.processes import UNPRIVILEGED, die_with_parent, end, free_ports, run_as

# Nothing here must survive a crash, so nothing waits for a disk.
OPTIONS = {
    "innodb-flush-log-at-trx-commit": "0", "innodb-flush-method": "nosync", "innodb-buffer-pool-size": "64M",
    "innodb-log-file-size": "32M", "skip-log-bin": "", "performance-schema": "OFF", "skip-name-resolve": "",
    "bind-address": "127.0.0.1", "character-set-server": "utf8mb4",
}  # fmt: skip
TABLES = Path("/usr/share/mysql")
NAMES = ("mysql_system_tables.sql", "mysql_system_tables_data.sql")
START_SECONDS = 60.0
READER, WRITER, PASSWORD = "reader", "writer", "lantern quay 7"  # what either may do: select; everything


class NoMariadb(Exception):
    """No server programs were found, or they did not start; the text says which."""


class Mariadb:
    """One `mariadbd`, run as `nobody` when the tests run as root. Root comes in by the socket."""

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="sb-my-"))
        self._process: subprocess.Popen[bytes] | None = None
        self.port = free_ports(1)[0]
        self.socket = self._folder / "s"

    def start(self) -> Mariadb:
        """Makes the data folder, starts the server, waits until it answers, adds a user who may only read."""
        if os.geteuid() == 0:
            shutil.chown(self._folder, *UNPRIVILEGED)
        self._make_data_folder()
        command = [*self._server(), f"--socket={self.socket}", f"--port={self.port}", f"--pid-file={self._folder}/pid"]
        with (self._folder / "log").open("wb") as log:
            self._process = subprocess.Popen(
                command, stdout=log, stderr=log, preexec_fn=die_with_parent(signal.SIGKILL), **run_as()
            )
        self._wait()
        return self

    @property
    def pid(self) -> int:
        """The server's process, for whoever wants it to hang."""
        assert self._process is not None
        return self._process.pid

    def owner(self, name: str | None = None) -> Any:
        """A driver's connection that may do everything."""
        return pymysql.connect(unix_socket=str(self.socket), user="root", database=name, autocommit=True)

    def create(self) -> str:
        """A new, empty database; its name."""
        name = f"sb{secrets.token_hex(4)}"
        self.do(f"create database {name}")
        self.do(f"grant select on {name}.* to {READER}@'%'", f"grant all on {name}.* to {WRITER}@'%'")
        return name

    def do(self, *statements: str, name: str | None = None) -> None:
        """As the owner, one after the other."""
        with closing(self.owner(name)) as line, line.cursor() as cursor:
            for one in statements:
                cursor.execute(one)

    def url(self, name: str, user: str = WRITER) -> str:
        """The address of a database as the settings have it."""
        return f"mariadb+pymysql://{user}@127.0.0.1:{self.port}/{name}"

    def stop(self) -> None:
        """At once: the data is thrown away with the folder."""
        if self._process:
            end(self._process, number=signal.SIGKILL)
        shutil.rmtree(self._folder, ignore_errors=True)

    def _server(self) -> list[str]:
        server = shutil.which("mariadbd") or shutil.which("mariadbd", path="/usr/sbin")
        if not server or not (TABLES / NAMES[0]).is_file():
            raise NoMariadb("there is no mariadbd, or no tables for it")
        options = [f"--{name}={value}" if value else f"--{name}" for name, value in OPTIONS.items()]
        return [server, "--no-defaults", f"--datadir={self._folder}/data", f"--tmpdir={self._folder}", *options]

    def _make_data_folder(self) -> None:
        """What its own script of installation does; that script wants more of Debian's packages."""
        (self._folder / "data").mkdir()
        if os.geteuid() == 0:
            shutil.chown(self._folder / "data", *UNPRIVILEGED)
        # Root comes in without a password: the folder is closed to everybody else.
        first = "create database mysql;\nuse mysql;\nset @auth_root_socket=NULL;\n"
        script = first + "\n".join((TABLES / name).read_text("utf-8") for name in NAMES)
        done = subprocess.run(
            [*self._server(), "--bootstrap"], input=script.encode(), capture_output=True, check=False, **run_as()
        )
        if done.returncode:
            raise NoMariadb(f"it made no data folder: {done.stderr.decode(errors='replace')[-400:]}")

    def _wait(self) -> None:
        deadline = time.monotonic() + START_SECONDS
        while time.monotonic() < deadline and self._process and self._process.poll() is None:
            if not self.socket.exists():
                time.sleep(0.02)
                continue
            try:
                for user in (READER, WRITER):
                    self.do(f"create user {user}@'%' identified by '{PASSWORD}'")
                self.do(f"grant file on *.* to {WRITER}@'%'")
                return
            except pymysql.OperationalError:
                time.sleep(0.05)
        log = (self._folder / "log").read_text(errors="replace")
        raise NoMariadb(f"the server did not start: {log.strip()[-400:]}")


def start_mariadb() -> Mariadb:
    """A running server; raises NoMariadb."""
    server = Mariadb()
    try:
        return server.start()
    except BaseException:
        server.stop()
        raise


@pytest.fixture(scope="session")
def mariadb() -> Iterator[Mariadb]:
    """One server per run (and per worker), started when the first test asks for it."""
    try:
        server = start_mariadb()
    except NoMariadb as error:
        missing(f"MariaDB ({error})", "run `make install`, or install Debian's mariadb-server-core")
    yield server
    server.stop()
