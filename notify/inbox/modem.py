"""Takes what people wrote to the modem's SIM; each is dropped from its store only after the commit."""

from __future__ import annotations

import hashlib
import logging
from dataclasses import replace

from notify.channels.sms_modem import Arrived, ModemFault, SmsModem
from notify.core.errors import NotifyError
from notify.flows.hear_reply import Heard
from notify.flows.hear_text import hear_text
from notify.wiring import Services

SOURCE = "modem"
UNREAD = "A text message that could not be read"
log = logging.getLogger("shelfbell.inbox")


def read_modem(services: Services) -> int:
    """How many text messages were taken. A modem that does not answer is one line in the log, and asked again."""
    channel = services.channels.get("sms")
    if not isinstance(channel, SmsModem):
        return 0
    try:
        return sum(_take(services, channel, one) for one in channel.arrived(now=services.context.clock()))
    except ModemFault as fault:
        log.warning("the modem could not be read, and is asked again: %s", fault.code)
        return 0


def _take(services: Services, channel: SmsModem, message: Arrived) -> bool:
    """A message that was taken before (its dropping was cut off) is only dropped; one that trips us is shown unread."""
    told = f"{message.number}\0{message.at.isoformat()}\0{message.text}"
    heard = Heard(
        channel="sms", sender=message.number, text=message.text, at=message.at, source=SOURCE,
        key=hashlib.sha256(told.encode("utf-8", "replace")).hexdigest(),
    )  # fmt: skip
    try:
        news = hear_text(services.context, services.shop_ids(), heard)
    except NotifyError:  # nothing is wrong with the message
        raise
    except Exception as error:
        log.error(
            "a text message could not be taken and is shown to the shop unread", extra={"why": type(error).__name__}
        )
        unread = replace(heard, sender="", text="", subject=UNREAD, refused=True, unproved=True)
        news = hear_text(services.context, services.shop_ids(), unread)
    channel.done(message)
    return news
