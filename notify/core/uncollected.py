"""Devices that nobody collects: how far a law's steps have come, in whole days; what happens is a person's to say.

Not legal advice. A rule is a row that somebody read, checked and switched on (core/uncollected_rules has examples).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from notify.core.errors import Invalid, NotAllowed

LONGEST = 3660  # days; a longer wait is a slip of the pen


class Stage(StrEnum):
    """How far it has come."""

    NO_RULE = "no_rule"  # no rule of the law was checked and switched on: days are counted, nothing follows from them
    NOT_TOLD = "not_told"  # nothing that says it is ready ever really left: no period has begun
    WAITS = "waits"  # the notice may not be given yet
    NOTICE_DUE = "notice_due"  # the notice may be given
    NOTICE_EARLY = "notice_early"  # it was given before its day, so it does not count
    NOTICE_GIVEN = "notice_given"  # its period runs
    ANSWERED = "answered"  # they answered it: what was agreed with them counts now
    MAY_DECIDE = "may_decide"  # the period is over: a person may decide


class Step(StrEnum):
    """What a person did about it, noted with its day."""

    NOTICE_PRINTED = "notice_printed"
    NOTICE_GIVEN = "notice_given"
    ANSWERED = "answered"
    WIPED = "wiped"
    NO_DATA = "no_data"
    CAUTIONS_READ = "cautions_read"
    MONEY_NOTED = "money_noted"


# How a notice can be given; which of them counts is the law's to say.
WAYS = ("by_hand", "registered_post", "recorded_delivery", "post", "newspaper", "email_beside")


@dataclass(frozen=True, slots=True)
class Rule:
    """One law's periods as somebody at the shop read them: whole days before and after the notice.

    `form` is how the notice must be given, `checked_on` the day somebody read the law itself.
    """

    code: str
    name: str
    notice_after_days: int
    wait_days: int
    form: str
    source: str
    checked_on: date | None = None
    verified: bool = False
    active: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """Days by the shop's calendar. `told_on` is when word that it is ready first really left, or was said on the phone.

    `steps` are those noted since it was put on the shelf, in the order noted: (step, day).
    """

    ready_on: date
    told_on: date | None
    steps: tuple[tuple[Step, date], ...] = ()


@dataclass(frozen=True, slots=True)
class Standing:
    """The stage, and the first days on which the notice may be given and a person may decide (None: not known yet)."""

    stage: Stage
    notice_from: date | None = None
    notice_on: date | None = None
    decide_from: date | None = None


def free_after(day: date, days: int) -> date:
    """The first day after a period of whole days that began with something that happened on `day`.

    The day itself is not counted and the last day counts to its end (Regulation (EEC, Euratom) 1182/71 art. 3; German
    BGB 187(1), 188(1); both from memory); elsewhere this is policy: it is never a day too short. No period, no wait.
    """
    return day + timedelta(days=days + 1) if days else day


def last_day(day: date, days: int) -> date:
    """The last day of that period: a customer may still come on it."""
    return day + timedelta(days=days)


def standing(rule: Rule | None, facts: Facts, *, today: date) -> Standing:
    """Where a device stands under a rule (None: the shop has none that is verified and active)."""
    given = _newest(facts.steps, Step.NOTICE_GIVEN)
    if facts.told_on is None:
        return Standing(Stage.NOT_TOLD, notice_on=given)
    if rule is None:
        return Standing(Stage.NO_RULE, notice_on=given)
    notice_from = free_after(max(facts.ready_on, facts.told_on), rule.notice_after_days)
    if given is None:
        return Standing(Stage.NOTICE_DUE if today >= notice_from else Stage.WAITS, notice_from)
    if given < notice_from:
        return Standing(Stage.NOTICE_EARLY, notice_from, given)
    decide_from = free_after(given, rule.wait_days)
    answered = _newest(facts.steps, Step.ANSWERED)
    if answered is not None and answered >= given:
        return Standing(Stage.ANSWERED, notice_from, given, decide_from)
    return Standing(Stage.MAY_DECIDE if today >= decide_from else Stage.NOTICE_GIVEN, notice_from, given, decide_from)


def _newest(steps: Iterable[tuple[Step, date]], wanted: Step) -> date | None:
    """The day of the step that was noted last: a wrong day is corrected by noting it again."""
    return next((day for step, day in reversed(tuple(steps)) if step is wanted), None)


@dataclass(frozen=True, slots=True)
class Check:
    """One line of the list before a device is closed as never collected: a code, and whether it is done."""

    code: str
    done: bool


def checklist(stage: Stage, steps: Iterable[tuple[Step, date]], *, gave_it_up: bool = False) -> tuple[Check, ...]:
    """What must be done first. Whoever gave the device up in so many words needs no notice, but that is noted."""
    noted = {step for step, _ in steps}
    told = Step.ANSWERED if gave_it_up else Step.NOTICE_GIVEN
    return (
        Check("period_over", stage is Stage.MAY_DECIDE),
        Check(told.value, told in noted),
        Check("wiped", bool(noted & {Step.WIPED, Step.NO_DATA})),
        Check(Step.CAUTIONS_READ.value, Step.CAUTIONS_READ in noted),
        Check(Step.MONEY_NOTED.value, Step.MONEY_NOTED in noted),
    )


_MISSING = {
    "period_over": "no verified rule says that its day has come",
    "notice_given": "no notice was noted as given",
    "answered": "their own word was not noted",
    "wiped": "nobody noted that it was wiped or holds no data",
    "cautions_read": "nobody noted that the cautions were read",
    "money_noted": "nobody noted what is owed",
}


def check_may_leave(checks: Iterable[Check], *, own_reason: str, confirmed: bool) -> None:
    """Raises NotAllowed naming every line that is still open.

    An owner's own written reason, confirmed once more, stands in for the rule's day; for nothing else.
    """
    open_ones = [one.code for one in checks if not one.done]
    if own_reason.strip() and confirmed:
        open_ones = [code for code in open_ones if code != "period_over"]
    if open_ones:
        missing = "; ".join(_MISSING[code] for code in open_ones)
        advice = "See its list on the page of uncollected devices."
        if open_ones == ["period_over"]:
            advice = "Wait for the day, or write a reason of your own and confirm it."
        raise NotAllowed(f"It cannot be closed as never collected yet: {missing}", advice, field="note")


def parse_step(text: str) -> Step:
    """The step named by its code; raises Invalid listing all of them."""
    try:
        return Step(text)
    except ValueError:
        raise Invalid(f"{text[:40]!r} is no step", f"Use one of: {', '.join(Step)}.", field="step") from None


def check_step(step: Step, how: str, on: date, *, ready_on: date, today: date) -> None:
    """Raises Invalid for a day that cannot be meant, or a notice without its way."""
    if not ready_on <= on <= today:
        raise Invalid("That day lies outside the time on the shelf", f"Use {ready_on} to {today}.", field="on")
    if step is Step.NOTICE_GIVEN and how not in WAYS:
        raise Invalid("How the notice was given is missing", f"Use one of: {', '.join(WAYS)}.", field="how")
    if step is not Step.NOTICE_GIVEN and how:
        raise Invalid("Only a notice is given in some way", "Leave that field empty.", field="how")


def check_rule(rule: Rule, *, today: date) -> None:
    """Raises Invalid for a rule that cannot be meant, NotAllowed for an active one that nobody verified."""
    for field, days in (("notice_after_days", rule.notice_after_days), ("wait_days", rule.wait_days)):
        if not 0 <= days <= LONGEST:
            raise Invalid(f"{days} days cannot be meant", f"Use 0 to {LONGEST}.", field=field)
    for field in ("name", "form", "source"):
        if not getattr(rule, field):
            raise Invalid(f"The rule has no {field}", "Write it down as the law has it.", field=field)
    if rule.checked_on is not None and rule.checked_on > today:
        raise Invalid("The day on which the law was read lies ahead", "Enter when it was read.", field="checked_on")
    if rule.verified and rule.checked_on is None:
        raise Invalid("A verified rule needs the day on which the law was read", "Enter it.", field="checked_on")
    if rule.active and not rule.verified:
        raise NotAllowed(
            "This rule was not verified, so it cannot be switched on",
            "Read the law, correct the row, note the day and tick it as verified.",
            field="verified",
        )


def review_on(since: date, *, days: int, today: date) -> date | None:
    """The next day on which somebody should look again why it is kept: every `days` from `since`; None for 0."""
    if days <= 0:
        return None
    passed = max(0, (today - since).days)
    return since + timedelta(days=(passed // days + 1) * days)
