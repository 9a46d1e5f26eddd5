"""Opens the mailbox that the settings name."""

from __future__ import annotations

from notify.config.key_files import read_password
from notify.config.settings import Inbox
from notify.core.errors import Misconfigured
from notify.inbox.imap import ImapMailbox, ImapPlace, open_imap
from notify.inbox.mailbox import Mailbox
from notify.inbox.maildir import MaildirMailbox


def open_mailbox(inbox: Inbox) -> Mailbox:
    """The mailbox, signed in. Raises Misconfigured when none is set up or a setting is wrong, Conflict when mute."""
    if inbox.transport == "maildir" and inbox.maildir is not None:
        return MaildirMailbox(inbox.maildir)
    if inbox.transport == "imap":
        return _imap(inbox)
    raise Misconfigured(
        "No mailbox is set up, so replies are not read",
        "Set inbox.transport to imap or maildir.",
        field="inbox.transport",
    )


def _imap(inbox: Inbox) -> ImapMailbox:
    password = read_password(inbox.password_file, field="inbox.password_file") if inbox.password_file else ""
    return open_imap(ImapPlace(
        host=inbox.host, port=inbox.port, username=inbox.username, password=password,
        security=inbox.security, ca_file=inbox.ca_file, folder=inbox.folder,  # type: ignore[arg-type]  # config checks
    ))  # fmt: skip
