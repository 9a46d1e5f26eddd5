"""The sentences of a claim page that answer: where the device stands, and when it will be ready.

What a customer reads of the time is the promise, and nothing of the forecast behind it: a promise is the shop's word,
and only the shop takes it back. It is said as what we expect until the shop was warned of it; from then until the shop
decides it is said as what was promised, with the word that a change will be told. So the page neither runs ahead of the
shop's decision nor claims to expect what the shop has been told not to. Once it is past, the page says that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from notify.core.tickets import OPEN_PHASES, Phase, WaitsOn
from notify.render.moments import Moments
from notify.render.words import Language


@dataclass(frozen=True, slots=True)
class Standing:
    """What a page says about one device. `since` is when the phase began.

    `promise_moved_later` is True when the promise that stands replaced an earlier one; `part_late` when an
    ordered part should have been here, `part_unknown` when nobody knows when one comes; `promise_doubted` when the shop
    was warned that the promise will hardly be kept, and has not decided yet.
    """

    device_class: str
    phase: Phase
    outcome: str
    reason: str
    waits_on: WaitsOn
    since: datetime
    promise_at: datetime | None = None
    promise_moved_later: bool = False
    part_late: bool = False
    part_unknown: bool = False
    promise_doubted: bool = False

    @property
    def is_open(self) -> bool:
        """Whether the device is with us."""
        return self.phase in OPEN_PHASES

    @property
    def is_ready(self) -> bool:
        """Whether it can be collected."""
        return self.phase is Phase.ON_SHELF


def mark_of(standing: Standing) -> str:
    """The drawing beside the sentence: what it waits for, else the phase."""
    waiting = {WaitsOn.CUSTOMER: "question", WaitsOn.PART: "part"}
    return waiting.get(standing.waits_on, standing.phase.value)


def where(standing: Standing, words: Language, moments: Moments) -> str:
    """One sentence: where this device is, or whom it waits for."""
    device = words[f"your_device.{standing.device_class}"]
    match standing.phase:
        case Phase.HANDED_BACK:
            return words("says.handed_back", your_device=device, when=moments.at(standing.since))
        case Phase.LEFT_BEHIND:
            return words("says.left_behind", your_device=device, when=moments.on(standing.since))
        case Phase.ON_SHELF:
            return _on_shelf(standing, device, words)
    if standing.waits_on is WaitsOn.CUSTOMER:
        return words("says.waiting_customer", your_device=device)
    if standing.waits_on is WaitsOn.PART:
        return words("says.waiting_part_late" if standing.part_late else "says.waiting_part", your_device=device)
    return words(f"says.{standing.phase.value}", your_device=device)


def _on_shelf(standing: Standing, device: str, words: Language) -> str:
    if standing.outcome != "unrepaired":
        return words("says.on_shelf_repaired", your_device=device)
    key = f"reason.{standing.reason}"
    if not standing.reason or key not in words:
        return words("says.on_shelf_unrepaired_plain", your_device=device)
    return words("says.on_shelf_unrepaired", your_device=device, reason=words[key])


def when_ready(standing: Standing, words: Language, moments: Moments) -> str:
    """When it will be ready; empty once it is, or when nobody works on it any more."""
    if standing.is_ready or not standing.is_open:
        return ""
    if standing.waits_on is WaitsOn.CUSTOMER:
        return words["says.expect_answer" if standing.promise_at else "says.expect_answer_first"]
    if standing.promise_at is None:
        no_date = standing.waits_on is WaitsOn.PART and (standing.part_unknown or standing.part_late)
        return words["says.expect_part" if no_date else "says.expect_none"]
    if standing.promise_at <= moments.now:
        return words["says.expect_passed"]
    return words(f"says.{_expected(standing)}", when=moments.by(standing.promise_at))


def _expected(standing: Standing) -> str:
    if standing.promise_doubted:
        return "expect_doubted"
    return "expect_late" if standing.promise_moved_later else "expect"


@dataclass(frozen=True, slots=True)
class Answer:
    """The head of the page: the drawing, the sentence that answers, and what to expect (may be empty)."""

    mark: str
    sentence: str
    expect: str


def answer(own: Standing, others: Sequence[Standing], words: Language, moments: Moments) -> Answer:
    """What the link's own device, seen with the rest of its visit, comes to in one sentence.

    A question for this link comes first: it is what keeps things waiting. Then what of the visit can be
    collected, since a visit is collected together. Else the own device speaks for itself.
    """
    whole = [one for one in (own, *others) if one.is_open]
    ready = [one for one in whole if one.is_ready]
    if own.waits_on is WaitsOn.CUSTOMER or not ready:
        return _alone(own, words, moments)
    if len(whole) == 1:
        return _alone(whole[0], words, moments)
    if len(ready) < len(whole):
        return Answer("on_shelf", words("says.some_ready", ready=len(ready), total=len(whole)), "")
    repaired = {one.outcome != "unrepaired" for one in ready}
    key = "all_ready_mixed" if len(repaired) == 2 else "all_ready" if repaired == {True} else "all_ready_unrepaired"
    return Answer("on_shelf", words[f"says.{key}"], "")


def _alone(one: Standing, words: Language, moments: Moments) -> Answer:
    return Answer(mark_of(one), where(one, words, moments), when_ready(one, words, moments))


def line_of(standing: Standing, words: Language, moments: Moments, *, is_own: bool) -> str:
    """A device in the list of a visit. A question for another device is answered on that one's own link."""
    if standing.waits_on is WaitsOn.CUSTOMER and not is_own:
        return words("says.waiting_customer_there", your_device=words[f"your_device.{standing.device_class}"])
    sentence, expect = where(standing, words, moments), when_ready(standing, words, moments)
    return words("claim.device_line", sentence=sentence, expect=expect).strip()
