"""A reason to keep somebody's data beyond their time: what may be set by hand, and when somebody looks again.

GDPR art. 17(3)(e): what is needed for legal claims may stay; art. 5(1)(e): no longer than needed, so every hold has a
day on which somebody looks again. Past that day it still holds: nothing goes because somebody forgot to look.
"""

from __future__ import annotations

from datetime import date, timedelta

from notify.core.errors import Invalid
from notify.core.retention import EXCEPTIONS

# What may be set by hand, with the words that stand in a list of them. The last two also follow from the ticket itself.
HOLD_REASONS: dict[str, str] = {code: EXCEPTIONS[code] for code in ("dispute", "legal", "unpaid", "uncollected")}
NEEDS_WORDS = ("dispute", "legal")  # what no ticket shows has to be said in a few words
LEAST_WORDS = 5
USUAL_REVIEW = timedelta(days=90)  # our choice
LATEST_REVIEW = timedelta(days=3 * 366)  # our choice: three years, as the usual time for claims (from memory)


def check_reason(reason: str, note: str) -> None:
    """Raises Invalid for a reason that may not be set, or one without the words that it needs."""
    if reason not in HOLD_REASONS:
        raise Invalid(f"{reason[:40]!r} is no reason to keep data", f"Use one of: {', '.join(HOLD_REASONS)}.",
                      field="reason")  # fmt: skip
    if reason in NEEDS_WORDS and len(note) < LEAST_WORDS:
        raise Invalid("What is it about?", f"Write it in a few words, {LEAST_WORDS} letters at least; they are kept "
                      "sealed and go with the data.", field="note")  # fmt: skip


def review_day(wanted: date | None, *, today: date) -> date:
    """The day on which somebody looks again; three months from now when none is wanted. Raises Invalid."""
    day = wanted or today + USUAL_REVIEW
    if not today < day <= today + LATEST_REVIEW:
        raise Invalid(f"Nobody can look again on {day}", f"Choose a day from {today + timedelta(days=1)} to "
                      f"{today + LATEST_REVIEW}.", field="review_on")  # fmt: skip
    return day
