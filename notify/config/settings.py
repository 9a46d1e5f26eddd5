"""The settings of an installation as frozen data; nothing in it is a secret, only the names of secret files."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import time
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Database:
    """`url` and `keys_url` are SQLAlchemy's; neither is shown by repr, since one may hold a password."""

    data_folder: Path
    url: str = field(repr=False)
    keys_url: str = field(repr=False)


@dataclass(frozen=True, slots=True)
class Keys:
    """Files with one key each, outside the data folder (config/key_files.py has their form)."""

    master_key_file: Path
    index_key_file: Path


@dataclass(frozen=True, slots=True)
class Web:
    """`public_url` has no slash at its end and is "" where the customer can reach no page."""

    bind: str
    port: int
    public_url: str
    trusted_proxies: int
    behind_tls: bool
    plain_lan: bool
    secret_file: Path
    debug: bool


@dataclass(frozen=True, slots=True)
class Mail:
    """Where e-mail goes: into a Maildir `folder`, or to an SMTP server."""

    transport: str
    folder: Path
    host: str
    port: int
    security: str
    username: str
    password_file: Path | None
    ca_file: Path | None
    timeout_seconds: int
    sender_name: str
    sender_address: str
    reply_to: str
    bounce_address: str


@dataclass(frozen=True, slots=True)
class Sms:
    """Text messages through an e-mail gateway; `sender` is "" for the mail sender."""

    transport: str
    template: str
    sender: str


@dataclass(frozen=True, slots=True)
class Invites:
    """`organizer` is a mailbox pattern with {token}, or "" for the mail sender."""

    organizer: str


@dataclass(frozen=True, slots=True)
class Watch:
    """One watched folder. `columns`: our word -> its column; `phase_words`: its word -> our phase, as pairs."""

    name: str
    folder: Path
    columns: tuple[tuple[str, str], ...]
    phase_words: tuple[tuple[str, str], ...]
    delimiter: str
    encoding: str
    zone: str


@dataclass(frozen=True, slots=True)
class Bell:
    """How long a notice waits, and between which shop times none leaves (equal times: never quiet)."""

    wait_seconds: int
    quiet_from: time
    quiet_until: time


@dataclass(frozen=True, slots=True)
class Limits:
    """What one request, one hour or one file may bring."""

    body_kilobytes: int
    form_parts: int
    claim_tries_an_hour: int
    sign_in_tries_an_hour: int
    watched_file_kilobytes: int
    sms_parts: int


@dataclass(frozen=True, slots=True)
class Forget:
    """When, by each shop's own clock, people whose time is over are forgotten."""

    nightly_at: time


@dataclass(frozen=True, slots=True)
class Log:
    """`file` is None for the standard error stream."""

    level: str
    form: str
    file: Path | None


@dataclass(frozen=True, slots=True)
class Settings:
    """The whole installation. Paths are absolute."""

    database: Database
    keys: Keys
    web: Web
    mail: Mail
    sms: Sms
    invite: Invites
    bell: Bell
    limits: Limits
    forget: Forget
    log: Log
    watch: tuple[Watch, ...]
