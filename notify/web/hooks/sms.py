"""Takes receipts and customers' answers from the gateway for text messages; 2xx is said only after the commit."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from flask import Blueprint, Response, request

from notify.channels import fields
from notify.channels.base import clean
from notify.config.gateway_kinds import BAD_NUMBER
from notify.core.errors import Conflict
from notify.core.messages import Delivery
from notify.dispatch.receipts import take_receipt
from notify.flows.hear_reply import Heard
from notify.flows.hear_text import hear_text
from notify.flows.view_gateway import CHANNEL, find_sent
from notify.store.receipts import UNKNOWN_WORD
from notify.web.here import ctx, services
from notify.web.hooks.proof import said

pages = Blueprint("hooks_sms", __name__)
LONGEST_CODE = 40
SOURCE = "sms"
log = logging.getLogger("shelfbell.gateway")


@pages.post("/hooks/sms/receipt")
def receipt() -> Response:
    """One receipt: moves its message forward, or changes nothing when it did so before."""
    hook = services().settings.sms_hook
    told = _told(dict(hook.receipt))
    if told is None or not (told["state"] and (told["id"] or told["reference"])):
        return said(400, "The receipt has no state, or names no message; see sms.hook.receipt")
    sent = find_sent(
        ctx(), services().shop_ids(), provider_id=told["id"][:120], reference=told["reference"][:120]
    )  # fmt: skip
    if sent is None:
        return said(404, "No message is known by that name yet")
    delivery, suppress, code, text = _read_state(told["state"], told["code"])
    try:
        news = take_receipt(
            ctx().db, sent.shop_id, message_id=sent.message_id, delivery=delivery, code=code, text=text,
            suppress=suppress, contact_id=sent.contact_id, now=ctx().clock(), channels_on=ctx().channels_on,
        )  # fmt: skip
    except Conflict:  # the message is just leaving: the gateway was quicker than our own note of it
        answer = said(503, "Offer it again in a moment")
        answer.headers["Retry-After"] = "60"
        return answer
    return said(200, "Taken" if news else "Known already")


@pages.post("/hooks/sms/inbound")
def inbound() -> Response:
    """One answer of a customer: heard in every shop that knows the number, once."""
    hook = services().settings.sms_hook
    told = _told(dict(hook.inbound))
    if told is None or not told["sender"]:
        return said(400, "The message names no sender; see sms.hook.inbound")
    now = ctx().clock()
    heard = Heard(
        channel=CHANNEL, sender=_with_plus(told["sender"]), text=told["text"], at=_instant(told["at"], hook.zone, now),
        key=_key(told, now), source=SOURCE,
    )  # fmt: skip
    return said(200, "Taken" if hear_text(ctx(), services().shop_ids(), heard) else "Known already")


def _told(where: Mapping[str, str]) -> dict[str, str] | None:
    """Our words -> what the body says there, "" for nothing; None for a body that cannot be read or is not expected."""
    if not where:
        return None
    try:
        document: Any = fields.read_fields(request.get_data(cache=True), form=services().settings.sms_hook.form)
    except fields.NotReadable:
        return None
    names = ("id", "reference", "state", "code", "sender", "text", "at")
    return {name: fields.field(document, where.get(name, "")).replace("\0", "") for name in names}


def _read_state(word: str, their_code: str) -> tuple[Delivery, bool, str, str]:
    """What the gateway's word means: (delivery, whether the number is bad, code, text). Never delivered by a guess."""
    theirs = clean(fields.word(word))
    ours = dict(services().settings.sms_http.states).get(word)
    if ours is None:
        log.warning("a receipt has a word that sms.http.states does not explain; `shelfbell check` shows it")
        text = f"The gateway said {theirs}, which sms.http.states does not explain."
        return Delivery.UNKNOWN, False, f"{UNKNOWN_WORD}{theirs}"[:LONGEST_CODE], text
    code = clean(fields.word(their_code)) or theirs
    delivery = Delivery.FAILED if ours == BAD_NUMBER else Delivery(ours)
    return delivery, ours == BAD_NUMBER, code[:LONGEST_CODE], f"The gateway said {theirs}."


def _with_plus(sender: str) -> str:
    """Gateways leave the plus of an international number away; a short code or a name stays as it is."""
    digits = sender.strip()
    return (
        f"+{digits}" if digits.isascii() and digits.isdecimal() and len(digits) >= 11 and digits[0] != "0" else digits
    )


def _instant(text: str, zone: str, now: datetime) -> datetime:
    """When it was written: ISO 8601, without an offset in the gateway's zone, or seconds since 1970; else now."""
    try:
        if text.isascii() and text.isdecimal():
            found = datetime.fromtimestamp(int(text), UTC)
        else:
            read = datetime.fromisoformat(text.strip())
            found = (read if read.tzinfo else read.replace(tzinfo=ZoneInfo(zone))).astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        return now
    return min(found, now)


def _key(told: Mapping[str, str], now: datetime) -> str:
    """The gateway's name of the message; without one what it says, within the hour: the same text may be meant anew."""
    name = told["id"] or "\0".join((told["sender"], told["text"], told["at"] or f"{now:%Y-%m-%dT%H}"))
    return hashlib.sha256(name.encode()).hexdigest()
