"""What somebody may ask by law about their own data: kinds, figures with their sources, deadlines, ways and reasons.

The period is counted from receipt, whatever is still to be made sure. UK law since 5 February 2026 (UK GDPR art. 12A)
lets the clock stand still while the shop waits to learn who asks; that is not used here, since an earlier day is never
a wrong one. Complaints about data protection (UK: acknowledged within 30 days) are letters that a person answers, and
not kept here. Not legal advice: check your local law.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from notify.core.deadlines import months_after
from notify.core.errors import Invalid


class Kind(StrEnum):
    """What is asked for."""

    ACCESS = "access"
    CORRECTION = "correction"
    ERASURE = "erasure"
    RESTRICTION = "restriction"
    OBJECTION = "objection"


ARTICLES: dict[Kind, str] = {
    Kind.ACCESS: "GDPR art. 15 and 20",
    Kind.CORRECTION: "GDPR art. 16",
    Kind.ERASURE: "GDPR art. 17",
    Kind.RESTRICTION: "GDPR art. 18",
    Kind.OBJECTION: "GDPR art. 21",
}
OPEN, DONE, REFUSED, WITHDRAWN = "open", "done", "refused", "withdrawn"
MOST_WORDS = 2000  # of what is noted about one
LIFTING = "lifting"  # no state: what a message says that tells somebody of the end of a restriction
# How it came; by the first two the contact itself speaks, though only a code typed on the claim page proves it.
WAYS = ("claim_page", "reply", "counter", "phone", "post")
# Why it may be refused: GDPR art. 12(5)(a)/(b), 17(3) and 15(4), 12(2) with 11(2).
REASONS = ("unfounded", "excessive", "exception", "not_identified")


@dataclass(frozen=True, slots=True)
class Figure:
    """A number that the law or we set: what it counts, where it stands, and the day on which that was read."""

    number: int
    unit: str
    source: str
    checked_on: date


_CHECKED = date(2026, 11, 28)
FIGURES: dict[str, Figure] = {
    "answer": Figure(
        1, "months", "GDPR and UK GDPR art. 12(3) and 12A: one month from receipt; Reg. (EEC, Euratom) 1182/71 art. 3",
        _CHECKED,
    ),
    "extension": Figure(2, "months", "GDPR art. 12(3): by two further months, told within the first", _CHECKED),
    "bell": Figure(7, "days", "common practice, no source", _CHECKED),
    "rest": Figure(12, "hours", "our choice: who asked to be forgotten can sleep on it, and take it back", _CHECKED),
}  # fmt: skip


class Standing(StrEnum):
    """How an open request stands today."""

    IN_TIME = "in_time"
    SOON = "soon"
    LATE = "late"


def read_kind(kind: str) -> Kind:
    """The kind by its code word; raises Invalid."""
    try:
        return Kind(kind)
    except ValueError:
        raise Invalid(f"{kind[:20]!r} cannot be asked for", f"Use one of: {', '.join(Kind)}.", field="kind") from None


def due_on(received: date, *, holidays: Container[date]) -> date:
    """The last day on which it must be answered."""
    return months_after(received, FIGURES["answer"].number, holidays=holidays)


def longest(received: date, *, holidays: Container[date]) -> date:
    """The last day once it was extended: one month and two further ones after receipt."""
    whole = FIGURES["answer"].number + FIGURES["extension"].number
    return months_after(received, whole, holidays=holidays)


def may_extend(today: date, due: date, extended_to: date | None) -> bool:
    """Once, and only while the first month runs."""
    return extended_to is None and today <= due


def standing(today: date, last: date) -> Standing:
    """Whether its day is far off, near or over; the last day itself is not late yet."""
    if today > last:
        return Standing.LATE
    return Standing.SOON if today >= last - timedelta(days=FIGURES["bell"].number) else Standing.IN_TIME


def erased_from(asked_at: datetime) -> datetime:
    """From when on a night may erase whoever asked for it at that instant."""
    return asked_at + timedelta(hours=FIGURES["rest"].number)
