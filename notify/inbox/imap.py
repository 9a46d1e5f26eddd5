"""A mailbox on an IMAP server (RFC 9051 and its elders), read with care for what the server answers."""

from __future__ import annotations

import imaplib
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from imap_tools import BaseMailBox

from notify.core.chunks import chunks
from notify.core.errors import Conflict, NotFound
from notify.inbox.fields import LARGEST_HEADER
from notify.inbox.imap_line import TALK, connect, no_answer, translated
from notify.inbox.imap_line import ImapPlace as ImapPlace
from notify.inbox.letter import LARGEST
from notify.inbox.mailbox import MOST_LETTERS, Held

HANDLED = (
    "ShelfbellHandled"  # our keyword (RFC 9051 2.3.2): staff may read the same mailbox with a program of their own
)
_SIZE = re.compile(rb"\bRFC822\.SIZE (\d{1,12})\b")
_UID = re.compile(rb"\bUID (\d{1,10})\b")
_MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()


class ImapMailbox:
    """See mailbox.Mailbox. Over one connection; after a failure a new one, as long as the identifiers still hold."""

    def __init__(self, connect: Callable[[], BaseMailBox]) -> None:
        self._connect = connect
        self._broken = False
        self._open()
        self._age = self._said("UIDVALIDITY")  # RFC 9051 2.3.1.1: another one, and every UID means another letter

    def _open(self) -> None:
        self._box = self._connect()
        self._client: Any = self._box.client
        kept = self._said("PERMANENTFLAGS")
        self._keeps = HANDLED.encode() in kept or rb"\*" in kept

    @contextmanager
    def _talking(self, allowance: int = TALK) -> Iterator[None]:
        """One talk with the server, of bounded length; a connection in doubt is not used again."""
        if self._broken:
            self._hang_up()
            self._open()
            self._broken = False
            if self._said("UIDVALIDITY") != self._age:
                raise no_answer()
        try:
            self._client.allowance = allowance
            with translated():
                yield
        except Conflict:
            self._broken = True
            raise

    def letters(self) -> Iterator[Held]:
        """Those without our keyword; where the server keeps no keywords, the unseen ones."""
        with self._talking():
            self._client.noop()  # lets the server tell what arrived since it was asked last (RFC 9051 6.1.2)
            uids = self._box.uids(f"UNDELETED UNKEYWORD {HANDLED}" if self._keeps else "UNDELETED UNSEEN")
            uids = sorted((uid for uid in uids if uid.isdigit()), key=int)[:MOST_LETTERS]
            sizes = self._sizes(uids)
        for uid in uids:
            yield Held(uid, sizes.get(uid, 0), partial(self._read, uid, sizes.get(uid, 0)))

    def done(self, uid: str) -> None:
        """Seen, and our keyword; without touching what staff marked as deleted."""
        marks = rf"(\Seen {HANDLED})" if self._keeps else r"(\Seen)"
        self._command("STORE", uid, "+FLAGS.SILENT", marks)

    def handled(self) -> Iterator[Held]:
        """Those with our keyword; where the server keeps no keywords, the seen ones."""
        with self._talking():
            self._client.noop()
            uids = [uid for uid in self._box.uids(f"KEYWORD {HANDLED}" if self._keeps else "SEEN") if uid.isdigit()]
        for some in chunks(uids, MOST_LETTERS):
            with self._talking():
                sizes = self._sizes(some)
            for uid in some:
                yield Held(uid, sizes.get(uid, 0), partial(self._read, uid, sizes.get(uid, 0)))

    def remove(self, uids: Sequence[str]) -> None:
        """For good; what the server does with its own copies is its own affair."""
        for some in chunks(uids, MOST_LETTERS):
            self._remove(some)

    def remove_older(self, than: datetime) -> int:
        """The server compares days in a zone of its own: a letter goes up to two days late, never early."""
        day = (than - timedelta(days=1)).date()
        before = f"{day.day}-{_MONTHS[day.month - 1]}-{day.year}"
        with self._talking():
            uids = self._box.uids(f"{'KEYWORD ' + HANDLED if self._keeps else 'SEEN'} BEFORE {before}")
        uids = [uid for uid in uids if uid.isdigit()]
        self.remove(uids)
        return len(uids)

    def close(self) -> None:
        """Sign out, or just go."""
        with suppress(Exception):
            self._client.allowance = TALK
            if not self._broken:
                self._box.logout()
        self._hang_up()

    def _hang_up(self) -> None:
        with suppress(Exception):
            self._client.shutdown()

    def _said(self, what: str) -> bytes:
        """What the server said about the folder when it was opened."""
        answer = self._client.untagged_responses.get(what) or [b""]
        return answer[-1] if isinstance(answer[-1], bytes) else b""

    def _sizes(self, uids: Sequence[str]) -> dict[str, int]:
        """Asked before anything is fetched; what the server does not say counts as 0."""
        if not uids:
            return {}
        said = [item for item in self._fetch(",".join(uids), "(RFC822.SIZE)") if isinstance(item, bytes)]
        pairs = ((_UID.search(item), _SIZE.search(item)) for item in said)
        return {uid[1].decode(): int(size[1]) for uid, size in pairs if uid and size}

    def _read(self, uid: str, size: int) -> bytes:
        """The letter, at most LARGEST octets of it; never more is asked for."""
        most = LARGEST_HEADER if size > LARGEST else LARGEST + 1
        with self._talking(most + TALK):
            answer = self._fetch(uid, f"(BODY.PEEK[]<0.{most}>)")
        for item in answer:
            if (
                isinstance(item, tuple)
                and len(item) == 2
                and (found := _UID.search(item[0]))
                and found[1] == uid.encode()
            ):
                return bytes(item[1])
        raise NotFound("The letter is no longer in the mailbox", "Somebody else took it out.")

    def _fetch(self, uids: str, what: str) -> list[Any]:
        kind, answer = self._client.uid("FETCH", uids, what)
        if kind != "OK":
            raise imaplib.IMAP4.error("fetch refused")
        return list(answer)

    def _command(self, *command: str) -> None:
        with self._talking():
            kind, _ = self._client.uid(*command)
            if kind != "OK":
                raise imaplib.IMAP4.error(f"{command[0]} refused")

    def _remove(self, uids: Sequence[str]) -> None:
        listed = ",".join(uids)
        self._command("STORE", listed, "+FLAGS.SILENT", r"(\Deleted)")
        with self._talking():
            _, offered = self._client.capability()  # asked anew: before the sign-in a server need not tell them all
            if b"UIDPLUS" not in offered[-1].split():
                self._client.expunge()
                return
        self._command("EXPUNGE", listed)  # RFC 4315: only these, whatever else is marked


def open_imap(place: ImapPlace) -> ImapMailbox:
    """Connect, sign in and open the folder.

    Raises Misconfigured when the certificate, the sign-in or the folder is refused, Conflict when nobody answers.
    """
    return ImapMailbox(partial(connect, place))
