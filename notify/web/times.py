"""What the pages of pickup times share: the days as templates take them, and the mark that makes a form count once."""

from __future__ import annotations

from typing import Any

from flask import request

from notify.flows.view_slots import SlotsView


def days_of(view: SlotsView) -> list[dict[str, Any]]:
    """The days for `_times.html`."""
    return [
        {
            "label": day.label, "free": day.free, "open": day.is_open,
            "parts": [
                {"label": part.label, "times": [
                    {"value": one.value, "label": one.label, "rest": one.rest, "note": one.note, "last": one.is_last}
                    for one in part.times
                ]}
                for part in day.parts
            ],
        }
        for day in view.days
    ]  # fmt: skip


def once() -> str:
    """The mark of the form that was sent; empty for one that carries none."""
    return request.form.get("once", "")[:64]
