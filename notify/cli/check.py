"""Say everything that is wrong with an installation, and how to put it right; send a test message to the shop only."""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import asdict

import click

from notify.channels.base import Outgoing, Verdict
from notify.cli.desk import Command, Desk, pass_desk, table
from notify.cli.shop_findings import shop_findings
from notify.config.checks import check_file, known_wal_race
from notify.config.finding import Finding
from notify.config.load import load
from notify.core.errors import Misconfigured, NotifyError
from notify.core.languages import LANGUAGES
from notify.flows import view_at_bench, view_backup, view_late
from notify.flows.view_desk import view_shop
from notify.flows.view_gateway import unknown_words
from notify.inbox.place import open_mailbox
from notify.paths import templates_folder
from notify.render.email import Mailbox, compose_mail
from notify.render.preview import Wordings, faults
from notify.render.text_sizes import FOREIGN_DEVICE, TextSize, text_sizes
from notify.render.texts import Texts
from notify.render.words import Words
from notify.wiring import Services, build, system_clock

BAD = 6  # the exit code of a wrong installation


@click.command("check", cls=Command)
@click.option("--send-test", is_flag=True, help="Send a test message to the shop's own address, and to nobody else.")
@click.option("--texts", "sizes", is_flag=True, help="Also list what each text message costs, with invented facts.")
@pass_desk
def check(desk: Desk, send_test: bool, sizes: bool) -> int:
    """Look at settings, keys, folders, texts and database; every problem at once, each with its cure.

    Shows no secret. Ends with 6 when something must be put right before the service may start.
    """
    found = [*check_file(desk.config_file, now=system_clock()), *_texts()]
    if not any(one.refuses for one in found):
        found += _database(desk)
    if not any(one.refuses for one in found):
        found += _mailbox(desk)
    good = not any(one.refuses for one in found)
    told = [_line(one) for one in sorted(found, key=lambda one: not one.refuses)]
    sent = [_send_test(desk)] if send_test and good else []
    listed = text_sizes(_wordings(), LANGUAGES, now=system_clock()) if sizes and good else ()
    shown = {"good": good, "findings": [asdict(one) for one in found], "sqlite": sqlite_said(), "test_message": sent}
    shown |= {"text_messages": [one.as_told() for one in listed]} if sizes else {}
    end = "Everything is as it should be." if good else "The service will not start before that is put right."
    desk.show(
        shown, *told, *_size_lines(listed), f"SQLite {sqlite_said()['version']}: {sqlite_said()['said']}.", *sent, end
    )
    return 0 if good else BAD


def sqlite_said() -> dict[str, str]:
    """The version in use and whether it is among those with the WAL-reset race (config/checks.py has the source)."""
    race = known_wal_race(sqlite3.sqlite_version_info)
    said = "has the known WAL race; one process checkpoints here, which avoids it" if race else "has no known WAL race"
    return {"version": sqlite3.sqlite_version, "said": said}


def _line(one: Finding) -> str:
    return f"{'WRONG' if one.refuses else 'mind '}  {one.what}. {one.cure}"


def _size_lines(sizes: Sequence[TextSize]) -> list[str]:
    """The table of `--texts`."""
    if not sizes:
        return []
    head = ("language", "notice", "alphabet", "units", "parts", "first sign outside GSM-7", "with a foreign name")
    rows = [(one.language, one.notice, one.count.encoding, one.count.units, one.count.parts, one.place_in_words(),
             f"{one.foreign.encoding}, {one.foreign.parts}") for one in sizes]  # fmt: skip
    foreign = f"The last column: with a device called “{FOREIGN_DEVICE}”. Its letters are kept, and cost more parts."
    return [*table(rows, head=head), foreign]


def _wordings() -> Wordings:
    templates = templates_folder()
    texts, words = Texts(templates / "messages", LANGUAGES), Words(templates / "words")
    return Wordings(texts, words.get, Words(templates / "words", prefix="sample.").get)


def _texts() -> list[Finding]:
    templates, made = templates_folder(), _wordings()
    words, samples = Words(templates / "words"), Words(templates / "words", prefix="sample.")
    wrong = [*made.texts.problems(), *words.problems(LANGUAGES), *samples.problems(LANGUAGES)]
    if not wrong:  # only sound texts can be filled
        wrong = list(dict.fromkeys(faults(made, LANGUAGES, now=system_clock())))
    return [Finding("templates", line.rstrip("."), "Correct that line.") for line in wrong]


def _database(desk: Desk) -> list[Finding]:
    try:
        services = build(load(desk.config_file))
    except Misconfigured as problem:
        return [Finding(problem.field or "database.url", problem.what, problem.advice)]
    except Exception as error:
        if type(error).__module__.partition(".")[0] != "sqlalchemy":
            raise
        return [Finding("database.url", "database.url: the database cannot be reached", "Is its server running?")]
    try:
        if not services.shop_ids():
            return [Finding("database.url", "There is no shop in the database yet", "Run `shelfbell init` anew.")]
        return [*shop_findings(services), *_backups(services)] + [
            one for shop_id in services.shop_ids()
            for one in (*_late(services, shop_id), *_no_times(services, shop_id), *_unexplained(services, shop_id))
        ]  # fmt: skip
    finally:
        services.close()


