"""What the settings page says of the rules of keeping: each rule, and what a change would do."""

from __future__ import annotations

from typing import Any

from notify.core.retention import ALWAYS, CLOCKS, DATA_CLASSES, EXCEPTIONS, NOT_ADVICE, Rule
from notify.flows.keep_rules import Changed, RuleView
from notify.flows.view_settings import Settings
from notify.render.keeping_says import counted
from notify.render.words import Language
from notify.web.counter import desk_words as d
from notify.web.counter import settings_says as says
from notify.web.here import services

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
        f"{more} in the first night, on {d.day(told.rule.valid_from)}: {told.due} in all."
        " That cannot be taken back afterwards."
    )


def part(seen: Settings, typed: dict[str, Any]) -> dict[str, Any]:
    """What the page shows of it; `typed` keeps what stood in a form that was refused or asks."""
    words = services().words.get("en")
    card = next(one for one in seen.rules if one.now.data_class == "contact_card").now
    clock, _, year_end = card.clock.partition(":")
    blank = {"data_class": "contact_card", "days": says.days(card.period), "clock": clock, "year_end": year_end,
             "source": "", "ask": "", "reasons": ""}  # fmt: skip
    return {
        **blank, **typed, "sentence": says.forgetting(seen), "not_advice": NOT_ADVICE,
        "rules": [_said(one, words) for one in seen.rules],
        "kinds": [{"code": code, "label": NAMES[code]} for code in NAMES],
        "clocks": [{"code": code, "label": CLOCK_NAMES[code]} for code in CLOCKS],
        "longer": [_reasons(one.to_come or one.now, typed) for one in seen.rules if _may_choose(one.now)],
    }  # fmt: skip


def _may_choose(rule: Rule) -> bool:
    return not set(DATA_CLASSES[rule.data_class].exceptions) <= set(ALWAYS)


def _reasons(rule: Rule, typed: dict[str, Any]) -> dict[str, Any]:
    """What keeps one kind of data longer: those to tick, as typed or as they are to count, and those that always do."""
    may_be = DATA_CLASSES[rule.data_class].exceptions
    chosen = typed["longer_while"] if typed.get("reasons") == rule.data_class else rule.exceptions
    return {
        "data_class": rule.data_class, "name": NAMES[rule.data_class],
        "always": d.joined((EXCEPTIONS[code] for code in may_be if code in ALWAYS), by="or"),
        "ticks": [{"code": code, "label": d.capital(EXCEPTIONS[code]), "on": code in chosen}
                  for code in may_be if code not in ALWAYS],
    }  # fmt: skip


def _said(one: RuleView, words: Language) -> dict[str, str]:
    now = one.now
    coming = f" From {d.day(one.to_come.valid_from)}: {_counts(one.to_come, words)}" if one.to_come else ""
    read = f"read on {d.day(now.checked_on)}" if now.checked_on else "nobody has noted when it was read"
    return {
        "name": NAMES[now.data_class],
        "sentence": f"{_counts(now, words)}{coming} Counts from {DATA_CLASSES[now.data_class].counts_from}.",
        "source": f"{d.capital(now.source)} ({read})",
    }


def _counts(rule: Rule, words: Language) -> str:
    why = d.joined((EXCEPTIONS[code] for code in rule.exceptions), by="or")
    return f"{counted(rule, words)}{f', longer while {why}' if why else ''}."
