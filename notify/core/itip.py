"""What a customer's calendar may answer, and how far it is believed. Long: what is judged stands beside its judge.

iTIP (RFC 5546) over mail (RFC 6047). The organizer's side only: what comes in is an answer to our own invite.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from urllib.parse import unquote

from notify.core.contacts import parse_email
from notify.core.errors import Invalid

PERMITTED = frozenset({"REPLY", "COUNTER", "REFRESH"})  # RFC 5546 1.4: what an attendee may send to an organizer
# A calendar program's clock is wrong by a zone or by daylight saving, hardly by more: common practice, no source.
CLOCK_SLACK = timedelta(days=1)


class Partstat(StrEnum):
    """What the attendee says (RFC 5545 3.2.12); a token that is none of these counts as NEEDS_ACTION."""

    NEEDS_ACTION = "needs_action"
    ACCEPTED = "accepted"
    TENTATIVE = "tentative"
    DECLINED = "declined"
    DELEGATED = "delegated"


class Decision(StrEnum):
    """What is done with one calendar object that came in; the words of tests/vectors/calendar.json."""

    APPLY = "apply"
    APPLY_UNVERIFIED = "apply_unverified"  # counted, and shown as not proved: it does nothing that matters
    NO_STATE_CHANGE = "no_state_change"
    IGNORE_STALE = "ignore_stale"
    FLAG_STALE = "flag_stale"
    FLAG_UNVERIFIED = "flag_unverified"
    FLAG_PARTY_CRASHER = "flag_party_crasher"
    FLAG_DELEGATED = "flag_delegated"
    RECORD_PROPOSAL = "record_proposal"
    RESEND_CURRENT_REQUEST = "resend_current_request"
    ROUTE_TO_HUMAN = "route_to_human"
    REJECT_UNKNOWN_UID = "reject_unknown_uid"
    REJECT_NOT_PERMITTED = "reject_not_permitted"
    REJECT_UNAUTHORIZED = "reject_unauthorized"
    REJECT_MALFORMED = "reject_malformed"
    REJECT_TOO_LARGE = "reject_too_large"
    REJECT_METHOD_MISMATCH = "reject_method_mismatch"


@dataclass(frozen=True, slots=True, repr=False)
class Answer:
    """One calendar object as read, every field checked; nothing in it is believed yet.

    `method` is in capitals. `attendee` and `organizer` are addr-specs in lower case without the scheme, `organizer` ""
    if absent, "?" if it is no mailbox. `sequence` is 0 if absent. `stamp` is None only for a method that needs none.
    `start` and `end` are UTC, None if absent or without a zone that is known; only a COUNTER has them. `delegated_to`
    is an addr-spec, "" for nobody, "?" if it is no mailbox. `comment` is their words. `request_status` is the highest
    code of all REQUEST-STATUS, such as 3.7 (2.0 if absent: RFC 5546 3.6).
    """

    method: str
    uid: str
    attendee: str
    partstat: Partstat = Partstat.NEEDS_ACTION
    organizer: str = ""
    sequence: int = 0
    stamp: datetime | None = None
    start: datetime | None = None
    end: datetime | None = None
    delegated_to: str = ""
    comment: str = ""
    request_status: str = "2.0"

    def __repr__(self) -> str:
        return f"Answer({self.method}, {self.partstat}, sequence={self.sequence})"  # no address may reach a log


@dataclass(frozen=True, slots=True)
class Unread:
    """A calendar object that was refused before it was believed: `decision` is REJECT_* or ROUTE_TO_HUMAN."""

    decision: Decision
    why: str


@dataclass(frozen=True, slots=True, repr=False)
class Standing:
    """Our own record of the pickup it speaks of (RFC 5546 2.1.5 says what must be kept).

    `organizer` and `attendee` are addr-specs in lower case; `is_live` is False once it was cancelled, missed or kept.
    """

    uid: str
    organizer: str
    attendee: str
    sequence: int
    is_live: bool
    partstat: Partstat = Partstat.NEEDS_ACTION
    reply_sequence: int | None = None
    reply_stamp: datetime | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Bearer:
    """How the letter that carried it came: what the ladder of trust is climbed with.

    `sender` is the one addr-spec of From in lower case. `by_token`: it came to the unguessable address of this pickup.
    `proved`: our own border mail server says that DMARC, or an aligned DKIM signature, passed for that sender.
    `arrived` is when our mail server took the letter over (aware); None: not known, and DTSTAMP is believed.
    """

    sender: str
    by_token: bool = False
    proved: bool = False
    arrived: datetime | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is done with one answer, and in one word why.

    `stamp` is what the booking keeps as `reply_stamp` (with the answer's SEQUENCE) when it was applied: DTSTAMP, but
    never later than the letter came, so that a clock that is ahead holds up no later answer. `why` is "" where the
    decision says it all, else one of: proved, not_proved, by_another, delegates, unknown_uid, foreign_organizer,
    other_attendee, failed_there, not_live, old_revision, unsent_revision, no_stamp, dated_ahead, older, repeated,
    says_nothing, not_permitted.
    """

    decision: Decision
    why: str = ""
    stamp: datetime | None = None


