"""Short codes sent to a stored contact: how long, how long-lived, how many tries; and how they are said and hidden."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

# Eight digits, by arithmetic. One visit gets at most 8 codes a day with 5 tries each: 40 tries on 10^8. Whoever
# sprays 1,000 claim numbers so has 40,000 tries a day, and an even chance after 1,700 days, with a message to the
# customer for every five of them; six digits would be 17 days. OWASP ASVS 5.0.0, 6.5.3 asks for 20 bits: six digits
# have 19.9, eight 26.6. Four and four are also what one can keep in mind from one screen to the other.
DIGITS = 8
# Longer than the ten minutes of NIST SP 800-63B 5.1.3.2 (from memory), since a mail server may put a first mail off
# for a quarter of an hour (greylisting, RFC 6647); tries are counted by code, so a longer life gives no more of them.
LIFETIME = timedelta(minutes=30)
MOST_WRONG = 5
# How often a code is sent about one visit, so that nobody can spam a customer by a claim number they found.
AN_HOUR, A_DAY = 3, 8
# From one place, for all visits together: a family has few tickets (common practice, no source).
FROM_ONE_PLACE = 10
PURPOSES = ("pass", "lost_ticket", "price", "rights")

_LEFT_OUT = re.compile(r"[\s\-\u2010-\u2015.]+")
_SHOWN = re.compile(rf"(?<![\d+])\d{{{DIGITS // 2}}} ?\d{{{DIGITS // 2}}}(?!\d)")


def new_code(pick: Callable[[int], int]) -> str:
    """Eight digits; the first may be 0. `pick(n)` gives a random number below n."""
    return f"{pick(10**DIGITS):0{DIGITS}d}"


def show_code(code: str) -> str:
    """ "12345678" -> "1234 5678": as it is read out."""
    return f"{code[: DIGITS // 2]} {code[DIGITS // 2 :]}"


def read_code(typed: str) -> str:
    """The digits of what was typed, without spaces and dashes; "" when it cannot be a code. Any script's digits."""
    text = _LEFT_OUT.sub("", typed[:40])
    if len(text) != DIGITS or not text.isdecimal():
        return ""
    return "".join(str(int(sign)) for sign in text)


def hide_codes(text: str) -> str:
    """The text with everything that looks like a code dotted out: for showing to staff what a customer was sent."""
    return _SHOWN.sub("•••• ••••", text)
