"""Which kinds of data are kept, for how long, from when that counts, and what keeps them longer: a table, no advice.

Periods are the shop's choice (dated rows in the store); what stands here counts until the shop writes a row of its own.
Not legal advice: other places have other laws, and tables like this one go stale, so each row has a source and the day
on which it was checked.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from datetime import date

from notify.core.durations import before, parse_duration, runs_out
from notify.core.errors import Invalid

CHECKED_ON = date(2026, 11, 28)
NOT_ADVICE = "This is not legal advice: check your local law."
CLOCKS = ("event", "end_of_calendar_year", "end_of_financial_year")
FAR = date(2100, 1, 1)  # a period must leave every reckoning possible until then
# What keeps data beyond their period, with the words that stand in a list of them.
EXCEPTIONS: dict[str, str] = {
    "uncollected": "a device was not collected",
    "unpaid": "a repair is not paid",
    "dispute": "something is in dispute",
    "legal": "there is a legal claim",
    "request": "a request by law is open",
    "set_aside": "they asked us to set their data aside",
    "follow_up": "a repair under warranty is open",
}
# Nobody may switch these off: without them open business, or a right that is being used, would end by itself.
ALWAYS = ("dispute", "legal", "request", "set_aside")
_PERSON = tuple(EXCEPTIONS)


@dataclass(frozen=True, slots=True)
class DataClass:
    """One kind of data: what it is, what its period counts from, and the rule that counts until the shop says else.

    `setting` names the setting of the installation that holds the period instead of a row of the shop; `period` is
    empty for what has no end by time, and `why` then says so.
    """

    what: str
    counts_from: str
    period: str
    exceptions: tuple[str, ...] = ()
    source: str = ""
    clock: str = "event"
    setting: str = ""
    why: str = ""
    checked_on: date = CHECKED_ON

    @property
    def is_ruled(self) -> bool:
        """Whether the shop sets this period by a row of its own."""
        return bool(self.period) and not self.setting


_NO_FIGURE = "no law names a figure; GDPR art. 5(1)(e): no longer than needed"
_CLAIMS = (
    "our choice, three full years as in BGB sections 195 and 199 (from memory): as long as somebody may claim; "
    "GDPR art. 5(2) and 17(3)(e)"
)
DATA_CLASSES: dict[str, DataClass] = {
    "contact_card": DataClass(
        "name, contacts, messages, what was said of the device, and the claim link",
        "the day on which the last device went home, over all visits the person has a part in",
        "P90D", _PERSON, _NO_FIGURE,
    ),
    "delegate": DataClass(
        "the name of whom a customer let collect", "the end of the pass", "P7D", ALWAYS,
        f"{_NO_FIGURE}; our choice",
    ),
    "consent_record": DataClass(
        "who agreed to what, in which words, and who took it back", "the day on which the person was forgotten", "P3Y",
        (), f"GDPR art. 7(1): consent must be shown; {_CLAIMS}", clock="end_of_calendar_year",
    ),
    "request_record": DataClass(
        "that somebody asked about their own data, and what was answered", "the day on which it was answered", "P3Y",
        (), _CLAIMS, clock="end_of_calendar_year",
    ),
    "erasure_record": DataClass(
        "that an erasure happened, why, and how many rows; nobody is in it", "the day of the erasure", "P3Y",
        (), f"{_CLAIMS}; longer than any backup lives", clock="end_of_calendar_year",
    ),
    "access_log": DataClass(
        "who of the staff looked at whose address or number, by identifiers", "the day of the look", "P1Y",
        (), f"{_NO_FIGURE}; GDPR art. 32(1): as long as misuse can still be followed up; our choice",
    ),
    "stranger": DataClass(
        "what people who are no customers wrote", "the day on which it came in", "", (), _NO_FIGURE,
        setting="inbox.keep_days",
        why="the mailbox is one for all shops, and what a stranger wrote is no shop's: a setting of the installation",
    ),
    "suppression": DataClass(
        "keyed hashes of addresses that want nothing more", "", "", (),
        "GDPR art. 21(3): the objection must be honoured as long as it stands",
        why="kept until the person agrees again; without it the address would be written to anew",
    ),
    "job_record": DataClass(
        "the story of a repair: kind of device, phases, times, prices, parts; no person", "", "", (),
        "GDPR recital 26: what nobody can be found by is no personal data",
        why="kept: identifiers in it lead to nobody once the person's key is destroyed",
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rule:
    """How long one kind of data is kept here: an ISO 8601 period, its clock, exceptions, source; None = never set."""

    data_class: str
    period: str
    clock: str
    exceptions: tuple[str, ...]
    source: str
    checked_on: date | None
    valid_from: date | None = None


def default_rule(data_class: str) -> Rule:
    """The rule that counts until the shop has one of its own. Raises Invalid for a kind that has none."""
    one = ruled(data_class)
    return Rule(data_class, one.period, one.clock, one.exceptions, one.source, one.checked_on)


def ruled(data_class: str) -> DataClass:
    """The kind of data with that code. Raises Invalid where no shop sets a period for it."""
    found = DATA_CLASSES.get(data_class)
    if found is None or not found.is_ruled:
        known = ", ".join(code for code, one in DATA_CLASSES.items() if one.is_ruled)
        what = f"{data_class[:40]!r} has no rule of keeping"
        if found is not None and found.setting:
            raise Invalid(what, f"Its days are the setting {found.setting} of the installation.", field="data_class")
        raise Invalid(what, f"Use one of: {known}.", field="data_class")
    return found


def ends_on(rule: Rule, event_day: date) -> date:
    """The first day on which what was kept since `event_day` need not be kept any more (core/durations.runs_out).

    Days are those on the shop's wall: what ends on a day is due from the midnight that begins it.
    """
    return runs_out(event_day, parse_duration(rule.period), anchor=rule.clock)


def over_by(rule: Rule, today: date) -> date:
    """The last event day whose keeping is over on `today`; `date.min` when there is none. `ends_on` never goes back."""
    first, last = date.min.toordinal(), today.toordinal()
    while first < last:
        middle = (first + last + 1) // 2
        if ends_on(rule, date.fromordinal(middle)) <= today:
            first = middle
        else:
            last = middle - 1
    return date.fromordinal(first)


def check_rule(rule: Rule) -> Rule:
    """The rule, if it can be meant. Raises Invalid with every problem: period, clock, exceptions, source."""
    ruled(rule.data_class)
    problems = [problem for check in (_check_length, _check_exceptions, _check_source) for problem in check(rule)]
    if problems:
        raise Invalid.many(problems)
    return replace(rule, exceptions=_whole(rule))


def _check_length(rule: Rule) -> Iterable[Invalid]:
    for day in (date(2000, 1, 1), FAR):
        try:
            before(day, parse_duration(rule.period))
            if ends_on(rule, day) <= day:
                raise Invalid(f"The period {rule.period!r} ends before it began", "Give one of at least a day.")
        except Invalid as wrong:
            field = "clock" if "anchor" in wrong.what else "period"
            advice = wrong.advice if field == "clock" else "Write whole days, weeks, months or years, such as P90D."
            yield Invalid(wrong.what, advice, field=field)
            return


def _check_exceptions(rule: Rule) -> Iterable[Invalid]:
    may_be = DATA_CLASSES[rule.data_class].exceptions
    for code in rule.exceptions:
        if code not in may_be:
            known = ", ".join(may_be) or "none at all"
            yield Invalid(f"{code[:40]!r} keeps no data of that kind", f"It may be: {known}.", field="exceptions")


def _check_source(rule: Rule) -> Iterable[Invalid]:
    if not 3 <= len(rule.source.strip()) <= 300:
        yield Invalid(
            "Where does this period come from?", "Name a law, a page or a choice, in a few words.", field="source"
        )


def _whole(rule: Rule) -> tuple[str, ...]:
    """The exceptions in the order of the table, with those that nobody may switch off."""
    may_be = DATA_CLASSES[rule.data_class].exceptions
    return tuple(code for code in may_be if code in rule.exceptions or code in ALWAYS)


def why_kept(rule: Rule, reasons: Collection[str]) -> tuple[str, ...]:
    """The reasons found that keep data beyond this rule, in the order of the table."""
    return tuple(code for code in EXCEPTIONS if code in reasons and (code in rule.exceptions or code in ALWAYS))