def _backups(services: Services) -> Iterator[Finding]:
    """That the newest good backup is too old, or that the last try failed; nothing where none is to be made."""
    seen = view_backup.view(services.context)
    if services.settings.backup.folder is None or not (seen.late or seen.failed):
        return
    newest = "there is none yet" if seen.never else f"the newest good one is of {seen.good_at:%Y-%m-%d %H:%M} UTC"
    first = f"The try of {seen.failed_at:%Y-%m-%d %H:%M} UTC gave no backup; " if seen.failed else ""
    yield Finding(
        "backup.folder", f"backup.folder: {first}{newest}", "Run `shelfbell backup`: it says what is wrong.",
        refuses=False,
    )  # fmt: skip


def _late(services: Services, shop_id: str) -> Iterator[Finding]:
    """Messages that might have left and have not, for longer than the shop's alarm."""
    found = view_late.view(services.context, shop_id)
    if found.late:
        hours, minutes = divmod(int(found.late_for.total_seconds()) // 60, 60)
        yield Finding(
            "alarm_minutes", f"{found.late} of {found.waiting} waiting messages might have left, the oldest for "
            f"{hours} h {minutes:02} min", "Does `shelfbell serve` run? `shelfbell messages` says why each waits.",
            refuses=False,
        )  # fmt: skip


def _no_times(services: Services, shop_id: str) -> Iterator[Finding]:
    """What keeps ready times from being named."""
    found = view_at_bench.view(services.context, shop_id)
    told = (
        (found.nobody, "staff", "Nobody is at the bench, so no ready time can be named",
         "Say who repairs: `shelfbell staff bench NAME on`."),
        (found.all_away, "staff", "Whoever repairs is away for the whole coming week",
         "If somebody is here after all: `shelfbell staff back NAME`."),
        (found.never_open, "hours", "The shop is never open, so no ready time can be named",
         "Set its hours: `shelfbell shop hours`."),
    )  # fmt: skip
    yield from (Finding(field, what, cure, refuses=False) for holds, field, what, cure in told if holds)
    for name in found.idle_suppliers:
        yield Finding(
            "suppliers", f"The supplier {name} has no working day to come", "Correct its days under settings.",
            refuses=False,
        )  # fmt: skip


def _unexplained(services: Services, shop_id: str) -> Iterator[Finding]:
    """Words of the gateway that count as unknown; each is shown once, with how many messages it was said of."""
    words = unknown_words(services.context, shop_id)
    if words:
        listed = ", ".join(f"“{word}” ({number})" for word, number in words.items())
        yield Finding(
            "sms.http.states", f"sms.http.states does not explain what the gateway said of text messages: {listed}",
            "Look the words up in the gateway's manual and add them.", refuses=False,
        )  # fmt: skip


def _mailbox(desk: Desk) -> list[Finding]:
    """Tries the sign-in. The service starts without it: what customers write waits in the mailbox."""
    inbox = desk.settings.inbox
    if inbox.transport == "off":
        return []
    try:
        open_mailbox(inbox).close()
    except NotifyError as problem:
        return [Finding(problem.field or "inbox.host", problem.what, problem.advice, refuses=False)]
    return []


def _send_test(desk: Desk) -> str:
    """One mail through the channel that customers' mails take, to the address that the shop set for itself."""
    shop = view_shop(desk.ctx, desk.shop_id)
    if not shop.email:
        raise Misconfigured(
            "The shop has no e-mail address of its own", "Run: shelfbell shop set email=…", field="email"
        )
    receipt = desk.services.dispatcher.try_out(_test_mail(desk, shop.name, shop.email))
    if receipt.verdict is not Verdict.ACCEPTED:
        raise NotifyError(
            f"The test message was not accepted ({receipt.code}: {receipt.text.rstrip('.')})", "Look at [mail]."
        )
    return "A test message went to the shop's own address. Look whether it came."


def _test_mail(desk: Desk, shop_name: str, to: str) -> Outgoing:
    mail = desk.settings.mail
    now = desk.ctx.clock()
    message_id = f"<{uuid.uuid4()}@{mail.sender_address.rpartition('@')[2]}>"
    payload = compose_mail(
        sender=Mailbox(mail.sender_name or shop_name, mail.sender_address), to=to, reply_to=mail.reply_to or None,
        subject="Test message of Shelfbell", html=None, message_id=message_id, date=now, language="en",
        text="This is the test that `shelfbell check --send-test` sends. If you can read it, mail works.\n",
    )  # fmt: skip
    return Outgoing(message_id, to, mail.sender_address, payload)
