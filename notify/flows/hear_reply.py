"""Hear what somebody wrote back: keep it sealed, do what a reply alone may do, show the rest to the shop."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.claim_number import hide_tokens
from notify.core.errors import Invalid
from notify.core.itip import Answer, Bearer, Unread
from notify.core.one_click import hide_stop_links
from notify.core.reply_limits import RING_WINDOW, may_ring
from notify.core.reply_words import Wish, read_wish
from notify.core.text import clean_block, clean_line
from notify.flows.context import Context
from notify.flows.hear_calendar import Carried, Outcome, hear_calendar, spoken_booking
from notify.flows.record import record
from notify.flows.reply_acts import Asked, act
from notify.flows.reply_writer import Writer, about_visit, find_writer
from notify.store import letters, replies
from notify.store.bookings import Booking
from notify.store.database import Unit

LONGEST, LONGEST_SUBJECT = 8000, 200  # characters kept of one reply
_FIRST_YEAR = 2000
_ORDINARY = Wish("none", "other")
_ANSWERING = re.compile(r"\s*[A-Za-z]{2,3}\s*:")  # "Re:", "AW:", "R:": the subject is ours, not a wish of theirs


@dataclass(frozen=True, slots=True, repr=False)
class Heard:
    """One letter or text message.

    `sender` is as it came; `answers` are our outbox rows that it names, `letter_id` is its own Message-ID. `at` is
    when it arrived (aware). `automatic`: no person wrote it, so nothing is done and nothing answered (RFC 3834 2).
    `key` is the same for every copy of it from `source`. `calendar_answers` is what was read of its calendar parts,
    `organizer_tokens` those of bookings found in the addresses that it came to; `proved`: our own border mail server
    vouches for the sender (core/itip.Bearer). `refused`: it could not be read whole, so a person has to. `unproved`:
    a report about a message that nothing shows to be ours.
    """

    channel: str
    sender: str
    text: str
    at: datetime
    key: str
    source: str
    subject: str = ""
    answers: tuple[str, ...] = ()
    automatic: bool = False
    letter_id: str = ""
    refused: bool = False
    unproved: bool = False
    calendar_answers: tuple[Answer | Unread, ...] = ()
    organizer_tokens: tuple[str, ...] = ()
    proved: bool = False


def hear(ctx: Context, shop_id: str, heard: Heard) -> str:
    """Takes one reply for one shop, whole or not at all; its identifier.

    "" when it was taken before, or is automatic or unreadable mail of a stranger, which is not even kept.
    """
    with ctx.db.write(shop_id) as unit:
        now = ctx.clock()
        if not letters.take(unit, heard.source, _key(shop_id, heard.key), kind="reply", at=now):
            return ""
        booking = None if heard.unproved else spoken_booking(unit, heard.calendar_answers, heard.organizer_tokens)
        writer = _writer(ctx, unit, heard, booking)
        if (heard.automatic or heard.refused) and not writer.visit_id and not heard.unproved:
            return ""
        wish = _wish(heard)
        kind = _kind(heard, wish, writer)
        new = unit.new_id()
        asked = Asked(heard.channel, writer, wish, _when(heard.at, now), new)
        actor = Actor(shop_id, "customer", writer.person_id) if writer.person_id else Actor(shop_id, "system", "inbox")
        rings = _rings(unit, writer, now=now)
        _keep(unit, heard, writer, new, kind, now=now)
        answered = _answered(ctx, unit, actor, heard, booking, new) if booking else Outcome()
        if _is_done(ctx, unit, actor, heard, asked, kind) or _says_no_more(heard, wish, kind, answered):
            replies.mark_seen(unit, new, at=now, staff_id=None)
        elif writer.visit_id:
            codes = {"reply": new, "kind": kind, "channel": heard.channel}
            record(ctx, unit, actor, "reply_received", visit_id=writer.visit_id, ticket_id=writer.ticket_id,
                   codes=codes, silent=bool(answered.asks) or not rings)  # fmt: skip
        return new


def _answered(ctx: Context, unit: Unit, actor: Actor, heard: Heard, booking: Booking, reply_id: str) -> Outcome:
    """Acts on the calendar answers and rings for what they ask: as hear_calendar."""
    bearer = Bearer(heard.sender.lower(), booking.organizer_token in heard.organizer_tokens, heard.proved,
                    _when(heard.at, ctx.clock()))  # fmt: skip
    carried = Carried(bearer, reply_id, ctx.clock())
    answered = hear_calendar(ctx, unit, booking, heard.calendar_answers, carried)
    if answered.asks:
        codes = {"reply": reply_id, "kind": "calendar", "channel": heard.channel, "booking": booking.id}
        record(ctx, unit, actor, "reply_received", visit_id=booking.visit_id, codes=codes | {"asks": answered.asks})
    return answered


def _says_no_more(heard: Heard, wish: Wish, kind: str, answered: Outcome) -> bool:
    """Whether the letter's own words need no reader: what calendars write beside an answer is no wish of anybody.

    A question, or a comment typed into the calendar, is for people; what waits for a decision is quoted there.
    """
    typed = any(one.comment.strip() for one in heard.calendar_answers if isinstance(one, Answer))
    return answered.settled and kind == "calendar" and (answered.is_open or (wish.kind == "other" and not typed))


def _rings(unit: Unit, writer: Writer, *, now: datetime) -> bool:
    """Whether the shop hears it at once. Not what answers its own bell: a robot there would ring it again, for ever."""
    unread = replies.unread_since(unit, writer.visit_id, now - RING_WINDOW) if writer.visit_id else 0
    return not writer.to_shop and may_ring(unread)


def _writer(ctx: Context, unit: Unit, heard: Heard, booking: Booking | None) -> Writer:
    if heard.unproved:  # whoever it names as its sender did not write it
        return Writer("", {})
    found = find_writer(unit, ctx.shop(unit), channel=heard.channel, sender=heard.sender, answers=heard.answers)
    return found if booking is None else about_visit(unit, found, booking.visit_id, booking.person_id)


def _is_done(ctx: Context, unit: Unit, actor: Actor, heard: Heard, asked: Asked, kind: str) -> bool:
    """Whether nobody has to look at it: the program did what it wishes, or no person wrote it."""
    if heard.automatic:
        return not heard.unproved and kind != "calendar"
    return kind != "calendar" and act(ctx, unit, actor, asked)


def _key(shop_id: str, key: str) -> str:
    """A letter may concern two shops of one installation: it acts once in each."""
    return hashlib.sha256(f"{shop_id}\0{key}".encode()).hexdigest()


def _wish(heard: Heard) -> Wish:
    """What the text asks for; a subject of their own counts when the text asks for nothing."""
    if heard.automatic or heard.refused:
        return _ORDINARY
    wish = read_wish(heard.text if heard.text.strip() else heard.subject)
    if wish.cls == "none" and heard.text.strip() and heard.subject and not _ANSWERING.match(heard.subject):
        said = read_wish(heard.subject)
        return said if said.cls == "stop" else wish
    return wish


def _kind(heard: Heard, wish: Wish, writer: Writer) -> str:
    if heard.automatic:
        return "calendar" if heard.calendar_answers else "auto"
    if heard.calendar_answers and wish.cls != "stop" and wish.kind != "erasure" and not wish.stop_this_number:
        return "calendar"
    if wish.stop_this_number and writer.person_id and (heard.channel != "email" or writer.is_sure):
        return "stop"  # nothing goes there any more, and a person has to ask for the right one
    return wish.kind


def _said(heard: Heard) -> str:
    """The letter's words, and behind them what was typed into the calendar."""
    comments = (one.comment.strip() for one in heard.calendar_answers if isinstance(one, Answer))
    return "\n\n".join(dict.fromkeys(one for one in (heard.text, *comments) if one and one.strip()))


