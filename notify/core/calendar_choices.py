"""What calendar answers ask of people, what one answer makes of an older question, and what staff may decide."""

from __future__ import annotations

from enum import StrEnum

from notify.core.itip import Decision, Partstat


class Choice(StrEnum):
    """What staff decide about an open calendar answer; the words of the command."""

    FREE = "free"  # the place is given up, and the customer told
    KEEP = "keep"  # the place stays
    TAKE = "take"  # the pickup moves to the time asked for
    NO = "no"  # the time asked for does not suit; the pickup stays, and whoever asked is told
    SEEN = "seen"  # nothing is to be done


# A question that ended by itself.
SUPERSEDED, MOVED_ON = "superseded", "moved_on"
OPENS = frozenset({
    Decision.FLAG_STALE, Decision.FLAG_UNVERIFIED, Decision.FLAG_PARTY_CRASHER, Decision.FLAG_DELEGATED,
    Decision.RECORD_PROPOSAL, Decision.ROUTE_TO_HUMAN,
})  # fmt: skip
# What the program settled by itself, so that nobody has to look at the letter. What was refused is still read by
# somebody: its sender may believe that it was heard.
SETTLES = frozenset({
    Decision.APPLY, Decision.APPLY_UNVERIFIED, Decision.NO_STATE_CHANGE, Decision.IGNORE_STALE,
    Decision.RESEND_CURRENT_REQUEST, Decision.REJECT_UNAUTHORIZED,
})  # fmt: skip
_DOUBTFUL = frozenset({Decision.FLAG_UNVERIFIED, Decision.FLAG_STALE})
# Newer answer -> the open questions about the same booking that it makes needless. Nothing less proved ends what is
# better proved, and what somebody else's calendar said stays; a question that comes again stands there once.
_CLOSES: dict[Decision, frozenset[Decision]] = {
    Decision.APPLY: OPENS - {Decision.FLAG_PARTY_CRASHER},
    Decision.APPLY_UNVERIFIED: _DOUBTFUL,
    Decision.RECORD_PROPOSAL: _DOUBTFUL | {Decision.RECORD_PROPOSAL, Decision.FLAG_DELEGATED},
}
_DOUBT = {Decision.FLAG_UNVERIFIED: "_unproved", Decision.FLAG_STALE: "_stale"}
_ALONE = {
    Decision.FLAG_PARTY_CRASHER: "somebody_else",
    Decision.FLAG_DELEGATED: "delegated",
    Decision.ROUTE_TO_HUMAN: "unclear",
}


def closes(decision: Decision) -> frozenset[Decision]:
    """The decisions whose open questions end with a newer answer of this one."""
    return _CLOSES.get(decision, frozenset({decision}) & OPENS)


def asks(decision: str, method: str, partstat: str) -> str:
    """What an open answer asks, as a code of the words files (`calendar_asks`)."""
    if decision in _ALONE:
        return _ALONE[Decision(decision)]
    doubt = _DOUBT.get(Decision(decision), "")
    if method == "COUNTER":
        return f"proposal{doubt}"
    if method == "REPLY" and doubt:
        return f"{'no' if partstat == Partstat.DECLINED else 'yes'}{doubt}"
    return "unclear"


def choices(asked: str, *, is_live: bool) -> tuple[Choice, ...]:
    """What staff may decide about it, the usual one first; a pickup that is over can only be noted."""
    if is_live and asked.startswith("proposal"):
        return (Choice.TAKE, Choice.NO)
    if is_live and asked.startswith("no_"):
        return (Choice.FREE, Choice.KEEP)
    return (Choice.SEEN,)


# Every code that `asks` can give.
ASKED = (
    "somebody_else", "delegated", "unclear", "proposal", "proposal_unproved", "proposal_stale", "no_unproved",
    "no_stale", "yes_unproved", "yes_stale",
)  # fmt: skip
