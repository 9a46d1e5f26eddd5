"""What is held, in sentences, in tables and in words for the pictures. Nobody is named."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from notify.core.consent import PURPOSE_MEANING
from notify.core.retention import EXCEPTIONS, NOT_ADVICE
from notify.flows.view_held import Ahead, Held, Kept, Kind
from notify.render.bench_charts import ChartWords
from notify.render.dates import say_date
from notify.render.held_charts import Column, YesNo
from notify.render.keeping_says import counted
from notify.render.words import Language
from notify.web.counter import desk_words as d
from notify.web.say import Say

AGES = ("to a month", "to 3 months", "to a year", "to 3 years", "older")
_KNOWN_FOR = ("for less than a month", "for one to 3 months", "for 3 months to a year", "for one to 3 years", "longer")
_SHORT_AGES = ("1 month", "3 months", "1 year", "3 years", "older")
AGE_WORDS = ChartWords("people whose name and contacts are here", "", "since they are known: up to …")
NEXT_WORDS = ChartWords("people to be forgotten, week by week", "", "weeks from today")
CONSENT_WORDS = ChartWords("what people last said", "full: yes; hatched: no", "people, yes : no")
_CHANNELS = {"email": "e-mail", "sms": "text message"}
_SHORT_PURPOSES = {
    "repair": "the repair", "pickup": "the pickup", "reminder": "reminders", "afterwards": "whether all is well",
}  # fmt: skip
_LIVES = {
    "contact_card": "Customers, with name and contacts", "delegate": "Names of whoever collected for somebody",
    "consent_record": "Lines of consent", "request_record": "Requests about own data",
    "erasure_record": "Records of erasing", "access_log": "Looks of staff at a contact",
    "stranger": "Letters of strangers", "suppression": "Addresses that want nothing more",
    "job_record": "Stories of devices",
}  # fmt: skip
_REQUESTS = {
    "access": "a copy of their data", "correction": "a correction", "erasure": "an erasure",
    "restriction": "restricted use", "objection": "an objection",
}  # fmt: skip
ERASED = {
    "period_over": "their time was over", "asked": "it was asked for", "pass_over": "their pass was over",
    "cut_off": "forgetting them had been cut off",
    "strangers_changes": "a source told of strangers", "strangers_letters": "strangers wrote",
    "restored": "a backup was brought back that still had them", "no_key": "the backup had no key of theirs",
    "bell": "somebody who works here changed where the bell rings",
}  # fmt: skip


def finding(seen: Held) -> str:
    """The answer, in one sentence."""
    people = _people(seen)
    if not people:
        return "Nobody's name or contact is held here."
    here = d.capital(d.count(people, "person is", "people are"))
    soon = seen.ahead.within[0][1]
    return (
        f"{here} held with name or contact, and {d.count(soon, 'goes', 'go') if soon else 'nobody goes'} within a week."
    )


def ages(seen: Held) -> list[tuple[str, ...]]:
    """(kind of data, all of it, then each age) for the table."""
    return [(_LIVES[one.aged.data_class], str(one.aged.rows), *map(str, one.aged.by_age)) for one in seen.kinds]


def periods(seen: Held, words: Language) -> list[tuple[str, str, str]]:
    """(kind of data, how long it is kept, where that comes from and when it was checked)."""
    return [(_LIVES[one.aged.data_class], kept_for(one, words), f"{d.capital(one.life.source)}; {_checked(one)}.")
            for one in seen.kinds]  # fmt: skip


def kept_for(one: Kind, words: Language) -> str:
    """ "90 days", "3 years from the end of the year", or why time does not end it."""
    if not one.life.period:
        return {"suppression": "until they agree again"}.get(one.life.data_class, "stays, without a person")
    return counted(one.life, words)


def not_advice() -> str:
    """What must stand beside every period of law."""
    return NOT_ADVICE


def age_columns(seen: Held) -> list[Column]:
    """Customers by how long they are known."""
    return [Column(label, number) for label, number in zip(_SHORT_AGES, _cards(seen), strict=True)]


def ages_in_words(seen: Held) -> str:
    """The picture of ages for whoever does not see it."""
    told = (f"{number} {label}" for label, number in zip(_KNOWN_FOR, _cards(seen), strict=True) if number)
    return f"How long customers are known here: {d.joined(told) or 'there are none'}."


def next_columns(ahead: Ahead) -> list[Column]:
    """The coming weeks; the first, with whoever is due already, is filled."""
    return [Column(str(n), number, full=not n) for n, number in enumerate(ahead.weeks)]


def next_in_words(ahead: Ahead) -> str:
    """The picture of the weeks for whoever does not see it."""
    told = [f"{number} {_in_week(n)}" for n, number in enumerate(ahead.weeks) if number]
    return f"People to be forgotten, by weeks from today: {d.joined(told) or 'nobody in the next 13 weeks'}."


def next_rows(ahead: Ahead) -> list[tuple[str, str]]:
    """(when, how many people) for the table."""
    within = [(f"In the next {days} days", str(number)) for days, number in ahead.within]
    return [("Tonight, since their time is over", str(ahead.due)), *within, ("Later", str(ahead.later)),
            ("No day yet: a device is here, or a pass can be used", str(ahead.open)),
            ("Stay though their time is over", str(ahead.kept))]  # fmt: skip


def week_rows(ahead: Ahead, today: date) -> list[tuple[str, str]]:
    """(the week, how many people), of weeks in which anybody goes."""
    return [(f"{n}: from {say_date(today + timedelta(days=7 * n), language='en')}", str(number))
            for n, number in enumerate(ahead.weeks) if number]  # fmt: skip


def stays(one: Kept) -> str:
    """Why somebody stays, since when, and when somebody looks again."""
    why = d.joined(EXCEPTIONS.get(code, "a reason without a name") for code in one.reasons)
    since = f" Their time was over on {say_date(one.over_since, language='en')}." if one.over_since else ""
    review = f" To be looked at again on {say_date(one.review_on, language='en')}." if one.review_on else ""
    return f"{d.capital(why)}.{since}{review}"


def consent_rows(seen: Held) -> list[tuple[str, str, str, str]]:
    """(purpose, channel, yes, no) for the table."""
    return [
        (d.capital(PURPOSE_MEANING.get(one.purpose, "something")), _CHANNELS[one.channel], str(one.given),
         str(one.withdrawn))
        for one in seen.consents
    ]  # fmt: skip


def consent_bars(seen: Held) -> list[YesNo]:
    """The same for the picture."""
    return [YesNo(_consent(one.purpose, one.channel, "\n"), one.given, one.withdrawn) for one in seen.consents]


def consents_in_words(seen: Held) -> str:
    """The picture of consents for whoever does not see it."""
    told = (f"to {_consent(one.purpose, one.channel)} {one.given} said yes and {one.withdrawn} no"
            for one in seen.consents)  # fmt: skip
    return f"What people last said: {'; '.join(told) or 'nothing yet'}."


def suppressed(seen: Held) -> str:
    """How many addresses are never used again, unless the person says so."""
    told = [d.count(number, "address", "addresses") if channel == "email" else d.count(number, "number", "numbers")
            for channel, number in sorted(seen.suppressed.items())]  # fmt: skip
    if not told:
        return "Nobody has asked to hear nothing more."
    verb = "is" if sum(seen.suppressed.values()) == 1 else "are"
    return f"{d.capital(d.joined(told))} {verb} never used, even if typed in anew, until the person agrees again."


def asked(kind: str, days_left: int) -> str:
    """What somebody asked for by law, and how long there is to answer."""
    left = f"{d.count(days_left, 'day', 'days')} left" if days_left > 0 else (
        "today is the last day" if not days_left else f"{d.count(-days_left, 'day', 'days')} too late")  # fmt: skip
    return f"{d.capital(_REQUESTS.get(kind, 'something'))}: {left}."


def last_run(seen: Held, say: Say) -> str:
    """When the nightly forgetting ran, and whether everything is proved."""
    ran = f"The nightly run was {d.at(say, seen.ran_at)}." if seen.ran_at else "The nightly run has not been here yet."
    if seen.unproved:
        return f"{ran} {d.capital(d.count(seen.unproved, 'erasure waits', 'erasures wait'))} for the proof."
    return f"{ran} Everything that was erased is proved gone from the files." if seen.erasures else ran


def erasures(seen: Held, say: Say) -> list[tuple[str, str, str, str]]:
    """(when, why, how much, proved when) of the newest ones."""
    return [
        (d.capital(d.at(say, one.at)), d.capital(ERASED.get(one.reason, "it was due")),
         d.count(sum(one.counts.values()), "row", "rows"),
         d.at(say, one.confirmed_at) if one.confirmed_at else "not yet")
        for one in seen.erasures
    ]  # fmt: skip


def backups(seen: Held, say: Say) -> str:
    """When the last backup was made and tried."""
    if not seen.backups_on:
        return "The program makes no backups: no folder is set for them."
    made = (f"The last good backup is from {say.when(seen.backup_at)}, and was tried by opening it again."
            if seen.backup_at else "No backup has been made yet.")  # fmt: skip
    if seen.backup_failed_at and seen.backup_failed_at > (seen.backup_at or seen.backup_failed_at - timedelta(1)):
        return f"{made} One failed {d.at(say, seen.backup_failed_at)}."
    return made


def keys(seen: Held) -> list[tuple[str, str]]:
    """(which key, how old)."""
    names = {"master": "Opens the keys of people", "index": "Finds people by phone or e-mail"}
    return [(names[one.kind], _in_use(one.days)) for one in seen.keys]


def _in_use(days: int | None) -> str:
    return "not known" if days is None else d.count(days, "day", "days") if days else "less than a day"


def _checked(one: Kind) -> str:
    on = one.life.checked_on
    return f"checked on {say_date(on, language='en')}" if on else "nobody has checked it"


def _in_week(number: int) -> str:
    return f"in week {number}" if number else "within a week"


def _cards(seen: Held) -> Sequence[int]:
    return next(one.aged.by_age for one in seen.kinds if one.aged.data_class == "contact_card")


def _people(seen: Held) -> int:
    return sum(one.aged.rows for one in seen.kinds if one.aged.data_class in ("contact_card", "delegate"))


def _consent(purpose: str, channel: str, between: str = " ") -> str:
    """ "e-mail about the repair"."""
    return f"{_CHANNELS[channel]}{between}about {_SHORT_PURPOSES.get(purpose, 'something')}"
