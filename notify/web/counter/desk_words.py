"""The words of the shop's own pages, and the small sentences that all of them build with them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any, cast

from flask import current_app

from notify.core.errors import NotifyError
from notify.flows.view_lines import TicketLine
from notify.render.dates import say_date
from notify.render.words import Language, Words
from notify.web.here import services
from notify.web.pages import Problem, problems_of
from notify.web.say import Say

_KEY = "shelfbell-desk-words"
_CODE = re.compile(r"'?\b[a-z]+(?:_[a-z]+)+\b'?")
Line = dict[str, Any]


def words() -> Language:
    """The words of templates/words/desk.en.toml, read once for each application."""
    if _KEY not in current_app.extensions:
        current_app.extensions[_KEY] = Words(services().templates / "words", prefix="desk.").get("en")
    return cast(Language, current_app.extensions[_KEY])


def word(group: str, code: str, **values: object) -> str:
    """The words of a code; those of "other" for a code that has none yet, so that no code is ever shown."""
    key = f"{group}.{code}"
    return words()(key if key in words() else f"{group}.other", **values)


def staff_word(group: str, code: str) -> str:
    """The words of a code in the general words file: `staff_reason.part_dead`, `answer.accept`, `notice.ready`."""
    return services().words.get("en")(f"{group}.{code}")


def plain(error: NotifyError | str) -> str:
    """What an error or a flow says, with the code words that commands need put into the words of the pages."""
    return _CODE.sub(lambda found: f"“{_in_words(found[0].strip(chr(39)))}”", str(error))


def _in_words(code: str) -> str:
    for group in ("staff_phase", "staff_reason", "answer"):
        if f"{group}.{code}" in services().words.get("en"):
            return staff_word(group, code)
    for group in ("move", "call_result", "part_state", "question", "why", "message_reason"):
        if f"{group}.{code}" in words():
            return words()[f"{group}.{code}"]
    return code.replace("_", " ")


def problems(error: NotifyError, fields: Mapping[str, str] | None = None) -> list[Problem]:
    """An error as the list that pages show beside their fields, without a code word."""
    named = problems_of(error, fields=fields)
    return [{**one, "text": plain(problem)} for one, problem in zip(named, error.problems, strict=True)]


def at(say: Say, moment: datetime) -> str:
    """ "at 17:30" today, "yesterday at 17:30", else "on Thursday, 26 November, at 17:30"."""
    ahead = (say.local(moment).date() - say.local(say.now).date()).days
    day = {0: "", -1: "yesterday ", 1: "tomorrow "}.get(ahead, f"on {say.day(moment)}, ")
    return f"{day}at {say.time(moment)}"


def device(line: TicketLine) -> str:
    """What was handed in; only its kind once the person was forgotten."""
    return line.device or word("device_class", line.device_class)


def person(name: str, *, forgotten: bool = False) -> str:
    """A name to read, also for people without one."""
    return name or ("Somebody since forgotten" if forgotten else "Somebody without a name")


def stands(line: TicketLine, say: Say) -> str:
    """ "The Kestrel pocket radio has been on the bench since 9:12, with Ada."."""
    code = "on_shelf_unrepaired" if line.phase == "on_shelf" and line.outcome == "unrepaired" else line.phase.value
    values = {"at": at(say, line.since), "since": say.when(line.since)}
    values["by"] = f", with {line.technician}" if line.technician else ""
    wanted = {name: value for name, value in values.items() if "{" + name + "}" in words()[f"stands.{code}"]}
    return f"The {device(line)} {words()(f'stands.{code}', **wanted)}"


def promise(at: datetime | None, say: Say) -> str:
    """ "Promised for today, by 11:30." or, when that is past, "It was promised for …"; "" without a promise."""
    if at is None:
        return ""
    return f"{'It was promised' if at < say.now else 'Promised'} for {say.by(at)}."


def flag(safety: Iterable[str]) -> str:
    """ "Battery swollen: do not charge", "" without a flag."""
    named = ", ".join(word("safety", one) for one in safety)
    return f"{named.capitalize()}: do not charge" if named else ""


def left(amount: int | None, say: Say) -> str:
    """What is still to pay, as a sentence."""
    if amount is None:
        return "No price was agreed."
    return f"{say.money(amount)} to pay." if amount else "Paid."


def joined(parts: Iterable[str], *, by: str = "and") -> str:
    """ "a, b and c"."""
    whole = [part for part in parts if part]
    return f" {by} ".join([", ".join(whole[:-1]), whole[-1]] if len(whole) > 1 else whole)


def day(when: date | None) -> str:
    """ "28 November 2026"; empty for none."""
    return say_date(when, language="en") if when else ""


def dated(say: Say, moment: datetime) -> str:
    """ "Thursday, 26 November 2026, 17:30": for paper, which is read on any day."""
    return f"{say.day(moment)} {say.local(moment).year}, {say.time(moment)}"


def capital(text: str) -> str:
    """The text with its first letter large."""
    return text[:1].upper() + text[1:]


def count(number: int, one: str, many: str) -> str:
    """ "One part", "two parts", "14 parts": small numbers as words."""
    names = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return f"{names[number] if number < len(names) else number} {one if number == 1 else many}"


def button(action: str, label: str, *, main: bool = False, **fields: str) -> Line:
    """One form with one button; `fields` are sent with it."""
    return {"action": action, "label": label, "main": main,
            "fields": [{"name": name, "value": value} for name, value in fields.items()]}  # fmt: skip


def sheet_line(head: str, sentence: str, **more: Any) -> Line:
    """One line of a sheet, with every key of templates/pages/_lines.html."""
    whole: Line = {"mark": "bell", "clock": "", "number": "", "href": "", "place": "", "flag": "", "phone": "",
                   "phone_href": "", "buttons": []}  # fmt: skip
    return {**whole, "head": head, "sentence": sentence, **more}


def ticket_line(line: TicketLine, sentence: str, **more: Any) -> Line:
    """A line about one ticket, with its number, device, place and safety flag."""
    whole: Line = {"mark": line.phase.value, "number": line.number, "href": f"/tickets/{line.ticket_id}",
                   "place": f"Place: {line.shelf}" if line.shelf else "", "flag": flag(line.safety)}  # fmt: skip
    return sheet_line(device(line), sentence, **{**whole, **more})
