"""Invented contexts for the page of systems that are told of events."""

from __future__ import annotations

from typing import Any

from tests.web.examples_shop import Page, staff_base


def _page(**more: Any) -> Page:
    rows = [
        ("l1", "Till", "It has heard everything.", True, 0, ""),
        ("l2", "A sign in the window whose name is so long that it hardly fits & more",
         "Stopped since Mon 23 Nov at 10:00: it answered 503. 214 events are still to be told. It refused 2 events.",
         False, 2, "bench_began, part_arrived"),
    ]  # fmt: skip
    keys = ("id", "name", "sentence", "on", "refused", "kinds")
    typed = {"name": "", "address": "", "kinds": ""}
    whole = {"listeners": [dict(zip(keys, row, strict=True)) for row in rows], "listener": typed, "made": None}
    return staff_base("settings", **whole) | more


def listener_pages() -> dict[str, tuple[str, Page]]:
    """Name -> (template, context)."""
    wrong = [{"field": "listener-address", "text": "This is no address that may be called. Write one with https://."}]
    made = {"name": "Till", "secret": "whsec_cXVpbGwtYW5kLWxhbnRlcm4tb3Zlci10aGUtaGFyYm91cg=="}
    return {
        "listeners": ("listeners.html", _page()),
        "listeners_made": ("listeners.html", _page(made=made)),
        "listeners_wrong": ("listeners.html", _page(errors=wrong, listeners=[])),
    }
