"""The header of a letter or of one part: its fields read from bytes in bounded time, without regard to the rest."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass
from email.errors import HeaderParseError
from email.header import decode_header
from email.message import Message
from itertools import islice

from notify.core.contacts import parse_email
from notify.core.errors import Invalid

LARGEST_HEADER = 64 * 1024  # octets
_LONGEST_VALUE, _LONGEST_LINE = 8000, 300  # octets of a structured field, characters of a line that people read
MOST_NAMED = 50  # addresses, identifiers
# Python knows them by name, and no letter is written in them; the first takes quadratic time (measured: 7 s of CPU for
# 256 KiB).
_NO_CHARSETS = frozenset(("punycode", "idna", "undefined", "unicode_escape", "raw_unicode_escape"))
_LONGEST_CHARSET = 40  # characters
_BLANK = re.compile(rb"\n\r?\n|\A\r?\n")
_FIELD = re.compile(r"([!-9;-~]{1,80})[ \t]*:(.*)", re.DOTALL)  # RFC 5322 2.2: printable signs but the colon
_ADDRESS = re.compile(r"[^\s<>@,;:\"()]{1,64}@[^\s<>@,;:\"()]{1,255}")
_IDENTIFIER = re.compile(r"<[!-;=?-~]{1,200}>")  # visible ASCII: it goes into our own header and into the database
_IN_ANGLES = re.compile(r"[^<>]*<\s*([^<>]*)>\s*")
_QUOTED = re.compile(r'"(?:[^"\\]|\\.)*"')


@dataclass(frozen=True, slots=True, repr=False)
class Fields:
    """The fields in their order: small names, unfolded values, octets above 127 as surrogates."""

    pairs: tuple[tuple[str, str], ...]

    def all(self, name: str) -> list[str]:
        """Every value of a field, in order."""
        return [value for known, value in self.pairs if known == name]

    def first(self, name: str) -> str:
        """The first value of a field, "" without one, cut at 8,000 octets."""
        return next(iter(self.all(name)), "")[:_LONGEST_VALUE]


def split_header(raw: bytes) -> tuple[bytes, bytes]:
    """Header and body; the header ends at the first empty line (RFC 5322 2.1) and is all there is without one."""
    found = _BLANK.search(raw[: LARGEST_HEADER + 4])
    return (raw[: found.start()], raw[found.end() :]) if found else (raw, b"")


def read_fields(header: bytes) -> Fields:
    """The fields of a header of at most LARGEST_HEADER octets; what is no field is passed over."""
    pairs = (_FIELD.match(line) for line in _unfolded(header[:LARGEST_HEADER]))
    return Fields(tuple((found[1].lower(), found[2].strip()) for found in pairs if found))


def _unfolded(header: bytes) -> Iterator[str]:
    lines: list[str] = []
    for line in header.decode("ascii", "surrogateescape").split("\n"):
        if line[:1] not in (" ", "\t") and lines:
            yield "".join(lines)
            lines = []
        lines.append(line.rstrip("\r"))
    yield "".join(lines)


def media_type(fields: Fields) -> str:
    """`type/subtype` in small letters; text/plain when there is none or it is unreadable (RFC 2045 5.2)."""
    kind = without_comments(fields.first("content-type")).partition(";")[0].strip().lower()
    return kind if re.fullmatch(r"[a-z0-9!#$&^_.+-]{1,60}/[a-z0-9!#$&^_.+-]{1,60}", kind) else "text/plain"


def parameter(fields: Fields, name: str, *, of: str = "content-type") -> str:
    """A parameter of a structured field, "" without it; in its RFC 2231 form, too."""
    holder = Message()
    holder[of] = fields.first(of)[:1000].encode("ascii", "replace").decode()
    value = holder.get_param(name, "", header=of)
    return str(value[2] if isinstance(value, tuple) else value or "").strip()


def without_comments(value: str) -> str:
    """Without RFC 5322 comments, however deeply nested; an open one takes the rest with it."""
    kept, depth, quoted, skip = [], 0, False, False
    for sign in value:
        if skip or sign == "\\":
            skip = not skip
        elif sign == '"' and not depth:
            quoted = not quoted
        elif sign in "()" and not quoted:
            depth = depth + 1 if sign == "(" else max(0, depth - 1)
            continue
        if not depth:
            kept.append(sign)
    return "".join(kept)


def is_balanced(value: str) -> bool:
    """Whether every comment and every quoted text in it is closed."""
    bare = _QUOTED.sub("", value.replace("\\(", "").replace("\\)", ""))
    depth = 0
    for sign in bare:
        depth += (sign == "(") - (sign == ")")
        if depth < 0:
            return False
    return depth == 0 and '"' not in without_comments(bare)


def one_address(value: str) -> str:
    """The one plain addr-spec of a mailbox, with or without a name before it; "" for none, two, or another form."""
    bare = _QUOTED.sub("", without_comments(value)).strip()
    found = _IN_ANGLES.fullmatch(bare)
    try:
        return parse_email((found[1] if found else bare).strip())
    except Invalid:
        return ""


def addresses(values: list[str]) -> Iterator[str]:
    """Everything in some fields that looks like an address, lazily."""
    for value in values:
        yield from (found[0] for found in _ADDRESS.finditer(_QUOTED.sub("", value[:LARGEST_HEADER])))


def identifiers(value: str) -> list[str]:
    """The Message-IDs in a field with their angle brackets (RFC 5322 3.6.4), at most 50."""
    return [found[0] for found in islice(_IDENTIFIER.finditer(value), MOST_NAMED)]


def line(value: str, *, limit: int = _LONGEST_LINE) -> str:
    """A field that people read: encoded words (RFC 2047) decoded, one line, no control characters."""
    text = "".join(c if c.isprintable() else " " for c in _decoded(value[: 10 * limit]))
    return " ".join(text.split())[:limit]


def _decoded(value: str) -> str:
    if "=?" not in value:
        return _text(value)
    try:
        return "".join(_word(part, charset) for part, charset in decode_header(value))
    except (HeaderParseError, ValueError):
        return _text(value)


def _word(part: bytes | str, charset: str | None) -> str:
    return part if isinstance(part, str) else decode(part, charset or "utf-8")


def _text(value: str) -> str:
    return value.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def decode(data: bytes, charset: str) -> str:
    """Text in a named character set, else in UTF-8; what does not fit becomes a mark (U+FFFD)."""
    try:
        known = codecs.lookup(charset[:_LONGEST_CHARSET]).name not in _NO_CHARSETS
        return data.decode(charset if known else "utf-8", "replace")
    except (LookupError, ValueError, UnicodeError):
        return data.decode("utf-8", "replace")
