"""Takes the letters of a mailbox one by one: delivery reports to what was sent, everything else to who hears replies.

A letter is marked as handled only after what it caused is committed; cut off in between, it comes again and acts no
second time. Whatever is wrong with one letter, the next one is taken.
"""

from __future__ import annotations

import logging
import re
from collections import Counter, deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime

from notify.core.errors import Conflict, NotFound, Unavailable
from notify.core.itip import Answer, Decision, Unread
from notify.core.return_address import PLACE, find_token
from notify.dispatch.reports import AGAIN, UNPROVED, Said, take_reports
from notify.flows.context import Context
from notify.flows.hear_reply import Heard, hear
from notify.flows.reply_routes import route
from notify.inbox.calendar_part import read_answer
from notify.inbox.fields import read_fields, split_header
from notify.inbox.letter import Letter, read_letter
from notify.inbox.mailbox import Held, Mailbox
from notify.store import letters

SOURCE = "mail"
UNREAD = "A letter that could not be read"
MOST_FAILURES = 3  # so many letters in a row that the mailbox does not give out or mark: it is the mailbox that is ill
log = logging.getLogger("shelfbell.inbox")


@dataclass(frozen=True, slots=True)
class Post:
    """What taking letters needs of the installation.

    `own` are the addresses that our own mail comes from; `organizer` is the pattern with {token} that calendars answer
    to, "" without one; `authserv_id` is the border mail server that may prove a sender, "" for none.
    """

    ctx: Context
    shop_ids: tuple[str, ...]
    bounce: str = ""
    bounce_key: bytes = field(default=b"", repr=False)
    own: frozenset[str] = frozenset()
    keep_days: int = 30
    organizer: str = ""
    authserv_id: str = ""


@dataclass(frozen=True, slots=True)
class Taken:
    """What one round came to, counted by what the letters were; `removed` lay in the mailbox long enough.

    `forgotten` were taken out because they were about somebody who was forgotten.
    """

    counts: dict[str, int]
    removed: int = 0
    forgotten: int = 0


def take_letters(
    post: Post, mailbox: Mailbox, *, dry_run: bool = False, fault: Callable[[str], None] = lambda point: None
) -> Taken:
    """Takes every letter that was not handled yet; with `dry_run` only says what they are and changes nothing.

    Raises what the mailbox raises when it cannot be read at all, and Unavailable when the database cannot be written.
    """
    counts: Counter[str] = Counter()
    waiting = deque(mailbox.letters())

    def take(next_one: Callable[[], Held]) -> bool:
        failures = 0
        while waiting and failures < MOST_FAILURES:
            what = _take_safely(post, mailbox, next_one(), dry_run=dry_run, fault=fault)
            counts[what] += 1
            failures = failures + 1 if what in ("not_given", "not_marked") else 0
        return failures < MOST_FAILURES

    # A few letters over which the mailbox stumbles must not keep away what came after them: from the other end, then.
    if not take(waiting.popleft) and not take(waiting.pop):
        raise Conflict("The mailbox does not give its letters out, or marks none", "It is asked again next time.")
    removed = 0 if dry_run else mailbox.remove_older(post.ctx.clock() - timedelta(days=post.keep_days))
    return Taken(dict(counts), removed, 0 if dry_run else _drop_forgotten(post, mailbox))


def _drop_forgotten(post: Post, mailbox: Mailbox) -> int:
    """Takes the handled letters of forgotten people out, at once and not after their days; how many.

    Cut off anywhere, the notes of what has to go are still there and the next round looks again.
    """
    with post.ctx.db.read(post.shop_ids[0]) as unit:
        names = letters.to_drop(unit)
    if not names:
        return 0
    theirs = [held.uid for held in mailbox.handled() if _is_named(held, names)]
    if theirs:
        mailbox.remove(theirs)
    with post.ctx.db.write(post.shop_ids[0]) as unit:
        letters.dropped(unit, names)
    return len(theirs)


def _is_named(held: Held, names: frozenset[str]) -> bool:
    """By its own Message-ID, by what it answers, or by the message that it reports about."""
    try:
        letter = read_letter(held.read(), size=held.size)
    except NotFound:
        return False
    about = (letter.message_id, *letter.answers, *(one.message_id for one in letter.reports))
    return any(letters.name_of(one) in names for one in about if one)


def _take_safely(post: Post, mailbox: Mailbox, held: Held, *, dry_run: bool, fault: Callable[[str], None]) -> str:
    try:
        raw = held.read()
    except NotFound:
        return "gone"
    except Conflict:
        return "not_given"
    letter = read_letter(raw, size=held.size)
    at = arrived(raw, post.ctx.clock())
    if dry_run:
        return _what(post, letter)
    try:
        what = _take(post, letter, at)
    except Unavailable:  # nothing is wrong with the letter
        raise
    except Conflict:  # its message is just leaving: it stays for the next round
        return "later"
    except Exception as error:
        log.error("a letter could not be taken and is shown to the shop unread", extra={"why": type(error).__name__})
        what = _keep_unread(post, letter, at)
    fault("taken")
    try:
        mailbox.done(held.uid)
    except Conflict:  # it comes again and acts no second time; those behind it are taken all the same
        return "not_marked"
    return what


