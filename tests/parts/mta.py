"""A real mail server of the town: Debian's Exim takes mail over, delivers into Maildirs, and sends its own reports.

It plays two houses on two ports of the loopback: the shop's own server, which takes everything, and the customers'
provider, which refuses unknown mailboxes while it is spoken to (so that the shop's server has to write the report).
Dovecot shows the mailboxes. Both run as an unprivileged user, with a private configuration and spool.
"""

from __future__ import annotations

import os
import shutil
import signal
import smtplib
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest

from tests.parts.certificates import Certificates
from tests.parts.imap_server import DOVECOT, ImapServer, hand_over, serve_dovecot
from tests.parts.missing import missing
from tests.parts.processes import UNPRIVILEGED, die_with_parent, end, free_ports, run_as

EXIM = Path("/usr/sbin/exim4")
SHOP, CUSTOMERS = "bench.quillhaven.test", "post.quillhaven.test"
COUNTER = "counter"  # the shop's one mailbox: its own address, its return addresses and its calendar's
OWNER = "bench"  # where the shop itself is told
PEOPLE = ("ines", "tam")
CONFIGURATION = """
primary_hostname = {shop}
domainlist shop = {shop}
domainlist customers = {customers}
spool_directory = {folder}/spool
log_file_path = {folder}/log/%slog
pid_file_path = {folder}/exim.pid
exim_user = {user}
exim_group = {group}
never_users =
trusted_users = {user}
deliver_drop_privilege
local_interfaces = 127.0.0.1
daemon_smtp_ports = {port} : {provider_port}
tls_advertise_hosts =
host_lookup =
rfc1413_query_timeout = 0s
keep_environment =
qualify_domain = {shop}
acl_smtp_rcpt = who

begin acl
who:
  deny
    condition = ${{if eq{{$received_port}}{{{provider_port}}}}}
    ! verify = recipient
    message = 550 5.1.1 There is no such mailbox here
  accept

begin routers
return_addresses:
  driver = redirect
  domains = +shop
  local_part_prefix = bounce- : pickup-
  data = {counter}@{shop}
shop_box:
  driver = accept
  domains = +shop
  local_parts = {counter} : {owner}
  transport = box
to_provider:
  driver = manualroute
  domains = +customers
  condition = ${{if !eq{{$received_port}}{{{provider_port}}}}}
  route_list = * 127.0.0.1
  self = send
  transport = onwards
  no_more
customer_box:
  driver = accept
  domains = +customers
  local_parts = dsearch;{mail}
  transport = box

begin transports
onwards:
  driver = smtp
  port = {provider_port}
  allow_localhost
  hosts_try_fastopen =
box:
  driver = appendfile
  directory = {mail}/$local_part_data
  maildir_format
  delivery_date_add
  envelope_to_add
  return_path_add
  user = {user}
  group = {group}

begin retry
* * F,1h,5m
"""


@dataclass(frozen=True, slots=True)
class Post:
    """The running mail of the town: `port` is the shop's server, `boxes` the mailboxes by their owner's name."""

    port: int
    boxes: dict[str, ImapServer]
    folder: Path

    def send(self, mail: EmailMessage, *, sender: str, to: str) -> None:
        """Hands a mail in as somebody's mail program does."""
        with smtplib.SMTP("127.0.0.1", self.port, timeout=10) as line:
            line.sendmail(sender, [to], mail.as_bytes())

    def letters(self, name: str, *, count: int, seconds: float = 60.0) -> list[EmailMessage]:
        """The mails in somebody's mailbox, oldest first, once there are `count`; read through IMAP."""
        until = time.monotonic() + seconds
        while True:
            client = self.boxes[name].open()
            found = [one.obj for one in client.fetch(mark_seen=False)]
            client.logout()
            if len(found) >= count:
                return found  # type: ignore[return-value]  # imap-tools parses with email's older class
            assert time.monotonic() < until, f"{len(found)} of {count} mails came to {name}\n{self.log()}"
            time.sleep(0.05)

    def log(self) -> str:
        """What the mail server wrote down."""
        return "".join(one.read_text("utf-8", "replace") for one in sorted((self.folder / "log").glob("*log")))

    def is_idle(self) -> bool:
        """Whether nothing waits in the server's queue."""
        return not any((self.folder / "spool" / "input").glob("*-H"))


@pytest.fixture
def post(certificates: Certificates) -> Iterator[Post]:
    """The town's mail, with empty mailboxes; where CI=true it must be there."""
    for program, package in ((EXIM, "exim4-daemon-light"), (DOVECOT, "dovecot-imapd")):
        if not program.exists():
            missing(f"{program.name} (a real mail server)", f"as root: apt-get install {package}")
    words = dict.fromkeys((COUNTER, OWNER, *PEOPLE), "bell-and-shelf")
    with serve_dovecot(certificates, words) as (mail, boxes), _exim(mail / "mail") as (folder, port):
        yield Post(port, boxes, folder)


@contextmanager
def _exim(mail: Path) -> Iterator[tuple[Path, int]]:
    folder = Path(tempfile.mkdtemp(prefix="sb-mta-"))
    port, provider_port = free_ports(2)
    user, group = UNPRIVILEGED if os.geteuid() == 0 else (folder.owner(), folder.group())
    for inner in (folder / "spool", folder / "log", *(mail / name for name in PEOPLE)):
        inner.mkdir(exist_ok=True)
    (folder / "exim.conf").write_text(CONFIGURATION.format(
        folder=folder, mail=mail, user=user, group=group, port=port, provider_port=provider_port,
        shop=SHOP, customers=CUSTOMERS, counter=COUNTER, owner=OWNER,
    ))  # fmt: skip
    hand_over(folder)
    hand_over(mail)
    command = [str(EXIM), "-C", str(folder / "exim.conf"), "-bdf", "-q1m"]
    quiet: Any = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}  # it writes a log of its own
    process = subprocess.Popen(command, preexec_fn=die_with_parent(signal.SIGTERM), **quiet, **run_as())
    try:
        for one in (port, provider_port):
            _wait(one, process, folder)
        yield folder, port
    finally:
        end(process)
        shutil.rmtree(folder, ignore_errors=True)


def _wait(port: int, process: subprocess.Popen[bytes], folder: Path, *, seconds: float = 60.0) -> None:
    until = time.monotonic() + seconds
    while time.monotonic() < until and process.poll() is None:
        try:
            with socket.create_connection(("127.0.0.1", port), timeout=1) as line:
                if line.recv(3) == b"220":
                    return
        except OSError:
            pass
        time.sleep(0.02)
    written = "".join(one.read_text() for one in (folder / "log").glob("*log"))
    raise AssertionError(f"the mail server did not answer on its port\n{written}")
