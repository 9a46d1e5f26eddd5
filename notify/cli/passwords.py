"""Passwords for people who work here: from a file or the terminal, or made up; never an option of a command."""

from __future__ import annotations

import secrets
import sys
from dataclasses import dataclass, field
from typing import IO

import click

_WORDS = (
    "amber anchor apron barge basin beacon brass bridge canal candle cedar chain cobble copper cradle crane dial "
    "ferry fiddle flint gable garnet glass hammer harbour hinge ivory kettle ladder lantern linen maple marble mast "
    "mortar needle oar otter paddle pebble pewter pillar plum quay quill raft ribbon rope saddle sail slate spindle "
    "spool stone tallow timber valve velvet wharf willow window"
).split()


@dataclass(frozen=True, slots=True)
class Secret:
    """A password with an optional PIN; `made` says that it was made here and has to be shown once."""

    password: str = field(repr=False)
    pin: str = field(default="", repr=False)
    made: bool = False

    def shown(self) -> dict[str, str]:
        """What a JSON answer says of it: nothing, unless it was made here."""
        return {"password": self.password} if self.made else {}

    def lines(self) -> list[str]:
        """What people are told of it."""
        if not self.made:
            return []
        return [f"Password: {self.password}", "It is shown only now; change it with `shelfbell staff change`."]


def read_password(file: IO[str] | None, *, whose: str = "this person") -> Secret:
    """From the first two lines of a file (password, PIN), else asked for at a terminal, else made here."""
    if file is not None:
        lines = [line.rstrip("\r") for line in file.read(4096).split("\n")]
        return Secret(lines[0], lines[1] if len(lines) > 1 else "")
    if not at_terminal():
        return Secret(new_password(), made=True)
    typed = click.prompt(f"Password for {whose} (Enter: make one)", default="", hide_input=True, show_default=False,
                         confirmation_prompt=True)  # fmt: skip
    return Secret(typed) if typed else Secret(new_password(), made=True)


def new_password() -> str:
    """Five words and two digits, about 36 bits: enough behind a throttled sign-in with Argon2id."""
    return "-".join(secrets.choice(_WORDS) for _ in range(5)) + f"-{secrets.randbelow(90) + 10}"


def at_terminal() -> bool:
    """Whether somebody sits there who can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()
