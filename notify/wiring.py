"""The one composition root, which tests use too. Longer than other rooms: all of the house is put together here."""

from __future__ import annotations

import os
import random
import secrets
import time
import uuid
import zoneinfo
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from notify.almanac.public_days import PublicDays
from notify.channels.base import Channel
from notify.channels.folder import FolderChannel
from notify.channels.gammu_modem import gammu_modem
from notify.channels.http_call import Caller
from notify.channels.http_target import target
from notify.channels.sms_http import Gateway, HttpSms, sign_in_headers
from notify.channels.sms_mailgate import SmsMailgate
from notify.channels.sms_modem import SmsModem
from notify.channels.sms_text import NO_GATEWAY
from notify.channels.smtp import SmtpChannel, SmtpSettings
from notify.config.key_files import read_key, read_password, read_ring
from notify.config.settings import Settings
from notify.core.errors import Misconfigured
from notify.core.languages import LANGUAGES
from notify.core.telling_hours import week_around
from notify.dispatch.compose import Composer, Sending
from notify.dispatch.decent_hours import DecentHours
from notify.dispatch.deliver import Dispatcher
from notify.dispatch.look_again import Rules
from notify.dispatch.prepare import Preparer
from notify.dispatch.tell_listeners import Teller
from notify.flows.context import Clock, Context
from notify.paths import templates_folder
from notify.render import sms as sms_text
from notify.render.email import Mailbox
from notify.render.preview import Wordings
from notify.render.texts import Texts
from notify.render.words import Words
from notify.store import migrate, shops
from notify.store.database import Database
from notify.store.engine import open_engine
from notify.store.key_rings import Key, Ring
from notify.store.vault import Vault


def system_clock() -> datetime:
    """Now, aware, in UTC: the only place that reads the machine's clock."""
    return datetime.now(UTC)


def _running() -> float:
    """Seconds that nobody can set: those asleep are counted where the system tells them (Linux: CLOCK_BOOTTIME)."""
    return time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic()


@dataclass(frozen=True, slots=True)
class Services:
    """Everything a face may use. Made by `build`, closed by `close`."""

    settings: Settings
    context: Context
    dispatcher: Dispatcher
    teller: Teller
    channels: Mapping[str, Channel]
    texts: Texts
    words: Words
    page_words: Words
    sample_words: Words
    secret: bytes
    templates: Path
    hook_secret: str = field(default="", repr=False)
    running: Callable[[], float] = _running
    _looked: dict[str, float] = field(default_factory=dict, repr=False)

    def shop_ids(self) -> tuple[str, ...]:
        """Every shop of the installation."""
        return shops.shop_ids(self.context.db)

    def wordings(self) -> Wordings:
        """The texts with their words and invented facts: for looking at any message before it is sent."""
        return Wordings(self.texts, self.words.get, self.sample_words.get, self.settings.limits.sms_parts)

    def rest(self) -> None:
        """A breath between two pieces of long work, so that others who wait to write have their turn.

        Longer than the 100 ms for which SQLite's own busy handler sleeps between two looks: whoever sleeps through
        every breath would wait to the end (measured: a form took 1.1 s beside 1,000 people with 20 ms).
        """
        time.sleep(0.11)

    def since_last_look(self) -> timedelta | None:
        """How long this machine says that it has been running since this was asked last; None the first time."""
        before, now = self._looked.get("at"), self.running()
        self._looked["at"] = now
        return timedelta(seconds=now - before) if before is not None else None

    def drop_copies(self, message_ids: Sequence[str]) -> int:
        """Removes the copies of these messages that channels keep on this machine (Maildir); how many."""
        keepers = {id(way): way for way in self.channels.values() if isinstance(way, FolderChannel)}
        return sum(way.forget(message_ids) for way in keepers.values())

    def close(self) -> None:
        """Gives connections back; the service stops."""
        for channel in self.channels.values():
            close = getattr(channel, "close", None)
            if close is not None:
                close()
        self.context.db.close()


