"""The states of a message in the outbox and the moves between them."""

from __future__ import annotations

from enum import StrEnum


class MessageState(StrEnum):
    """Where a message stands; every message ends in one of the ENDED states, with a reason."""

    WAITING = "waiting"  # in the outbox, due at a time
    SENT = "sent"  # a channel accepted it
    TO_CALL = "to_call"  # a task for staff: phone and say the sentence
    CALLED = "called"  # staff logged the call
    DROPPED = "dropped"  # the second look found it untrue, unwanted or replaced
    SKIPPED = "skipped"  # the planner decided against it; kept to answer "why no message?"
    GIVEN_UP = "given_up"  # refused for good, or no use any more


class Delivery(StrEnum):
    """How far a message got after it left, as far as anybody told us; it only ever moves forward (RANK)."""

    HANDED_OVER = "handed_over"  # somebody took it over and answers for it from now on
    DELAYED = "delayed"  # they are still trying (RFC 3464 2.3.3)
    UNKNOWN = "unknown"  # a gateway used a word that the settings do not know
    DELIVERED = "delivered"  # it reached the mailbox or the phone
    FAILED = "failed"  # it never will


# A receipt moves a message only to a higher rank; the last two end its way and never replace each other.
RANK: dict[str, int] = {"": 0, "handed_over": 1, "delayed": 2, "unknown": 2, "delivered": 3, "failed": 3}


def goes_further(source: str, target: str) -> bool:
    """Whether a receipt that says `target` is news for a message that has got to `source`."""
    return RANK[target] > RANK[source]


ENDED = frozenset(
    {MessageState.SENT, MessageState.CALLED, MessageState.DROPPED, MessageState.SKIPPED, MessageState.GIVEN_UP}
)
MOVES: dict[MessageState, frozenset[MessageState]] = {
    MessageState.WAITING: frozenset(
        {MessageState.WAITING, MessageState.SENT, MessageState.TO_CALL, MessageState.DROPPED, MessageState.GIVEN_UP}
    ),
    # Back to waiting: a newer call is to tell the same, and may yet be withdrawn.
    MessageState.TO_CALL: frozenset(
        {MessageState.CALLED, MessageState.DROPPED, MessageState.TO_CALL, MessageState.WAITING}
    ),
    # It left and came back: a delivery report (RFC 3464) or a gateway's receipt said so.
    MessageState.SENT: frozenset({MessageState.GIVEN_UP}),
}


def may_move(source: MessageState, target: MessageState) -> bool:
    """Whether a message may go from `source` to `target`; an ended state only moves when a message came back."""
    return target in MOVES.get(source, frozenset())
