"""Takes out of a line for the log whatever looks like an address, a number or a secret; identifiers and times stay.

The second net: no part of the program puts such a thing there. It also holds what other people's libraries write.
"""

from __future__ import annotations

import re

MAIL, PHONE, SECRET = "[address]", "[number]", "[secret]"
_MAIL = re.compile(r"[^\s<>@,;:\"'()=]{1,64}(?:@|%40)[^\s<>@,;:\"'()=]{1,255}")
# Ours (core/claim_number, flows/feeds, flows/api_tokens) and any other run of letters and digits that long: RFC 4648 5.
_LONG = re.compile(r"(?<![A-Za-z0-9_/.\-])[A-Za-z0-9_\-]{22,}(?![A-Za-z0-9_/.\-])")
_IN_PATH = re.compile(r"(?<=/)[A-Za-z0-9_\-]{22,}(?![A-Za-z0-9_.\-])")
_ID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_PHONE = re.compile(
    r"(?<![\w.:\-])(?:\+|%2B|00|0)\(?\d(?:[ ()/.\-]{0,2}\d){6,14}(?![\w:])|(?<![\w.:\-])\d{9,15}(?![\w:.])"
    r"|(?<![\w.:\-])\d{4} \d{4}(?![\w:.])"  # a contact code as it is shown
)
_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def redact(text: str) -> str:
    """The same text without what may name or let in somebody."""
    text = _MAIL.sub(MAIL, text)
    for shape in (_LONG, _IN_PATH):
        text = shape.sub(lambda found: found[0] if _is_plain(found[0]) else SECRET, text)
    return _PHONE.sub(lambda found: found[0] if _DAY.match(found[0]) else PHONE, text)


def _is_plain(word: str) -> bool:
    """Identifiers, and words of a program: chance of that length has a digit or a capital within."""
    return bool(_ID.fullmatch(word)) or (not re.search(r"\d", word) and (word.islower() or "_" in word))