def build(
    settings: Settings,
    *,
    clock: Clock = system_clock,
    new_id: Callable[[], str] = lambda: str(uuid.uuid4()),
    pick: Callable[[int], int] = secrets.randbelow,
    jitter: Callable[[], float] = random.random,
    channels: Mapping[str, Channel] | None = None,
    upgrade: bool = False,
    or_older: bool = False,
    fault: Callable[[str], None] = lambda point: None,
    running: Callable[[], float] = _running,
) -> Services:
    """Wires the installation.

    With `upgrade` the database is brought to today's tables first; with `or_older` one of an older step will do, for a
    backup before its upgrade. Raises Misconfigured when keys, database or secret do not fit; nothing is changed then.
    """
    # Zone data of the package only: the system's may be older than the clock changes of 2026.
    zoneinfo.reset_tzpath(to=[])
    vault, secret = _open_vault(settings), _read_secret(settings)
    db = Database(settings.database.url, vault=vault, new_id=new_id, almanac=PublicDays())
    vault.prepare(clock())  # first: the wrong key file must be found before anything is changed
    if upgrade:
        migrate.upgrade_engine(db.engine)
    else:
        migrate.check_current(db.engine, or_older=or_older)
    ways = dict(channels) if channels is not None else _channels(settings, fault)
    templates = templates_folder()
    words, texts = Words(templates / "words"), Texts(templates / "messages", LANGUAGES)
    bell = settings.bell
    week = week_around(bell.quiet_from, bell.quiet_until)
    context = Context(
        db=db, clock=clock, new_id=new_id, pick=pick, public_url=settings.web.public_url,
        bell=timedelta(seconds=settings.bell.wait_seconds), channels_on=frozenset(ways),
        words=words.get, organizer=_organizer(settings), week=week,
    )  # fmt: skip
    preparer = Preparer(
        Composer(texts, lambda code: words.get(code), _sending(settings, secret)),
        Rules(context.bell, DecentHours(week), frozenset(ways)),
    )
    dispatcher = Dispatcher(
        db=db, preparer=preparer, channels=ways, clock=clock, jitter=jitter, name=new_id(), fault=fault,
    )  # fmt: skip
    teller = Teller(
        db=db, clock=clock, jitter=jitter, name=dispatcher.name, inner_hosts=settings.listeners.inner_hosts,
        patience=float(settings.listeners.timeout_seconds), ca_file=settings.listeners.ca_file, fault=fault,
    )  # fmt: skip
    page_words, samples = Words(templates / "words", prefix="page."), Words(templates / "words", prefix="sample.")
    return Services(settings, context, dispatcher, teller, ways, texts, words, page_words, samples, secret, templates,
                    _read_hook_secret(settings), running)  # fmt: skip


def check_keys(settings: Settings) -> None:
    """Raises Misconfigured when the key files are not those of this installation; for whoever changes its tables."""
    vault = _open_vault(settings)
    try:
        vault.check()
    finally:
        vault.engine.dispose()


def _open_vault(settings: Settings) -> Vault:
    files = (settings.keys.master_key_file, settings.keys.index_key_file)
    fields = ("keys.master_key_file", "keys.index_key_file")

    def reread() -> tuple[Ring, Ring]:
        master, index = (read_ring(file, field=name) for file, name in zip(files, fields, strict=True))
        return tuple(Key(*one) for one in master), tuple(Key(*one) for one in index)

    def stamp() -> object:
        return tuple(_stamp(file) for file in files)

    master, index = reread()
    # Files of this service are for its own user only, the journals of SQLite included.
    os.umask(0o077)
    settings.database.data_folder.mkdir(parents=True, exist_ok=True)
    engine = open_engine(settings.database.keys_url)
    return Vault(engine, master=master, index=index, reread=reread, stamp=stamp)


def _stamp(file: Path) -> object:
    """What differs when a file was put in the place of another one."""
    try:
        about = file.stat()
    except OSError:  # not there for a moment: as it was
        return None
    return about.st_ino, about.st_mtime_ns, about.st_size