def _take(post: Post, letter: Letter, at: datetime) -> str:
    if letter.automatic and letter.sender in post.own:
        return "own"  # a notice to the shop that came into the same mailbox
    if letter.reports:
        what = _take_reports(post, letter)
        if what == UNPROVED:
            _hear(post, letter, at, unproved=True)
        return what
    return _hear(post, letter, at)


def _take_reports(post: Post, letter: Letter) -> str:
    said = [Said(one.action, one.status, one.message_id, one.diagnostic) for one in letter.reports]
    what = take_reports(
        post.ctx.db, post.shop_ids, said, tokens=_tokens(post, letter), bounce_key=post.bounce_key, source=SOURCE,
        key=letter.key, now=post.ctx.clock(), channels_on=post.ctx.channels_on,
    )  # fmt: skip
    return what if what in (AGAIN, UNPROVED) else "report"


def _hear(post: Post, letter: Letter, at: datetime, *, unproved: bool = False) -> str:
    answers, tokens = calendar_answers(letter), organizer_tokens(post.organizer, letter)
    heard = Heard(
        "email", letter.sender, letter.text, at, letter.key, SOURCE, subject=letter.subject,
        automatic=letter.automatic and not letter.refused, letter_id=letter.message_id,
        refused=bool(letter.refused), unproved=unproved, calendar_answers=answers, organizer_tokens=tokens,
        proved=letter.proved_for(letter.sender, authserv_id=post.authserv_id),
    )  # fmt: skip
    routes = route(
        post.ctx, post.shop_ids, sender=letter.sender, message_ids=letter.answers, tokens=_tokens(post, letter),
        key=post.bounce_key, organizer_tokens=tokens, uids=[one.uid for one in answers if isinstance(one, Answer)],
    )  # fmt: skip
    kept = [hear(post.ctx, shop_id, replace(heard, answers=rows)) for shop_id, rows in routes.items()]
    return _what(post, letter) if any(kept) else "nothing"


def calendar_answers(letter: Letter) -> tuple[Answer | Unread, ...]:
    """What its calendar parts say, each once; what only Outlook can unwrap is for people (vector M-54)."""
    read = [read_answer(raw, method=method) for raw, method in letter.calendars]
    wrapped = [Unread(Decision.ROUTE_TO_HUMAN, "winmail")] if letter.tnef and not read else []
    return tuple(dict.fromkeys([*read, *wrapped]))


def organizer_tokens(pattern: str, letter: Letter) -> tuple[str, ...]:
    """The tokens of bookings in the addresses that a letter came to, in small letters; at most as many as those."""
    before, mark, after = (re.escape(piece) for piece in pattern.lower().partition(PLACE))
    if not mark:
        return ()
    shape = re.compile(f"{before}([a-z0-9]{{8,64}}){after}")
    found = (shape.fullmatch(address.lower()) for address in letter.recipients)
    return tuple(dict.fromkeys(one[1] for one in found if one))


def _keep_unread(post: Post, letter: Letter, at: datetime) -> str:
    """A letter that trips the program itself must neither be lost nor met again every minute."""
    for shop_id in post.shop_ids[:1]:
        hear(
            post.ctx,
            shop_id,
            Heard("email", "", "", at, letter.key, SOURCE, subject=UNREAD, refused=True, unproved=True),
        )
    return "unread"


def _what(post: Post, letter: Letter) -> str:
    """In one word, for counts and dry runs; nothing about whom."""
    if letter.automatic and letter.sender in post.own:
        return "own"
    if letter.refused:
        return letter.refused
    if letter.reports:
        return "report"
    return "automatic" if letter.automatic else "reply"


def _tokens(post: Post, letter: Letter) -> tuple[str, ...]:
    found = (find_token(post.bounce, address) for address in letter.recipients) if post.bounce else ()
    return tuple(dict.fromkeys(token for token in found if token))


def arrived(raw: bytes, now: datetime) -> datetime:
    """When our own mail server took the letter over: the newest Received field (RFC 5321 4.4), which stands on top.

    `now` where there is none or it cannot be read, and never later than that.
    """
    stamp = read_fields(split_header(raw)[0]).first("received").rpartition(";")[2].strip()
    try:
        moment = parsedate_to_datetime(stamp)
        return min((moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone(UTC), now)
    except (ValueError, TypeError, IndexError, OverflowError):  # the last evening of the year 9999 is not in UTC
        return now