def judge(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict:
    """What an answer to a pickup may do; pure, and the first step of _STEPS that objects decides.

    Nothing in it revives a cancelled booking, moves one, or changes whose it is. Order: RFC 5546 2.1.5; who may:
    RFC 5546 1.4, RFC 6047 2.2.1; how far unsigned mail is believed: the ladder in `_by_trust`.
    """
    for step in _STEPS:
        if found := step(standing, answer, bearer):
            return found
    return _by_trust(standing, answer, bearer)


def address_of(cal_address: str) -> str:
    """The addr-spec in a calendar address, in lower case; "" for none, or for anything but one mailbox.

    `mailto:` in any case (RFC 5545 3.3.3), percent-encoded (RFC 6068 2); capitals do not tell mailboxes apart.
    """
    scheme, _, rest = cal_address.strip().partition(":")
    if scheme.lower() != "mailto":
        return ""
    try:
        return parse_email(unquote(rest.partition("?")[0])).lower()
    except Invalid:
        return ""


def counted_stamp(answer: Answer, bearer: Bearer) -> datetime | None:
    """When it was said: DTSTAMP (RFC 5545 3.8.7.2), and no later than it came."""
    if answer.stamp is None or bearer.arrived is None:
        return answer.stamp
    return min(answer.stamp, bearer.arrived.replace(microsecond=0))


_Step = Callable[[Standing, Answer, Bearer], Verdict | None]
# Of two contradicting answers of one second the one that keeps the place counts, in whatever order they come.
_RANK = {each: place for place, each in enumerate((
    Partstat.NEEDS_ACTION, Partstat.DELEGATED, Partstat.DECLINED, Partstat.TENTATIVE, Partstat.ACCEPTED
))}  # fmt: skip


def _permitted(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict | None:
    """RFC 5546 1.4. A REQUEST that delegates goes to the delegate and may come to us as a copy (3.2.2.3)."""
    if answer.method == "REQUEST" and answer.delegated_to:
        return Verdict(Decision.ROUTE_TO_HUMAN, "delegates")
    return None if answer.method in PERMITTED else Verdict(Decision.REJECT_NOT_PERMITTED, "not_permitted")


def _known_uid(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict | None:
    """RFC 5546 3.2.3; the token in the address does not help: it would name another pickup than the UID."""
    return None if answer.uid == standing.uid else Verdict(Decision.REJECT_UNKNOWN_UID, "unknown_uid")


def _our_organizer(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict | None:
    """Absent is usual (Exchange); another one was never written by us, and a person looks at it."""
    if not answer.organizer or _same(answer.organizer, standing.organizer):
        return None
    return Verdict(Decision.FLAG_UNVERIFIED, "foreign_organizer")


def _our_attendee(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict | None:
    """RFC 5546 3.2.3 lets the organizer choose about a party crasher: nobody is added."""
    if answer.attendee and _same(answer.attendee, standing.attendee):
        return None
    return Verdict(Decision.FLAG_PARTY_CRASHER, "other_attendee")


def _went_well(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict | None:
    """RFC 5546 3.6: 1.x and 2.x are good; with any other nothing was scheduled at their side."""
    return None if answer.request_status[:2] in ("1.", "2.") else Verdict(Decision.ROUTE_TO_HUMAN, "failed_there")


def _is_live(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict | None:
    return None if standing.is_live else Verdict(Decision.FLAG_STALE, "not_live")


def _asks_again(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict | None:
    """RFC 5546 6.1.6: it goes to the stored address, whoever asks; how often is the caller's to limit."""
    return Verdict(Decision.RESEND_CURRENT_REQUEST) if answer.method == "REFRESH" else None


def _of_this_revision(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict | None:
    """RFC 5546 2.1.4, 2.1.5 rule 3. A revision that we never sent must not be kept, or it would outrank ours."""
    if answer.sequence < standing.sequence:
        return Verdict(Decision.FLAG_STALE, "old_revision")
    return Verdict(Decision.ROUTE_TO_HUMAN, "unsent_revision") if answer.sequence > standing.sequence else None


def _has_a_time(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict | None:
    """Without DTSTAMP it has no place in the order; one far ahead of its letter is no clock that is a little wrong."""
    if answer.stamp is None:
        return Verdict(Decision.REJECT_MALFORMED, "no_stamp")
    ahead = bearer.arrived is not None and answer.stamp - bearer.arrived > CLOCK_SLACK
    return Verdict(Decision.FLAG_UNVERIFIED, "dated_ahead") if ahead else None


def _is_newest(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict | None:
    """RFC 5546 2.1.5 rule 4 and last paragraph: SEQUENCE, then DTSTAMP, of this attendee's last answer."""
    stamp = counted_stamp(answer, bearer)
    if stamp is None or standing.reply_sequence is None or standing.reply_stamp is None:
        return None
    new, old = (answer.sequence, stamp), (standing.reply_sequence, standing.reply_stamp)
    if answer.method == "REPLY" and new == old:
        return _of_one_second(standing, answer)
    return Verdict(Decision.IGNORE_STALE, "older") if new < old else None


def _of_one_second(standing: Standing, answer: Answer) -> Verdict | None:
    ahead = _RANK[answer.partstat] - _RANK[standing.partstat]
    if ahead == 0:
        return Verdict(Decision.NO_STATE_CHANGE, "repeated")
    return Verdict(Decision.IGNORE_STALE, "older") if ahead < 0 else None


def _says_something(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict | None:
    """RFC 5545 3.2.12: an unknown word counts as NEEDS-ACTION. A delegate may collect only as our own rules say."""
    if answer.method != "REPLY":
        return None
    if answer.delegated_to or answer.partstat is Partstat.DELEGATED:
        return Verdict(Decision.FLAG_DELEGATED, "delegates")
    nothing = answer.partstat is Partstat.NEEDS_ACTION
    return Verdict(Decision.NO_STATE_CHANGE, "says_nothing") if nothing else None


_STEPS: tuple[_Step, ...] = (
    _permitted, _known_uid, _our_organizer, _our_attendee, _went_well, _is_live, _asks_again, _of_this_revision,
    _has_a_time, _is_newest, _says_something,
)  # fmt: skip


def _by_trust(standing: Standing, answer: Answer, bearer: Bearer) -> Verdict:
    """Token or UID, and ATTENDEE, are known by now: the two rungs of the ladder that are left.

    RFC 6047 2.2.2 wants signatures, which customers do not make. Instead: From is ATTENDEE, and our own border server
    says that this sender is proved. Without proof a yes is counted and shown as not proved, since it changes nothing;
    a no and another time are asked about. From somebody else, RFC 6047 2.2.1: nothing counts.
    """
    stamp = counted_stamp(answer, bearer)
    if not _same(bearer.sender, answer.attendee):
        return Verdict(Decision.FLAG_UNVERIFIED, "by_another")
    if not bearer.proved and _takes_something(answer):
        return Verdict(Decision.FLAG_UNVERIFIED, "not_proved", stamp)
    if answer.method == "COUNTER":
        return Verdict(Decision.RECORD_PROPOSAL, "proved", stamp)
    if bearer.proved:
        return Verdict(Decision.APPLY, "proved", stamp)
    return Verdict(Decision.APPLY_UNVERIFIED, "not_proved", stamp)


def _takes_something(answer: Answer) -> bool:
    return answer.method == "COUNTER" or answer.partstat is Partstat.DECLINED


def _same(one: str, other: str) -> bool:
    """Capitals do not tell mailboxes apart (RFC 5321 2.4 for the domain; for the rest our policy everywhere)."""
    return one.lower() == other.lower()