def _read_secret(settings: Settings) -> bytes:
    return read_key(settings.web.secret_file, field="web.secret_file")[1]


def _read_hook_secret(settings: Settings) -> str:
    """What proves that a receipt comes from the gateway; empty while none is taken."""
    hook = settings.sms_hook
    if hook.proof == "off" or hook.secret_file is None:
        return ""
    return read_password(hook.secret_file, field="sms.hook.secret_file")


def _channels(settings: Settings, fault: Callable[[str], None]) -> dict[str, Channel]:
    """The ways out that are set up: `email` always, `sms` when a gateway is configured."""
    carrier = _mail_channel(settings, fault)
    ways: dict[str, Channel] = {"email": carrier}
    match settings.sms.transport:
        case "mailgate":
            ways["sms"] = SmsMailgate(carrier, settings.sms.template)
        case "http":
            ways["sms"] = _http_gateway(settings)
        case "modem":
            ways["sms"] = SmsModem(
                gammu_modem(settings.sms_modem.device, settings.sms_modem.connection), split=sms_text.split,
                is_plain=lambda text: sms_text.count(text).encoding == "GSM-7",
            )  # fmt: skip
    return ways


def _http_gateway(settings: Settings) -> Channel:
    told = settings.sms_http
    secret = ""
    if told.sign_in != "none" and told.secret_file is not None:
        secret = read_password(told.secret_file, field="sms.http.secret_file")
    signed = sign_in_headers(told.sign_in, header=told.sign_in_header, name=told.sign_in_name, secret=secret)
    receipts = settings.web.public_url if settings.sms_hook.proof != "off" else ""
    gateway = Gateway(
        method=told.method, form=told.form, body=told.body, headers=told.headers + signed,
        callback=f"{receipts}/hooks/sms/receipt" if receipts else "", good_statuses=told.good_statuses,
        good_field=told.good_field, good_value=told.good_value, id_field=told.id_field, code_field=told.code_field,
        answers=dict(told.answers),
    )  # fmt: skip
    return HttpSms(gateway, Caller(
        target(told.address, this_machine=told.this_machine), patience=float(told.timeout_seconds),
        most=told.answer_kilobytes * 1024, ca_file=told.ca_file,
    ))  # fmt: skip


def _mail_channel(settings: Settings, fault: Callable[[str], None]) -> Channel:
    mail = settings.mail
    if mail.transport == "folder":
        return FolderChannel(mail.folder)
    if mail.transport != "smtp":
        raise Misconfigured(f"mail.transport is {mail.transport!r}", "Use folder or smtp.", field="mail.transport")
    password = read_password(mail.password_file, field="mail.password_file") if mail.password_file else ""
    told = SmtpSettings(
        host=mail.host, port=mail.port, security=mail.security,  # type: ignore[arg-type]  # config checks it
        username=mail.username, password=password,
        ca_file=mail.ca_file, timeout=mail.timeout_seconds, connections=mail.connections,
    )  # fmt: skip
    return SmtpChannel(told, fault=fault)


def _organizer(settings: Settings) -> str:
    """Where calendars answer to: a mailbox of their own if there is one, else where other answers go."""
    mail = settings.mail
    return settings.invite.organizer or mail.reply_to or mail.sender_address


def _sending(settings: Settings, secret: bytes) -> Sending:
    mail = settings.mail
    return Sending(
        sender=Mailbox(mail.sender_name, mail.sender_address), reply_to=mail.reply_to,
        organizer=_organizer(settings),
        sms_template=settings.sms.template if settings.sms.transport == "mailgate" else NO_GATEWAY,
        public_url=settings.web.public_url, bounce=mail.bounce_address, bounce_key=secret, stop_key=secret,
        sms_sender=settings.sms.sender if settings.sms.transport == "mailgate" else "",
        sms_parts=settings.limits.sms_parts,
    )  # fmt: skip
