"""Finds addresses and numbers that stand in clear in whatever somebody was shown, however they are spelt there.

Our own search: it knows no rule of the product, only what was planted. A number is known by its national digits,
whatever stands between them (E.123 lets spaces, brackets and hyphens); an address by its letters (RFC 5321 2.4 for the
domain; that the local part is read alike is ours), also behind the marks of HTML and of an address (RFC 3986 2.1).
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Mapping
from urllib.parse import unquote

import pypdfium2

_BETWEEN = re.compile(r"(?<=\d)[\s().\-/\u00a0\u2011\u2009]+(?=\d)|(?<=\d)\(0\)(?=\d)")


def text_of(data: bytes) -> str:
    """The words of a page, a file or a PDF."""
    if not data.startswith(b"%PDF"):
        return data.decode("utf-8", "replace")
    paper = pypdfium2.PdfDocument(data)
    try:
        return "\n".join(page.get_textpage().get_text_range() for page in paper)
    finally:
        paper.close()


def plain(text: str) -> str:
    """The same text in one spelling: no marks, no signs between digits, small letters."""
    return _BETWEEN.sub("", unquote(html.unescape(text))).casefold()


def needle(contact: str) -> str:
    """What is searched for: an address as it is, of a number the digits after country code and trunk prefix."""
    if "@" in contact:
        return contact.casefold()
    digits = re.sub(r"\D", "", contact.replace("(0)", ""))
    return digits.removeprefix("00").removeprefix("44").removeprefix("0")


def shown(data: bytes, planted: Mapping[str, str]) -> frozenset[str]:
    """Whose contacts stand in this: `planted` is contact as typed -> whose it is."""
    found = plain(text_of(data))
    return frozenset(whose for contact, whose in planted.items() if needle(contact) in found)


def spellings(contacts: Iterable[str]) -> list[str]:
    """Each number as people and programs write it, each address in small and capital letters and in a link."""
    out: list[str] = []
    for one in contacts:
        if "@" in one:
            out += [one, one.upper(), one.replace("@", "%40"), one.replace("@", "&#64;")]
            continue
        rest = needle(one)
        out += [f"+44{rest}", f"0044{rest}", f"0{rest}", f"+44 {rest[:4]} {rest[4:]}", f"+44 (0){rest[:4]}-{rest[4:]}",
                f"0{rest[:4]} {rest[4:7]} {rest[7:]}", f"tel:%2B44{rest}"]  # fmt: skip
    return out
