"""The words of a letter as plain text, out of text/plain or text/html, without running or loading anything."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Sequence

from notify.inbox.fields import decode, parameter
from notify.inbox.parts import Part

_LARGEST_TEXT, _LARGEST_HTML = 256 * 1024, 64 * 1024  # octets; HTML costs more to read
_BREAKS = frozenset("p div br tr li h1 h2 h3 h4 h5 h6 table ul ol hr".split())
_UNSAID = frozenset("script style head title template noscript svg textarea select blockquote".split())
_QUOTED_CLASSES = ("gmail_quote", "moz-cite-prefix", "yahoo_quoted")


def words_of(parts: Sequence[Part]) -> str:
    """What the letter says: its first text/plain part that is not attached, else its first text/html part."""
    said = [part for part in parts if not part.attached]
    for kind, read in (("text/plain", _plain), ("text/html", _html)):
        texts = (read(part) for part in said if part.kind == kind)
        if text := next((text for text in texts if text.strip()), ""):
            return text
    return ""


def _plain(part: Part) -> str:
    return _text(part, _LARGEST_TEXT)


def _html(part: Part) -> str:
    return html_words(_text(part, _LARGEST_HTML))


def _text(part: Part, limit: int) -> str:
    text = decode(part.content(limit=limit), parameter(part.fields, "charset") or "utf-8")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").replace("\0", "")
    return lines.removeprefix("\ufeff")


def html_words(page: str) -> str:
    """The text of an HTML body: blocks become lines; scripts, styles and quoted mail are left out.

    By hand, because the standard library's parser takes quadratic time (measured: 32 s of CPU for 64 KiB of "<a ").
    """
    said: list[str] = []
    hidden: list[str] = []  # the open elements of one name, from the first hidden one on
    for text, name, inside in _pieces(page):
        if not hidden:
            said.append(text)
            said.append("\n" if name.lstrip("/") in _BREAKS else "")
        _hide(hidden, name, inside)
    lines = html.unescape("".join(said)).replace("\u00a0", " ").split("\n")
    return "\n".join(" ".join(line.split()) for line in lines)


def _hide(hidden: list[str], name: str, inside: str) -> None:
    """Keep count of the elements whose text is not said."""
    if hidden:
        if name == hidden[0]:
            hidden.append(name)
        elif name == "/" + hidden[0]:
            hidden.pop()
    elif name in _UNSAID or any(f"{quote}{known}" in inside for known in _QUOTED_CLASSES for quote in "\"'"):
        hidden.append(name)


def _pieces(page: str) -> Iterator[tuple[str, str, str]]:
    """Text, the small name of the tag after it (`/p` for an end), and what else stands in that tag."""
    at = 0
    for mark in re.finditer("<(?=[a-zA-Z/!?])", page):
        opened = mark.start()
        if opened < at:
            continue
        comment = page.startswith("<!--", opened)
        closed = page.find("-->" if comment else ">", opened)
        if closed < 0:
            page = page[:opened]
            break
        name = "" if comment else _name(page[opened + 1 : opened + 20])
        text = " ".join(page[at:opened].split("\n"))
        yield text, name, "" if name.startswith("/") else page[opened:closed]
        at = closed + (3 if comment else 1)
    yield " ".join(page[at:].split("\n")), "", ""


def _name(inside: str) -> str:
    found = re.match(r"/?[a-zA-Z][a-zA-Z0-9]*", inside)
    return found[0].lower() if found else ""
