"""What the claim page shows, as data, and the words that it is said in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from notify.flows.view_hours import Door
from notify.flows.view_passes import PassPart
from notify.flows.view_reach import ContactLine
from notify.render.claim_story import Step
from notify.render.words import Language


@dataclass(frozen=True, slots=True)
class Speech:
    """The words: `messages` are those that mails use (answers, cautions), `pages` those of customer pages."""

    messages: Callable[[str], Language]
    pages: Callable[[str], Language]


@dataclass(frozen=True, slots=True)
class Asked:
    """An open question. `options` are (code, label); none when the price is not shown to whoever holds the link.

    `by_code`: a code to the stored contact shows it; else it is told by phone.
    """

    id: str
    wording: str
    price: str
    until: str
    options: tuple[tuple[str, str], ...]
    by_code: bool = False


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer that still matters."""

    id: str
    sentence: str
    can_take_back: bool


@dataclass(frozen=True, slots=True)
class Device:
    """One device in the list of a visit of several."""

    number: str
    mark: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Pickup:
    """`state` is open (may choose), booked, or walk_in (no time on offer). `when` is "" unless booked.

    `once` names what giving it up would give up, so that an old page gives up nothing else. `to_come` is False for a
    booked time that is over.
    """

    state: str
    sentence: str
    when: str
    place: str
    once: str = ""
    to_come: bool = False


@dataclass(frozen=True, slots=True)
class ClaimView:
    """Everything the claim page shows, in the customer's language; `language` is its code."""

    shop_id: str
    visit_id: str
    ticket_id: str
    language: str
    number: str
    mark: str
    sentence: str
    expect: str
    cautions: tuple[str, ...]
    devices: tuple[Device, ...]
    questions: tuple[Asked, ...]
    answered: tuple[Answered, ...]
    pickup: Pickup | None
    show_code: bool
    story: tuple[Step, ...]
    collectors: tuple[str, ...]
    passes: PassPart
    contacts: tuple[ContactLine, ...]
    known: str
    door: Door
    ends: datetime | None  # the instant at which something shown here is over, if one is known
