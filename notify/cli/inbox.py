"""Read the mailbox: at once by command, every minute while `shelfbell serve` runs."""

from __future__ import annotations

import logging
import time
from contextlib import closing

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.config.settings import Settings
from notify.core.errors import NotifyError
from notify.inbox.modem import read_modem
from notify.inbox.place import open_mailbox
from notify.inbox.take import Post, Taken, take_letters
from notify.schedule.jobs import Job, Run
from notify.schedule.when import Every
from notify.wiring import Services

MODEM_SECONDS = 20  # a modem's store holds a few dozen texts at most
log = logging.getLogger("shelfbell.inbox")
# What a letter was, in words; only counts are ever told.
_WORDS = {
    "reply": "from people",
    "report": "delivery reports",
    "automatic": "automatic",
    "own": "our own",
    "unproved": "reports about nothing of ours",
    "again": "taken before",
    "nothing": "of nobody we know, or taken before",
    "later": "left for the next time",
    "gone": "gone meanwhile",
    "not_given": "not given out",
    "not_marked": "not marked as handled",
    "unread": "shown to the shop unread",
    "too_large": "too large",
    "too_deep": "too deeply nested",
    "malformed": "not readable",
}


@click.command("inbox", cls=Command)
@click.option("--once/--go-on", default=True, help="Read once (as it is), or again and again until Ctrl-C.")
@click.option("--dry-run", is_flag=True, help="Only say what lies there; nothing is done, answered or marked.")
@pass_desk
def inbox(desk: Desk, once: bool, dry_run: bool) -> None:
    """Read the mailbox now: delivery reports, wishes to stop or start, and what customers wrote.

    `shelfbell serve` does the same every minute. See what was read with `shelfbell replies`.
    """
    while True:
        taken = read_mailbox(desk.services, dry_run=dry_run)
        desk.show(taken, told(taken))
        if once or dry_run:
            return
        time.sleep(desk.settings.inbox.check_seconds)


def read_mailbox(services: Services, *, dry_run: bool = False) -> Taken:
    """One round. Raises Misconfigured or Conflict when the mailbox cannot be read."""
    with closing(open_mailbox(services.settings.inbox)) as mailbox:
        return take_letters(post_of(services), mailbox, dry_run=dry_run)


def post_of(services: Services) -> Post:
    """What taking letters needs of a wired installation."""
    mail, settings = services.settings.mail, services.settings
    return Post(
        ctx=services.context, shop_ids=services.shop_ids(), bounce=mail.bounce_address, bounce_key=services.secret,
        own=frozenset(one for one in (mail.sender_address, settings.sms.sender) if one),
        keep_days=settings.inbox.keep_days, organizer=settings.invite.organizer,
        authserv_id=settings.inbox.authserv_id,
    )  # fmt: skip


def told(taken: Taken) -> str:
    """The counts as one sentence."""
    counts = ", ".join(f"{number} {_WORDS.get(what, what)}" for what, number in sorted(taken.counts.items()))
    removed = f" {taken.removed} old ones were removed." if taken.removed else ""
    gone = f" {taken.forgotten} of forgotten people were removed." if taken.forgotten else ""
    return (f"Letters: {counts}." if counts else "No new letters.") + removed + gone


def inbox_jobs(settings: Settings) -> tuple[Job, ...]:
    """The timed job that reads the mailbox, if there is one."""
    if settings.inbox.transport == "off":
        return ()
    return (Job("inbox", Every(settings.inbox.check_seconds), _take, per_shop=False, slow=True),)


def modem_jobs(settings: Settings) -> tuple[Job, ...]:
    """The timed job that reads what people wrote to the modem's SIM, if there is one."""
    if settings.sms.transport != "modem":
        return ()
    return (Job("modem", Every(MODEM_SECONDS), lambda run: read_modem(run.services), per_shop=False, slow=True),)


def _take(run: Run) -> None:
    """A mailbox that does not answer is one line in the log, and asked again next time."""
    try:
        taken = read_mailbox(run.services)
    except NotifyError as error:
        log.warning("the mailbox could not be read, and is asked again: %s", error.what)
        return
    if taken.counts:
        log.info("letters were taken", extra={"letters": sum(taken.counts.values())})
