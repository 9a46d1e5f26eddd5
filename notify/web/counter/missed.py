"""How often nobody came to a pickup, in words."""

from __future__ import annotations

from notify.flows.view_shelf import Shelved


def missed_words(times: int) -> str:
    """ "Missed twice"."""
    return {1: "Missed once", 2: "Missed twice"}.get(times, f"Missed {times} times")


def call_them(one: Shelved) -> str:
    """ " Missed twice: call them." once nobody is written to about it any more; else ""."""
    return f" {missed_words(one.missed)}: call them." if one.call_them else ""
