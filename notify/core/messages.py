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


ENDED = frozenset(
    {MessageState.SENT, MessageState.CALLED, MessageState.DROPPED, MessageState.SKIPPED, MessageState.GIVEN_UP}
)
MOVES: dict[MessageState, frozenset[MessageState]] = {
    MessageState.WAITING: frozenset(
        {MessageState.WAITING, MessageState.SENT, MessageState.TO_CALL, MessageState.DROPPED, MessageState.GIVEN_UP}
    ),
    MessageState.TO_CALL: frozenset({MessageState.CALLED, MessageState.DROPPED, MessageState.TO_CALL}),
}


def may_move(source: MessageState, target: MessageState) -> bool:
    """Whether a message may go from `source` to `target`; ended states never move again."""
    return target in MOVES.get(source, frozenset())
