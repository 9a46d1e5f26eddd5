"""What the settings page says of the rules of keeping: each rule, and what a change would do."""

from __future__ import annotations

from typing import Any

from notify.core.durations import parse_duration
from notify.core.retention import CLOCKS, DATA_CLASSES, EXCEPTIONS, NOT_ADVICE, Rule
from notify.flows.keep_rules import Changed, RuleView
from notify.flows.view_settings import Settings
from notify.render.moments import say_period
from notify.web.counter import desk_words as d
from notify.web.counter import settings_says as says

NAMES = {
    "contact_card": "Name, contacts and messages", "delegate": "Whom a customer let collect",
    "consent_record": "Proof of consent", "request_record": "Requests about own data",
    "erasure_record": "Records of forgetting", "access_log": "Who looked at contacts",
}  # fmt: skip
CLOCK_NAMES = {
    "event": "the day itself", "end_of_calendar_year": "the end of the calendar year",
    "end_of_financial_year": "the end of the financial year",
}  # fmt: skip


def asks(told: Changed) -> str:
    """What is said before a rule is kept that lets more people go in its first night."""
    more = d.capital(d.count(told.due_more, "person more goes", "people more go"))
    return (
        f"{more} in the first night, {told.rule.valid_from}: {told.due} in all. That cannot be taken back afterwards."
    )


def part(seen: Settings, typed: dict[str, str]) -> dict[str, Any]:
    """What the page shows of it; `typed` keeps what stood in a form that was refused or asks."""
    card = next(one for one in seen.rules if one.now.data_class == "contact_card").now
    clock, _, year_end = card.clock.partition(":")
    blank = {"data_class": "contact_card", "days": says.days(card.period), "clock": clock, "year_end": year_end,
             "source": "", "ask": ""}  # fmt: skip
    return {
        **blank, **typed, "sentence": says.forgetting(seen), "not_advice": NOT_ADVICE,
        "rules": [_said(one) for one in seen.rules],
        "kinds": [{"code": code, "label": NAMES[code]} for code in NAMES],
        "clocks": [{"code": code, "label": CLOCK_NAMES[code]} for code in CLOCKS],
    }  # fmt: skip


def _said(one: RuleView) -> dict[str, str]:
    now = one.now
    why = d.joined([EXCEPTIONS[code] for code in now.exceptions])
    longer = f" Longer while {why}." if why else ""
    coming = f" From {one.to_come.valid_from}: {length(one.to_come)}." if one.to_come else ""
    read = f"read {now.checked_on}" if now.checked_on else "nobody has noted when it was read"
    return {
        "name": NAMES[now.data_class],
        "sentence": f"{length(now)}. Counts from {DATA_CLASSES[now.data_class].counts_from}.{longer}{coming}",
        "source": f"{now.source} ({read})",
    }


def length(rule: Rule) -> str:
    clock, _, year_end = rule.clock.partition(":")
    after = "" if clock == "event" else f" after {CLOCK_NAMES[clock]}{f' ({year_end})' if year_end else ''}"
    return f"{d.capital(say_period(parse_duration(rule.period), language='en'))}{after}"
