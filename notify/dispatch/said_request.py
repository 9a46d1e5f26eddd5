"""What a message says of a request about somebody's own data: the answer in one sentence, and what follows from it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime

from notify.core.instants import noon
from notify.core.requests import DONE, REFUSED, Kind
from notify.store import requests
from notify.store.database import Unit
from notify.store.messages import Message
from notify.store.requests import Request

Words = Callable[..., str]
SayDay = Callable[[datetime], str]
_DONE = {Kind.RESTRICTION: "set_aside", Kind.OBJECTION: "objected"}  # what follows once it was granted


def say_request(unit: Unit, message: Message, words: Words, say_day: SayDay) -> dict[str, str]:
    """The fields `first` and `more` of the template; empty for a message about nobody's data."""
    if "goes_on" in message.refs:
        day = say_day(noon(date.fromisoformat(str(message.refs["goes_on"]))))
        return {"first": words("forget_soon.first", day=day), "more": words("forget_soon.more")}
    if "request" not in message.refs:
        return {"first": "", "more": ""}
    one = requests.get_request(unit, str(message.refs["request"]))
    if message.notice == "request_due_shop":
        return _pressing(message, words, say_day)
    first, more = _news(message, one, words, say_day)
    return {"first": first, "more": more}


def _pressing(message: Message, words: Words, say_day: SayDay) -> dict[str, str]:
    day = say_day(noon(date.fromisoformat(str(message.refs["last_day"]))))
    number = str(message.refs["number"])
    return {
        "first": words(f"request_news.{message.refs['stands']}", number=number, day=day),
        "more": words("request_news.look"),
    }


def _news(message: Message, one: Request, words: Words, say_day: SayDay) -> tuple[str, str]:
    state = str(message.refs.get("state", ""))
    if state == REFUSED:
        return words("request_news.refused", reason=words(f"request_news.{one.reason}")), words("request_news.complain")
    if state == DONE and one.kind in _DONE:
        return words("request_news.done"), words(f"request_news.{_DONE[one.kind]}")
    if state:
        return words(f"request_news.{state}"), words(f"request_news.{state}_more")
    if one.extended_to:
        return words("request_news.longer", day=say_day(noon(one.extended_to))), words("request_news.complain")
    return words(f"request_news.{one.kind}"), _what_follows(one, words, say_day)


def _what_follows(one: Request, words: Words, say_day: SayDay) -> str:
    if one.proved_at is None:
        return words("request_news.prove")
    if one.rests_until is not None:
        return words("request_news.erased", day=say_day(one.rests_until))
    return words("request_news.by", day=say_day(noon(one.due_on)))
