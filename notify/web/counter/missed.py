"""How often nobody came to a pickup, in words."""

from __future__ import annotations


def missed_words(times: int) -> str:
    """ "Missed twice"."""
    return {1: "Missed once", 2: "Missed twice"}.get(times, f"Missed {times} times")