def _keep(unit: Unit, heard: Heard, writer: Writer, new: str, kind: str, *, now: datetime) -> None:
    replies.add_reply(
        unit, new, visit_id=writer.visit_id, ticket_id=writer.ticket_id, person_id=writer.person_id,
        sealed_for=writer.sealed_for, message_id=writer.message_id if writer.visit_id else "",
        channel=heard.channel, kind=kind, state=replies.NEW, sender=writer.address or _line(heard.sender),
        subject=_line(heard.subject), text=_block(_said(heard)), letter_id=heard.letter_id[:LONGEST_SUBJECT],
        at=_when(heard.at, now), taken_at=now,
    )  # fmt: skip


def _when(at: datetime, now: datetime) -> datetime:
    """When it arrived: never later than now; a time that no letter can have (systems write year 1 for none) is now."""
    return min(at, now) if at.year >= _FIRST_YEAR else now


def _line(text: str) -> str:
    return _cleaned(clean_line, text, LONGEST_SUBJECT)


def _block(text: str) -> str:
    return _cleaned(clean_block, text, LONGEST)


def _cleaned(clean: Callable[..., str], text: str, limit: int) -> str:
    """Without claim secrets, hidden signs and marks that turn the reading direction; NFC may make it longer."""
    try:
        return clean(hide_stop_links(hide_tokens(text[:limit])), field="", limit=4 * limit)
    except Invalid:  # what becomes a claim secret only by cleaning
        return ""
