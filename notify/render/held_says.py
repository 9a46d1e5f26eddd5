"""Everything that is held about somebody as a page says it: sections of labelled lines, no code word among them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any

from notify.core.money import show_amount
from notify.render.moments import Moments
from notify.render.words import Language

# Section -> its fields in order, each with how it is said: text, when (an instant), day, yes, money, list, times, or
# the part of the words of messages in which its code has a sentence.
FIELDS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "person": (("name", "text"), ("language", "language"), ("created_at", "when")),
    "contacts": (("channel", "channel"), ("address", "text"), ("created_at", "when"), ("replaced_at", "when")),
    "consents": (("channel", "channel"), ("purpose", "purpose"), ("allowed", "yes"), ("text", "text"), ("at", "when")),
    "visits": (("numbers", "list"), ("role", "role")),
    "tickets": (
        ("number", "number"), ("device", "text"), ("fault", "text"), ("condition", "text"), ("accessories", "text"),
        ("device_class", "device_class"), ("outcome", "outcome"), ("price_agreed", "money"), ("price_limit", "money"),
        ("deposit", "money"), ("paid", "yes"), ("shelf", "text"), ("created_at", "when"),
    ),
    "notes": (("number", "text"), ("text", "text"), ("at", "when")),
    "questions": (
        ("number", "text"), ("wording", "text"), ("price", "money"), ("answer", "answer"), ("said_by", "text"),
        ("asked_at", "when"),
    ),
    "parts": (("number", "text"), ("name", "text"), ("ordered_at", "when")),
    "messages": (
        ("notice", "notice"), ("channel", "channel"), ("made_at", "when"), ("subject", "text"), ("words", "text"),
    ),
    "pickups": (("numbers", "list"), ("start_at", "when")),
    "replies": (("at", "when"), ("sender", "text"), ("subject", "text"), ("text", "text")),
    "passes_given": (("name", "text"), ("numbers", "list"), ("made_at", "when"), ("ended_at", "when")),
    "passes_held": (("numbers", "list"), ("made_at", "when"), ("ended_at", "when")),
    "told_by_other_systems": (("source", "text"), ("cells", "cells")),
    "codes_sent": (("made_at", "when"),),
    "requests": (("kind", "kind"), ("received_at", "when"), ("ended_at", "when"), ("note", "text")),
    "holds": (("made_at", "when"), ("note", "text"), ("review_on", "day"), ("ended_at", "when")),
    "looked_at": (("at", "when"), ("times", "text")),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Section:
    """One kind of data: its title, and its rows as (label, what is said) pairs."""

    title: str
    rows: tuple[tuple[tuple[str, str], ...], ...]


def say_held(held: Mapping[str, Any], page: Language, said: Callable[[str], Language], moments: Moments) -> tuple[
    Section, ...
]:  # fmt: skip
    """The sections that have anything, in the order of the table. `said` gives the words of messages of a language."""
    speak = _Speak(page, said, moments, held["shop"]["currency"])
    found = ((name, tuple(rows)) for name in FIELDS if (rows := [speak.row(name, row) for row in held[name]]))
    return tuple(Section(page[f"held.{name}"], tuple(row for row in rows if row)) for name, rows in found)


class _Speak:
    """One language, shop and moment."""

    def __init__(self, page: Language, said: Callable[[str], Language], moments: Moments, currency: str) -> None:
        self.page, self.said, self.moments, self.currency = page, said, moments, currency
        self.words = said(page.code)

    def row(self, section: str, row: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
        pairs = ((name, self.value(how, row.get(name))) for name, how in FIELDS[section])
        return tuple((self.page[f"held_field.{name}"], value) for name, value in pairs if value)

    def value(self, how: str, value: Any) -> str:
        if value is None or value in ("", []):
            return ""
        match how:
            case "text" | "number":
                return str(value)
            case "when":
                return self.moments.stamp(datetime.fromisoformat(value))
            case "day":
                return self.moments.day(datetime.combine(date.fromisoformat(value), time(12), tzinfo=UTC))
            case "yes":
                return self.page["held_said.yes" if value else "held_said.no"]
            case "money":
                return show_amount(value, currency=self.currency, language=self.page.code)
            case "list":
                return ", ".join(value)
            case "cells":
                return "; ".join(str(one) for one in value.values() if one)
            case "language":
                return self.said(value)["language.name"]
            case "kind":
                return self.page[f"rights_kind.{value}"]
        return self.words.get(f"{how}.{value}", "")
