"""The shapes of what the API takes and gives, as JSON Schema 2020-12: checked and described from here alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from notify.core.languages import LANGUAGES
from notify.core.notices import PURPOSES
from notify.core.parts import PartState
from notify.core.questions import ANSWERS, QuestionState
from notify.core.roles import SCOPES
from notify.core.sources import Doubt
from notify.core.tickets import Outcome, Phase, WaitsOn
from notify.flows.check_in_form import DEVICE_CLASSES, MAX_DEVICES, SAFETY_FLAGS

Shape = Mapping[str, Any]


def text(limit: int, *, least: int = 0, **more: Any) -> Shape:
    """A text of at most so many characters."""
    return {"type": "string", "maxLength": limit, **({"minLength": least} if least else {}), **more}


def one_of(words: Sequence[str], **more: Any) -> Shape:
    """One of these code words."""
    return {"type": "string", "enum": [str(word) for word in words], **more}


def many(shape: Shape, **more: Any) -> Shape:
    """A list of things of one shape."""
    return {"type": "array", "items": shape, **more}


def thing(needed: Mapping[str, Shape], more: Mapping[str, Shape] | None = None) -> Shape:
    """An object with these fields and no others; those of `more` may be left out."""
    return {
        "type": "object", "properties": {**needed, **(more or {})}, "required": list(needed),
        "additionalProperties": False,
    }  # fmt: skip


def or_null(shape: Shape) -> Shape:
    """The same, or null for nothing."""
    return {"anyOf": [shape, {"type": "null"}]}


def ref(name: str) -> Shape:
    """One of the named shapes."""
    return {"$ref": f"#/components/schemas/{name}"}


ID = {"type": "string", "format": "uuid"}
INSTANT = {"type": "string", "format": "date-time", "description": "RFC 3339, with its offset"}
DAY = {"type": "string", "format": "date"}
AMOUNT = {
    "type": "string", "pattern": r"^(0|[1-9][0-9]{0,8})(\.[0-9]{1,3})?$", "examples": ["34.50"],
    "description": "In the shop's currency",
}  # fmt: skip
WALL = {
    "type": "string", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}$", "examples": ["2026-11-27T10:00"],
    "description": "By the clock on the shop's wall",
}  # fmt: skip
# Headers: a key of the caller's own, and entity tags (RFC 9110 8.8.3) or a star.
KEY = text(200, least=1, pattern="^[!-~]+$")
TAGS = text(400, least=1, pattern='^(\\*|(W/)?"[!#-~]*"( *, *(W/)?"[!#-~]*")*)$')
# Entity tags of which a wrong one only means that nothing matches.
TAGS_KNOWN = text(400)
BOOL = {"type": "boolean"}
COUNT = {"type": "integer", "minimum": 0}
WORD = text(40)  # a code word of ours
LINE = text(200)
FREE = text(8000)

_PERSON = thing({}, {
    "name": text(80), "phone": text(40), "email": text(254),
    "phone_purposes": many(one_of(PURPOSES), uniqueItems=True, maxItems=len(PURPOSES)),
    "email_purposes": many(one_of(PURPOSES), uniqueItems=True, maxItems=len(PURPOSES)), "child": BOOL,
})  # fmt: skip
_DEVICE = thing({"device": text(120, least=1)}, {
    "device_class": one_of(DEVICE_CLASSES), "fault": text(4000), "condition": text(4000), "accessories": text(1000),
    "price_agreed": AMOUNT, "price_limit": AMOUNT, "deposit": AMOUNT, "paid": BOOL, "shelf": text(20),
    "safety": many(one_of(SAFETY_FLAGS), uniqueItems=True, maxItems=len(SAFETY_FLAGS)), "promise": INSTANT,
    "kind": text(80), "follows": text(20), "pad": text(20),
})  # fmt: skip
_QUESTION = thing({
    "id": ID, "kind": one_of(tuple(ANSWERS)), "wording": FREE, "price": or_null(AMOUNT),
    "state": one_of(tuple(QuestionState)), "answer": WORD, "answers": many(WORD), "asked_at": INSTANT,
    "expires_at": INSTANT, "answered_at": or_null(INSTANT), "said_by": or_null(LINE),
})  # fmt: skip
_MOVE = thing({"to": one_of(tuple(Phase)), "event": WORD, "outcome": WORD, "reasons": many(WORD), "anyway": BOOL})
_NOTE = thing({"at": INSTANT, "by": LINE, "text": FREE})
_PART = thing({
    "id": ID, "ticket": ID, "number": WORD, "name": FREE, "label": WORD, "state": one_of(tuple(PartState)),
    "supplier": LINE, "due_at": or_null(INSTANT), "arrived_at": or_null(INSTANT),
})  # fmt: skip
_TICKET_FIELDS: dict[str, Shape] = {
    "id": ID, "visit": ID, "number": WORD, "device": FREE, "device_class": one_of(DEVICE_CLASSES), "fault": FREE,
    "phase": one_of(tuple(Phase)), "outcome": one_of(("", *Outcome)), "reason": WORD,
    "waits_on": one_of(tuple(WaitsOn)), "since": INSTANT, "created_at": INSTANT, "promise_at": or_null(INSTANT),
    "shelf": LINE, "safety": many(WORD), "technician": LINE, "person": or_null(LINE), "left": or_null(AMOUNT),
    "forgotten": BOOL,
}  # fmt: skip
_TICKET_WHOLE = thing({
    **_TICKET_FIELDS, "condition": FREE, "accessories": FREE, "price_agreed": or_null(AMOUNT),
    "price_limit": or_null(AMOUNT), "deposit": or_null(AMOUNT), "paid": BOOL, "waits_here": BOOL, "kind": or_null(ID),
    "follows": or_null(ID), "others": many(ID), "moves": many(_MOVE), "questions": many(ref("Question")),
    "parts": many(ref("Part")), "booked_at": or_null(INSTANT), "notes": or_null(many(_NOTE)), "version": COUNT,
})  # fmt: skip
_CONTACT = thing({"channel": WORD, "address": LINE, "uses": many(WORD), "undeliverable": BOOL})
_WHO = thing({"id": ID, "roles": many(WORD), "name": LINE, "language": WORD, "forgotten": BOOL,
              "contacts": many(_CONTACT)})  # fmt: skip
_MESSAGE_FIELDS: dict[str, Shape] = {
    "id": ID, "ticket": ID, "number": WORD, "notice": WORD, "state": WORD, "reason": WORD, "channel": WORD, "to": LINE,
    "to_shop": BOOL, "at": INSTANT, "tries": COUNT, "delivery": WORD, "resend": COUNT,
}  # fmt: skip
_SAID = thing({"subject": FREE, "text": {"type": "string"}, "sms": {"type": "string"}, "say": {"type": "string"}})
_PROBLEM = thing(
    {"type": LINE, "title": LINE, "status": {"type": "integer", "minimum": 400, "maximum": 599},
     "detail": {"type": "string"}},
    {"errors": many(thing({"what": {"type": "string"}, "advice": {"type": "string"}, "field": LINE}))},
)  # fmt: skip
_NEXT = or_null(text(60))

NAMED: dict[str, Shape] = {
    "Problem": _PROBLEM,
    "ProblemKind": thing({"type": LINE, "status": {"type": "integer"}, "title": LINE}),
    "Me": thing({
        "token": LINE, "scopes": many(one_of(tuple(SCOPES))),
        "shop": thing({"id": ID, "name": LINE, "zone": LINE, "currency": WORD, "language": one_of(LANGUAGES)}),
    }),
    "Ticket": thing(_TICKET_FIELDS),
    "WholeTicket": _TICKET_WHOLE,
    "Tickets": thing({"tickets": many(ref("Ticket")), "next": _NEXT}),
    "Question": _QUESTION,
    "Part": _PART,
    "Parts": thing({"parts": many(ref("Part")), "next": _NEXT}),
    "NewVisit": thing(
        {"bringer": _PERSON, "devices": many(_DEVICE, minItems=1, maxItems=MAX_DEVICES)},
        {"tell": _PERSON, "payer": _PERSON, "collectors": many(text(80), maxItems=10), "language": one_of(LANGUAGES),
         "waits_here": BOOL, "number_is_device": BOOL, "taken_in": INSTANT},
    ),
    "TakenIn": thing({"visit": ID, "tickets": many(thing({"id": ID, "number": WORD})), "warnings": many(FREE)}),
    "Moved": thing({"ticket": ID, "event": ID, "kind": WORD, "phase": one_of(tuple(Phase)), "version": COUNT}),
    "Done": thing({"ticket": ID}),
    "Asked": thing({"ticket": ID, "question": ID}),
    "Answered": thing({"question": ID}),
    "PartDone": thing({"ticket": ID, "part": ID}),
    "PartOrdered": thing({"ticket": ID, "part": ID, "due_at": INSTANT}),
    "PartArrived": thing({"ticket": ID, "part": ID, "number": WORD, "frees": BOOL}),
    "People": thing({"visit": ID, "people": many(_WHO)}),
    "Slots": thing({"visit": ID, "slots": many(thing({
        "start": WALL, "fold": {"type": "integer", "enum": [0, 1]}, "at": INSTANT, "until": INSTANT, "free": COUNT,
    }))}),
    "Booking": thing({"booking": ID, "visit": ID, "state": WORD, "at": INSTANT, "until": INSTANT, "revision": COUNT}),
    "Bookings": thing({"day": DAY, "bookings": many(thing({
        "booking": ID, "visit": ID, "state": WORD, "at": INSTANT, "until": INSTANT, "person": or_null(LINE),
        "ready": many(ID), "waiting": many(ID),
    }))}),
    "Message": thing(_MESSAGE_FIELDS),
    "WholeMessage": thing({**_MESSAGE_FIELDS, "created_at": INSTANT, "expires_at": INSTANT, "caused_by": WORD,
                           "said": or_null(_SAID)}),
    "Messages": thing({"messages": many(ref("Message")), "next": or_null(COUNT)}),
    "Resent": thing({"message": ID, "channel": WORD, "until": or_null(INSTANT)}),
    "Sources": thing({"sources": many(thing({
        "name": LINE, "kind": WORD, "about": WORD, "waiting": COUNT, "trouble": WORD, "looked_at": or_null(INSTANT),
        "silent_since": or_null(INSTANT),
    })), "doubts": many(thing({
        "id": ID, "source": LINE, "about": WORD, "kind": one_of(tuple(Doubt)), "reason": FREE, "reference": FREE,
        "word": FREE, "means": WORD, "ticket": or_null(ID), "seen_at": INSTANT,
        "told_at": or_null(INSTANT), "cells": {"type": "object", "additionalProperties": {"type": "string"}},
    })), "more": COUNT}),
    "Events": thing({"events": many(thing({
        "seq": COUNT, "id": ID, "kind": WORD, "at": INSTANT, "visit": ID, "ticket": or_null(ID), "by": WORD,
        "by_id": or_null(LINE), "codes": {"type": "object", "additionalProperties": {"type": ["string", "integer"]}},
    })), "next": COUNT, "more": BOOL}),
}  # fmt: skip
