"""A real IMAP server with one mailbox: Dovecot with a private configuration, else a small one in Python."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from imap_tools import MailBox, MailBoxUnencrypted

from tests.parts.certificates import Certificates
from tests.parts.missing import missing
from tests.parts.processes import UNPRIVILEGED, die_with_parent, end, free_ports, run_as

DOVECOT = Path("/usr/sbin/dovecot")
START_SECONDS = 60.0
# Every folder and every process belongs to one unprivileged user; nothing is read from the system's own set-up.
CONFIGURATION = """
protocols = imap
listen = 127.0.0.1
base_dir = {folder}/run
state_dir = {folder}/state
log_path = {folder}/log
instance_name = {instance}
default_internal_user = {user}
default_internal_group = {group}
default_login_user = {user}
first_valid_uid = 1
disable_plaintext_auth = no
ssl = yes
ssl_cert = <{folder}/server.pem
ssl_key = <{folder}/server.key
mail_location = maildir:{folder}/mail/%n
passdb {{
  driver = passwd-file
  args = scheme=PLAIN {folder}/passwords
}}
userdb {{
  driver = static
  args = uid={user} gid={group} home={folder}/home/%n
}}
service imap-login {{
  chroot =
  inet_listener imap {{
    port = {port}
  }}
  inet_listener imaps {{
    port = {tls_port}
  }}
}}
service anvil {{
  chroot =
}}
service stats {{
  chroot =
}}
"""


@dataclass(frozen=True, slots=True)
class ImapServer:
    """Where the mailbox is. `kind` is "dovecot" (TLS on `tls_port`, checked by `ca_file`) or "pymap" (no TLS)."""

    kind: str
    host: str
    port: int
    user: str
    password: str
    tls_port: int = 0
    ca_file: Path | None = None

    def open(self) -> MailBox | MailBoxUnencrypted:
        """A signed-in client that a test uses to put mails in and to look; close it with `.logout()`."""
        if self.ca_file is None:
            return MailBoxUnencrypted(self.host, self.port, timeout=10).login(self.user, self.password)
        trusting = ssl.create_default_context(cafile=str(self.ca_file))
        return MailBox(self.host, self.tls_port, timeout=10, ssl_context=trusting).login(self.user, self.password)

    def put(self, mail: bytes, *, folder: str = "INBOX") -> None:
        """Lay one mail into the mailbox, unread."""
        client = self.open()
        try:
            client.append(mail, folder)
        finally:
            client.logout()


@pytest.fixture
def imap_server(certificates: Certificates) -> Iterator[ImapServer]:
    """A fresh, empty mailbox; where CI=true it must be Dovecot's."""
    if DOVECOT.exists():
        yield from _dovecot(certificates)
    elif os.environ.get("CI", "").lower() == "true":
        missing("Dovecot's IMAP server", "as root: apt-get install dovecot-imapd")
    else:
        yield from _pymap()


def _dovecot(certificates: Certificates) -> Iterator[ImapServer]:
    with serve_dovecot(certificates, {"shop": "bell-and-shelf"}) as (_, servers):
        yield servers["shop"]


@contextmanager
def serve_dovecot(
    certificates: Certificates, passwords: Mapping[str, str]
) -> Iterator[tuple[Path, dict[str, ImapServer]]]:
    """Runs a Dovecot with a mailbox for each name: its folder, whose `mail/<name>` are Maildirs, and the mailboxes."""
    folder = Path(tempfile.mkdtemp(prefix="sb-imap-"))
    port, tls_port = free_ports(2)
    servers = {
        name: ImapServer("dovecot", "localhost", port, name, password, tls_port, certificates.ca_file)
        for name, password in passwords.items()
    }
    process = None
    try:
        _lay_out(folder, servers, certificates)
        command = [str(DOVECOT), "-F", "-c", str(folder / "dovecot.conf")]
        process = subprocess.Popen(command, preexec_fn=die_with_parent(signal.SIGTERM), **run_as())
        _wait(next(iter(servers.values())), process)
        yield folder, servers
    except TimeoutError as error:
        log = folder / "log"
        raise AssertionError(f"{error}\n{log.read_text() if log.exists() else ''}") from error
    finally:
        if process:
            end(process)
        shutil.rmtree(folder, ignore_errors=True)


def _lay_out(folder: Path, servers: Mapping[str, ImapServer], certificates: Certificates) -> None:
    user, group = UNPRIVILEGED if os.geteuid() == 0 else (folder.owner(), folder.group())
    for name in ("run", "state", "mail", "home"):
        (folder / name).mkdir()
    shutil.copy(certificates.certificate, folder / "server.pem")
    shutil.copy(certificates.key, folder / "server.key")
    (folder / "passwords").write_text("".join(f"{one.user}:{one.password}\n" for one in servers.values()))
    ports = next(iter(servers.values()))
    places = {"folder": folder, "port": ports.port, "tls_port": ports.tls_port, "instance": folder.name}
    (folder / "dovecot.conf").write_text(CONFIGURATION.format(user=user, group=group, **places))
    hand_over(folder)


def hand_over(folder: Path) -> None:
    """As root: gives the folder, and all in it, to the user whom the servers run as."""
    if os.geteuid() == 0:
        for path in (folder, *folder.rglob("*")):
            shutil.chown(path, *UNPRIVILEGED)


def _pymap() -> Iterator[ImapServer]:
    """pymap's in-memory back end; its demonstration user starts with an inbox that is emptied here."""
    [port] = free_ports(1)
    server = ImapServer("pymap", "127.0.0.1", port, "demouser", "demopass")
    program = str(Path(sys.executable).with_name("pymap"))
    command = [program, "--host", "127.0.0.1", "--port", str(port), "--no-tls", "dict", "--demo-data"]
    dying = die_with_parent(signal.SIGTERM)
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, preexec_fn=dying)
    try:
        _wait(server, process)
        client = server.open()
        client.delete([mail.uid for mail in client.fetch(mark_seen=False) if mail.uid])
        client.logout()
        yield server
    finally:
        end(process)


def _wait(server: ImapServer, process: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + START_SECONDS
    while time.monotonic() < deadline and process.poll() is None:
        try:
            with socket.create_connection((server.host, server.port), timeout=1) as connection:
                if connection.recv(4):
                    return
        except OSError:
            pass
        time.sleep(0.02)
    raise TimeoutError(f"the IMAP server ({server.kind}) did not answer on its port")
