"""What a customer would read of another ready time, before anybody decides to tell it: the same texts, nothing kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from notify.core.messages import MessageState
from notify.core.shop import Shop
from notify.dispatch.said import Saying, gather_said
from notify.render.dates import say_day, say_time
from notify.render.texts import Texts
from notify.store import people, tickets, visits
from notify.store.database import Database, Unit
from notify.store.messages import Message

NOTICE = "promise_changed"


@dataclass(frozen=True, slots=True)
class Teller:
    """The texts, the words of a language, where links lead, and the most parts of one text message."""

    texts: Texts
    words: Callable[[str], Callable[..., str]]
    public_url: str
    sms_parts: int


@dataclass(frozen=True, slots=True)
class Foretold:
    """The message in the reader's language, as plain text for a mail and as text message; `person` may be empty."""

    person: str
    language: str
    text: str
    sms: str


def foretell(
    db: Database, shop: Shop, teller: Teller, ticket_id: str, *, heard: datetime, at: datetime, why: str, now: datetime
) -> Foretold:
    """The words of a promise moved from `heard` to `at` for a reason of flows/promises.WHY; raises NotFound."""
    with db.read(shop.id) as unit:
        message = _message(unit, ticket_id, refs={"old": heard.isoformat(), "why": why}, now=now)
        reader = people.get_person(unit, message.person_id)
        saying = Saying(teller.public_url, reader.language, teller.words(reader.language))
        context = gather_said(unit, message, shop=shop, saying=saying, now=now)
    day = say_day(at, zone=shop.zone, language=reader.language)
    time = say_time(at, zone=shop.zone, language=reader.language)
    context |= {"promise": saying.words("said.promise_by", day=day, time=time)}
    texts, language = teller.texts, reader.language
    return Foretold(
        reader.name, language, texts.render(language=language, notice=NOTICE, part="text", context=context),
        texts.text_message(language=language, notice=NOTICE, context=context, most=teller.sms_parts),
    )  # fmt: skip


def _message(unit: Unit, ticket_id: str, *, refs: dict[str, str], now: datetime) -> Message:
    """The message as it would stand in the outbox, to the person who is told."""
    ticket = tickets.get_ticket(unit, ticket_id)
    told = visits.visit_people(unit, ticket.visit_id)["tell"][0]
    return Message(
        id="", seq=0, visit_id=ticket.visit_id, about=f"ticket:{ticket_id}", cause="", notice=NOTICE, person_id=told,
        sealed_for=told, channel="", resend=0, contact_id="", refs=refs, state=MessageState.WAITING, reason="",
        created_at=now, due_at=now, expires_at=now, attempts=0, ambiguous=0, message_id="", has_bytes=False,
        leased=False, composed_at=None, ended_at=None,
    )  # fmt: skip
