"""Reads what a person wrote back as a wish: to stop, to start again, to get help; everything else is for people."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Wish:
    """What a text asks for.

    `cls`: stop, start, help; review (a person must look at it before long, see `kind`); none (an ordinary message).
    `kind` is what the reply is filed as: stop, start, help, erasure, question, other. "erasure" also means stop, whatever
    `cls` says. `stop_this_number`: the number belongs to somebody else, so nothing may go there any more.
    """

    cls: str
    kind: str
    stop_this_number: bool = False


def read_wish(text: str) -> Wish:
    """Read a text message, or what a letter says now (its subject, when it says nothing); bounded in time."""
    raise NotImplementedError
