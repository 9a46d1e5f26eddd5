"""The settings of an installation as frozen data, without a secret. Long, since every section is a class."""

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
    connections: int
    sender_name: str
    sender_address: str
    reply_to: str
    bounce_address: str


@dataclass(frozen=True, slots=True)
class Sms:
    """How text messages leave. `sender` is the address that an e-mail gateway knows the shop by, "" for the mail's."""

    transport: str
    template: str
    sender: str


@dataclass(frozen=True, slots=True)
class SmsHttp:
    """A gateway reached by HTTP. Pairs are theirs -> ours; a field is a JSON pointer or one field's name."""

    method: str
    address: str
    form: str
    body: str
    headers: tuple[tuple[str, str], ...]
    sign_in: str
    sign_in_header: str
    sign_in_name: str
    secret_file: Path | None
    ca_file: Path | None
    this_machine: bool
    timeout_seconds: int
    answer_kilobytes: int
    good_statuses: tuple[int, ...]
    good_field: str
    good_value: str
    id_field: str
    code_field: str
    answers: tuple[tuple[str, str], ...]
    states: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class SmsHook:
    """What a gateway sends here, and how it proves that it is the gateway. Pairs are ours -> its fields."""

    proof: str
    header: str
    name: str
    secret_file: Path | None
    algorithm: str
    encoding: str
    prefix: str
    form: str
    zone: str
    receipt: tuple[tuple[str, str], ...]
    inbound: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class SmsModem:
    """A GSM modem with the shop's own SIM."""

    device: str
    connection: str


@dataclass(frozen=True, slots=True)
class Invites:
    """`organizer` is a mailbox pattern with {token}, or "" for where other answers go."""

    organizer: str


@dataclass(frozen=True, slots=True)
class Inbox:
    """The mailbox that replies and delivery reports come to: on an IMAP server, or a Maildir of this machine.

    `authserv_id` is the name by which the mail server before it says whose letters are proved (RFC 8601), "" for none.
    """

    transport: str
    host: str
    port: int
    security: str
    username: str
    password_file: Path | None
    ca_file: Path | None
    folder: str
    maildir: Path | None
    keep_days: int
    check_seconds: int
    authserv_id: str


@dataclass(frozen=True, slots=True)
class Watch:
    """One source. `columns`: our word -> its column, field or JSON pointer; words: theirs -> ours; all as pairs.

    What belongs to another kind than its own is empty. `url` may hold a name, never a password.
    """

    name: str
    kind: str
    about: str
    shop: str
    columns: tuple[tuple[str, str], ...]
    phase_words: tuple[tuple[str, str], ...]
    part_words: tuple[tuple[str, str], ...]
    zone: str
    quiet_minutes: int
    folder: Path | None
    delimiter: str
    encoding: str
    sheet: str
    keep_days: int
    url: str = field(repr=False)
    password_file: Path | None
    query: str
    changed: str
    every_seconds: int
    look_back_seconds: int
    wait_seconds: int
    secret_file: Path | None
    old_secret_file: Path | None
    form: str


@dataclass(frozen=True, slots=True)
class Listeners:
    """How the shop's own systems are told of events: which hosts of its own network may be called, and for how long."""

    inner_hosts: tuple[str, ...]
    timeout_seconds: int
    ca_file: Path | None


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
class Backup:
    """Where backups and backups of keys go (None: none are made), when, for how long, and what locks them.

    `recipient` is the public half of an age key, "" for that of the identity in `key_file`.
    """

    folder: Path | None
    keys_folder: Path | None
    nightly_at: time
    keep_days: int
    keys_keep_days: int
    key_file: Path | None
    recipient: str


@dataclass(frozen=True, slots=True)
class Paper:
    """Where, from which shop time on and for how many days the next day's sheet lies; no folder: none is written."""

    day_sheet_folder: Path | None
    day_sheet_at: time
    keep_days: int


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
    sms_http: SmsHttp
    sms_hook: SmsHook
    sms_modem: SmsModem
    invite: Invites
    inbox: Inbox
    listeners: Listeners
    bell: Bell
    limits: Limits
    forget: Forget
    backup: Backup
    paper: Paper
    log: Log
    watch: tuple[Watch, ...]
