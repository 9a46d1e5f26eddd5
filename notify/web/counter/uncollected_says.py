"""What the pages of uncollected devices say: each device in sentences, each rule of the law in a line."""

from __future__ import annotations

from datetime import date

from notify.core.uncollected import Check, Rule, Standing
from notify.flows.view_uncollected import Kept, Overdue, StepLine
from notify.render.paper_words import load_words
from notify.render.uncollected_notice import say_date
from notify.web.counter import desk_words as d
from notify.web.counter.missed import missed_words
from notify.web.here import services
from notify.web.say import Say

_HOW = {"email": "by e-mail", "sms": "by text message", "call": "on the phone"}


def on(day: date | None) -> str:
    """ "27 November 2026", "" for none."""
    return say_date(day, language="en") if day else ""


def stage(standing: Standing) -> str:
    """Where it stands, in a sentence with its days."""
    key = f"uncollected_stage.{standing.stage}"
    days = {"notice_from": on(standing.notice_from), "notice_on": on(standing.notice_on),
            "decide_from": on(standing.decide_from)}  # fmt: skip
    return d.words()(key, **{name: day for name, day in days.items() if "{" + name + "}" in d.words()[key]})


def line(one: Overdue, speak: Say) -> d.Line:
    """One device: how long it stands here, who knows, what may be done from when."""
    said = " ".join(part for part in (_days(one), told(one), missed(one, speak), stage(one.standing)) if part)
    return d.ticket_line(one.ticket, f"{d.person(one.ticket.person)}. {said}",
                         href=f"/uncollected/{one.ticket.ticket_id}")  # fmt: skip


def _days(one: Overdue) -> str:
    return f"On the shelf for {d.count(one.days, 'day', 'days')}, since {on(one.ready_on)}."


def told(one: Overdue) -> str:
    """When and how word of it first really left, and how many reminders did."""
    if one.told_on is None:
        return "They have not been told."
    reminders = f"; {d.count(one.reminders, 'reminder has', 'reminders have')} left since" if one.reminders else ""
    return f"Told on {on(one.told_on)} {_HOW.get(one.told_by, '')}".rstrip() + f"{reminders}."


def missed(one: Overdue, speak: Say) -> str:
    """How often nobody came, and that somebody should call now; "" while a time is taken."""
    if one.booked_at:
        return f"They come {d.at(speak, one.booked_at)}."
    if not one.missed:
        return ""
    return f"{missed_words(one.missed)}: call them." if one.call_them else f"{missed_words(one.missed)}."


def kept_line(one: Kept) -> d.Line:
    """A device closed as never collected: since when its owner's data are held, and when to look again."""
    again = f" Look at it again by {on(one.review_on)}." if one.review_on else ""
    who = d.person(one.ticket.person)
    return d.ticket_line(
        one.ticket, f"{who}. Closed as never collected on {on(one.since)}; their data are kept.{again}"
    )


def noted(one: StepLine) -> str:
    """ "The notice was given, by registered post: 3 December 2026, noted by Ada."."""
    how = f", {d.words()(f'uncollected_way.{one.how}')}" if one.how else ""
    by = f", noted by {one.by}" if one.by else ""
    return f"{d.words()(f'uncollected_step.{one.step}')}{how}: {on(one.on)}{by}."


def check(one: Check) -> dict[str, object]:
    """One line of the list before it is closed."""
    return {"label": d.words()(f"uncollected_check.{one.code}"), "done": one.done}


def cautions(safety: tuple[str, ...]) -> list[str]:
    """What to mind with its battery: what belongs to its flags, and what holds for every device that stands long."""
    words = load_words(services().templates, "en")
    if safety:
        return list(words.caution_lines(safety))
    return [words.cautions["usual_place"],
            "If its battery is swollen, hot, leaking or was wet: set the flag, do not charge it, never post it.",
            ]  # fmt: skip


def rule_line(rule: Rule) -> str:
    """A rule in a sentence: its periods and whether it counts."""
    before = f"The notice may be given {rule.notice_after_days} days after they were told" if rule.notice_after_days \
        else "The notice may be given once they were told"  # fmt: skip
    after = f"a person may decide {rule.wait_days} days after it" if rule.wait_days else "then a person may decide"
    state = "This one counts." if rule.active else ("Verified, not switched on." if rule.verified else "Not verified.")
    return f"{before}; {after}. {state}"
