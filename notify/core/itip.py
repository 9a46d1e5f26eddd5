"""What a customer's calendar may answer to an invite, in which order answers count, and how far one is believed.

iTIP (RFC 5546) over mail (RFC 6047). The organizer's side only: what comes in is an answer to our own invite.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


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
    if absent. `sequence` is 0 if absent. `stamp` is None only for a method that needs none. `start` and `end` are UTC,
    None if absent or without a zone that is known. `delegated_to` is an addr-spec or "". `comment` is their words.
    `request_status` is the class of the first REQUEST-STATUS (2.0 if absent: RFC 5546 3.6).
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
    """

    sender: str
    by_token: bool = False
    proved: bool = False
