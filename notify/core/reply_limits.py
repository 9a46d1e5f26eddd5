"""How often one side may make the other side hear something: no robot, and no forged sender, becomes a flood.

RFC 3834 2 asks that automatic answers be limited per sender; the figures are this project's choice, no source.
"""

from __future__ import annotations

from datetime import timedelta

RING_WINDOW, MOST_RINGS = timedelta(hours=1), 5
ANSWER_WINDOW, MOST_ANSWERS = timedelta(days=1), 6

INVITES_WINDOW, MOST_INVITES = timedelta(days=1), 3
MOST_QUESTIONS = 3  # of one kind about one pickup


def may_ring(unread: int) -> bool:
    """Whether one more reply about a visit rings: `unread` of it were taken within RING_WINDOW and nobody read them.

    Who has not come for five will not come for a sixth; it stands on the day sheet all the same.
    """
    return unread < MOST_RINGS


def may_answer(answered: int) -> bool:
    """Whether one more wish of a person is confirmed, after so many answers in a visit on this channel within
    ANSWER_WINDOW.

    The wish itself is always obeyed.
    """
    return answered < MOST_ANSWERS


def may_send_invite_again(sent: int) -> bool:
    """Whether a calendar that asks for its invite gets it, after so many of that booking within INVITES_WINDOW.

    RFC 5546 6.1.6 and 6.2.2: such a wish may be used to flood somebody.
    """
    return sent < MOST_INVITES


def may_ask(waiting: int) -> bool:
    """Whether one more calendar answer becomes a question to staff, when so many of its kind wait about a pickup.

    What does not is still read by somebody, as a letter: whoever knows an invite must not fill the list of questions.
    """
    return waiting < MOST_QUESTIONS
