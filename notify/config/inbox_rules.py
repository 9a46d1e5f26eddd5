"""The rules about the mailbox that replies and delivery reports come to, and a look at its files."""

from __future__ import annotations

from collections.abc import Iterator

from notify.config.finding import Finding
from notify.config.gateway_rules import Rule, Values
from notify.config.key_files import read_password
from notify.config.kinds import is_loopback
from notify.config.settings import Inbox, Settings
from notify.core.errors import Misconfigured


def _by_imap(values: Values) -> bool:
    return bool(values["inbox.transport"] == "imap")


INBOX_RULES: tuple[Rule, ...] = (
    Rule(
        ("inbox.host", "inbox.transport"),
        lambda v: _by_imap(v) and not v["inbox.host"],
        "inbox.host is empty although replies are to be read from there",
        'Write the name of your IMAP server; or set inbox.transport = "off".',
    ),
    Rule(
        ("inbox.username", "inbox.transport"),
        lambda v: _by_imap(v) and not v["inbox.username"],
        "inbox.username is empty although replies are to be read from there",
        "Write the name of the mailbox.",
    ),
    Rule(
        ("inbox.password_file", "inbox.transport"),
        lambda v: _by_imap(v) and not v["inbox.password_file"],
        "inbox.password_file is empty although replies are to be read from there",
        "Name the file that holds the password on one line.",
    ),
    Rule(
        ("inbox.security", "inbox.host", "inbox.transport"),
        lambda v: _by_imap(v) and v["inbox.security"] == "none" and not is_loopback(v["inbox.host"]),
        "inbox.security is none although the IMAP server is another machine",
        'Set inbox.security = "tls" (port 993) or "starttls" (port 143).',
    ),
    Rule(
        ("inbox.maildir", "inbox.transport"),
        lambda v: v["inbox.transport"] == "maildir" and not v["inbox.maildir"],
        "inbox.maildir is empty although replies are to be read from there",
        "Name the Maildir that your mail server delivers to.",
    ),
    Rule(
        ("inbox.maildir", "inbox.transport", "mail.folder", "mail.transport"),
        lambda v: v["inbox.transport"] == "maildir" and v["mail.transport"] == "folder" and bool(v["inbox.maildir"])
        and v["inbox.maildir"] == v["mail.folder"],
        "inbox.maildir is the folder that outgoing mail is kept in",
        "Name another folder: our own mail must not come back as a reply.",
    ),
    Rule(
        ("inbox.transport", "mail.bounce_address"),
        lambda v: bool(v["mail.bounce_address"]) and v["inbox.transport"] == "off",
        "inbox.transport is off although mail.bounce_address sends reports of failed delivery there",
        'Set inbox.transport to "imap" or "maildir", or leave mail.bounce_address empty.',
    ),
)  # fmt: skip


def look_at_inbox(inbox: Inbox) -> Iterator[Finding]:
    """What is wrong with the files of the mailbox on this machine."""
    if inbox.transport == "imap" and inbox.password_file:
        try:
            read_password(inbox.password_file, field="inbox.password_file")
        except Misconfigured as problem:
            yield Finding(problem.field, problem.what, problem.advice)
    if inbox.transport == "imap" and inbox.ca_file and not inbox.ca_file.is_file():
        yield Finding("inbox.ca_file", "inbox.ca_file: there is no such file", "Write the right path, or leave it.")
    if inbox.transport == "maildir" and inbox.maildir and not inbox.maildir.is_dir():
        cure = "Make it (with the folders new, cur and tmp), or write the right path."
        yield Finding("inbox.maildir", "inbox.maildir: there is no such folder", cure)


def unread_answers(settings: Settings) -> Iterator[Finding]:
    """That nobody but people reads what customers answer, while messages really leave and ask them to answer STOP.

    47 CFR 64.1200(a)(10): a stop is honoured within ten business days, however it is said.
    """
    if settings.inbox.transport == "off" and settings.mail.transport == "smtp":
        yield Finding(
            "inbox.transport",
            "inbox.transport: messages ask customers to answer STOP, and no mailbox is read for it",
            "Set up [inbox]; or read the answers yourself, and carry out a STOP with `shelfbell person stop` at once.",
            refuses=False,
        )


def unproved_answers(settings: Settings) -> Iterator[Finding]:
    """That a calendar's "no" frees no place by itself, while invites leave and their answers are read (RFC 8601 5)."""
    inbox = settings.inbox
    if inbox.transport != "off" and settings.mail.transport == "smtp" and not inbox.authserv_id:
        yield Finding(
            "inbox.authserv_id",
            "inbox.authserv_id: no mail server is named that proves who wrote a letter, so staff are asked about every "
            '"no" of a calendar',
            "Write the name that it puts first into Authentication-Results; it must strip what came under that name.",
            refuses=False,
        )
