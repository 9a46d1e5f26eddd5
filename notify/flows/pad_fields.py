"""The number on a ticket printed in advance, as it is typed at check-in: known, blank, and on one device only."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from notify.core.claim_number import parse_number
from notify.core.errors import Invalid
from notify.store import pad_tickets
from notify.store.database import Unit
from notify.store.pad_tickets import ENTERED, PRINTED, PadTicket


def blank(unit: Unit, text: str, *, taken_in: datetime) -> PadTicket:
    """The ticket of a pad with that number; raises Invalid unless it may be entered for that time."""
    one = pad_tickets.by_number(unit, parse_number(text))
    if one is None:
        raise Invalid("No pad has a ticket with this number", "Read it once more from the paper.")
    if one.state != PRINTED:
        was = "was entered already" if one.state == ENTERED else "was made void"
        raise Invalid(f"This ticket {was}", "Look for it by its number, or read the paper once more.")
    if taken_in < one.printed_at:
        raise Invalid("This pad was printed later than that", "Look at the time again.")
    return one


def named_twice(found: Sequence[object]) -> tuple[Invalid, ...]:
    """One piece of paper is for one device: a problem for each later device with the same."""
    numbers = [one.number if isinstance(one, PadTicket) else "" for one in found]
    return tuple(
        Invalid("Another device has this number", "Each has a ticket of its own.", field=f"pad-{i}")
        for i, number in enumerate(numbers) if number and number in numbers[:i]
    )  # fmt: skip
