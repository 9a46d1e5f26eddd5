"""How soon a notice may leave by night: it waits for a decent hour, answers the customer, or is urgent."""

from __future__ import annotations

from datetime import datetime, timedelta
from enum import StrEnum

from notify.core.notices import ANSWER, NOTICES


class Urgency(StrEnum):
    """What decent hours mean for a notice."""

    WAITS = "waits"  # leaves at a decent hour only
    ANSWERS = "answers"  # leaves at any hour when the customer caused it a moment ago, else it waits
    URGENT = "urgent"  # leaves at any hour


# What a customer brings about themselves, and then expects an answer to while they still hold the phone. Whether
# they did is known by `refs["by"]`, the kind of doer of the event, written by flows/record.
_ANSWERS = frozenset({"pickup_confirmed", "pickup_moved", "pickup_cancelled"})
# So long is somebody taken to be awake who has just done something (policy, no source). Later, a mail server that
# was down must not wake them.
STILL_AWAKE = timedelta(hours=1)


def urgency_of(notice: str) -> Urgency:
    """The row of the table for one notice. The shop's own are urgent: staff choose the quiet of their own phones."""
    kind = NOTICES[notice]
    if notice in _ANSWERS or kind.purpose == ANSWER:
        return Urgency.ANSWERS
    return Urgency.URGENT if kind.urgent else Urgency.WAITS


URGENCY: dict[str, Urgency] = {name: urgency_of(name) for name in NOTICES}


def waits_for_decent_hour(notice: str, *, caused_by: str, caused_at: datetime, now: datetime) -> bool:
    """Whether a message must wait while it is quiet. `caused_by` is the kind of doer of what it tells."""
    urgency = URGENCY[notice]
    if urgency is not Urgency.ANSWERS:
        return urgency is Urgency.WAITS
    themselves = caused_by == "customer" or NOTICES[notice].purpose == ANSWER
    return not themselves or now - caused_at > STILL_AWAKE
