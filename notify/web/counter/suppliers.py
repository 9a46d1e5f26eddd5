"""Suppliers on the page of settings: their form, what is read from it, and what is said of each."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from werkzeug.datastructures import MultiDict

from notify.core.errors import Invalid
from notify.core.working_days import MOST_DAYS, WEEKDAYS
from notify.flows import set_up
from notify.flows.view_settings import Supplier
from notify.web.counter import desk_words as d
from notify.web.counter import fields
from notify.web.here import ctx, current_actor

WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_TEXTS = ("name", "cutoff", "delivers_at", "days", "zone", "holidays_of", "closed_days")
_LATER = ("on the day", "one working day later", "two later", "three later", "later still")


def form_of(one: Supplier | None) -> dict[str, Any]:
    """The form filled with a supplier's habits; for a new one with what is usual."""
    if one is None:
        return {**dict.fromkeys(_TEXTS, ""), "works": _codes(WEEKDAYS), "redelivers": ""}
    return {
        "name": one.name, "cutoff": _clock(one.cutoff), "delivers_at": _clock(one.delivers_at), "days": str(one.days),
        "zone": one.zone, "holidays_of": one.holidays_of, "closed_days": ", ".join(map(str, one.closed_days)),
        "works": _codes(one.working_days), "redelivers": "yes" if one.redelivers else "",
    }  # fmt: skip


def typed_in(form: MultiDict[str, str]) -> dict[str, Any]:
    """What somebody typed, as the form shows it again; without a calendar in it when none was shown to them."""
    if not form.get("calendar"):
        return {name: form.get(name, "") for name in _TEXTS[:4]}
    return {name: form.get(name, "") for name in (*_TEXTS, "redelivers")} | {"works": form.getlist("works")}


def keep(typed: Mapping[str, Any]) -> None:
    """Keeps the supplier that was typed; raises Invalid with the name of a field."""
    calendar: dict[str, Any] = {}
    if "works" in typed:
        calendar = {
            "zone": typed["zone"].strip(), "holidays_of": typed["holidays_of"].strip(),
            "working_days": "".join("1" if str(i) in typed["works"] else "0" for i in range(7)),
            "closed_days": _days(typed["closed_days"]), "redelivers": bool(typed["redelivers"]),
        }  # fmt: skip
    set_up.put_supplier(
        ctx(), current_actor(), name=typed["name"], cutoff=fields.clock(typed["cutoff"], field="cutoff"),
        delivers_at=fields.clock(typed["delivers_at"], field="delivers_at"),
        days=fields.whole(typed["days"], field="days", most=MOST_DAYS), **calendar,
    )  # fmt: skip


def line(one: Supplier) -> dict[str, Any]:
    """One supplier of the list."""
    said = [habits(one), _calendar(one), came(one)]
    return {"id": one.id, "name": one.name, "sentence": " ".join(filter(None, said)), "may_drop": not one.in_use}


def habits(one: Supplier) -> str:
    """When to order from a supplier, and when it is here."""
    there = f" ({one.zone})" if one.zone else ""
    by = f"Order by {one.cutoff:%H:%M}{there}, here" if one.cutoff else "Here"
    names = {0: "the same day", 1: "the next working day"}
    at = f", about {one.delivers_at:%H:%M}" if one.delivers_at else ""
    return f"{by} {names.get(one.days, f'after {one.days} working days')}{at}."


def came(one: Supplier) -> str:
    """How late its parcels were so far."""
    parcels = sum(one.delays)
    if not parcels:
        return ""
    late = [f"{times} {words}" for times, words in zip(one.delays[1:], _LATER[1:], strict=False) if times]
    of = "time" if parcels == 1 else "times"
    return f"{', '.join([f'Came on the day {one.delays[0]} of {parcels} {of}', *late])}."


def _calendar(one: Supplier) -> str:
    """What is unusual about its days."""
    works = d.joined(name for name, sign in zip(WEEK, one.working_days, strict=True) if sign == "1")
    said = [
        f"Works on {works}." if one.working_days != WEEKDAYS else "",
        f"Keeps the holidays of {one.holidays_of}." if one.holidays_of else "",
        f"Closed on {d.count(len(one.closed_days), 'day', 'days')} of its own." if one.closed_days else "",
        "Brings a box again when the shop was shut." if one.redelivers else "",
    ]
    return " ".join(filter(None, said))


def _codes(mask: str) -> list[str]:
    return [str(i) for i, sign in enumerate(mask) if sign == "1"]


def _clock(at: Any) -> str:
    return f"{at:%H:%M}" if at else ""


def _days(text: str) -> list[date]:
    try:
        return [date.fromisoformat(one) for one in re.split(r"[\s,;]+", text.strip()) if one]
    except ValueError:
        raise Invalid(
            "A closed day is no day", "Write days like 2026-12-24, 2026-12-31.", field="closed_days"
        ) from None
