"""Questions that only the customer can answer: their kinds, answers and states."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from notify.core.errors import Conflict, Invalid, NotAllowed


class QuestionState(StrEnum):
    """Where a question stands."""

    OPEN = "open"  # waits for the customer
    ANSWERED = "answered"  # the customer, or staff for them, said so
    TAKEN_BACK = "taken_back"  # a yes was withdrawn in time
    WITHDRAWN = "withdrawn"  # the shop no longer needs to know
    EXPIRED = "expired"  # nobody answered by its end


# Kind -> answer codes in the order shown; the first is the yes that a shop may act on.
ANSWERS: dict[str, tuple[str, ...]] = {
    "price": ("accept", "decline"),
    "substitute_part": ("take_it", "wait_for_the_other", "give_back"),
    "give_back": ("give_back", "keep_trying"),
}


def check_kind(kind: str) -> None:
    """Raises Invalid unless `kind` is a question kind."""
    if kind not in ANSWERS:
        raise Invalid(f"{kind[:40]!r} is no kind of question", f"Use one of: {', '.join(ANSWERS)}.", field="kind")


def check_answer(kind: str, answer: str) -> None:
    """Raises Invalid unless `answer` is one of the codes that a question of `kind` offers."""
    if answer not in ANSWERS[kind]:
        raise Invalid(
            f"{answer[:40]!r} is no answer to this question",
            f"Use one of: {', '.join(ANSWERS[kind])}.",
            field="answer",
        )


def is_yes(kind: str, answer: str) -> bool:
    """Whether `answer` lets the shop go ahead (order the part, do the work)."""
    return answer == ANSWERS[kind][0] and kind != "give_back"


def check_open(state: str, *, expires_at: datetime, now: datetime) -> None:
    """Raises Conflict unless the question still waits for an answer."""
    if state != QuestionState.OPEN:
        raise Conflict(f"This question is already {state.replace('_', ' ')}", "Ask the shop if that is wrong.")
    if now >= expires_at:
        raise Conflict("The time to answer this question is over", "Ask the shop to ask again.")


def check_may_take_back(kind: str, state: str, answer: str, *, part_ordered: bool, work_done: bool = False) -> None:
    """Raises NotAllowed unless this answer may still be taken back: a yes, and nothing done on it since.

    `work_done`: the bench has begun, or the device is past it, since the yes; a repair needs no part to be underway.
    """
    if state != QuestionState.ANSWERED or not is_yes(kind, answer):
        raise NotAllowed("Only a yes can be taken back", "Ask the shop to change anything else.")
    if part_ordered:
        raise NotAllowed("The part has been ordered, so the yes can no longer be taken back", "Call the shop.")
    if work_done:
        raise NotAllowed("The work has begun, so the yes can no longer be taken back", "Call the shop.")
