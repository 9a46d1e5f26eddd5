"""The parts of a letter (RFC 2045, 2046), taken apart by hand: bounded in depth and number, and never recursive."""

from __future__ import annotations

import binascii
import quopri
import re
from collections.abc import Iterator
from dataclasses import dataclass

from notify.inbox.fields import Fields, media_type, parameter, read_fields, split_header

DEEPEST, MOST_PARTS = 20, 100  # of multiparts within multiparts, and of parts in a letter


class TooDeep(Exception):
    """More multiparts within multiparts than any mail program writes."""


@dataclass(frozen=True, slots=True, repr=False)
class Part:
    """One part that is no multipart. `kind` is its media type, `body` still in its transfer encoding."""

    kind: str
    fields: Fields
    body: bytes
    in_report: bool

    @property
    def attached(self) -> bool:
        """Whether it is sent along rather than said (RFC 2183 2.2)."""
        return self.fields.first("content-disposition").lower().startswith("attachment")

    def content(self, *, limit: int) -> bytes:
        """The body without its transfer encoding (RFC 2045 6), of at most `limit` octets as they were sent."""
        body, encoding = self.body[:limit], self.fields.first("content-transfer-encoding").lower()
        if encoding == "quoted-printable":
            return quopri.decodestring(body)
        return _base64(body) if encoding == "base64" else body


def take_apart(fields: Fields, body: bytes) -> list[Part]:
    """The parts in their order, the first 100; a letter within the letter is one part. Raises TooDeep."""
    found: list[Part] = []
    waiting = [(fields, body, 0, False)]
    while waiting and len(found) < MOST_PARTS:
        fields, body, depth, in_report = waiting.pop()
        kind, boundary = media_type(fields), parameter(fields, "boundary")
        if not kind.startswith("multipart/") or not boundary:
            found.append(Part(kind, fields, body, in_report))
            continue
        if depth >= DEEPEST:
            raise TooDeep
        report = in_report or kind == "multipart/report"
        inner = [split_header(piece) for piece in _pieces(body, boundary)]
        waiting += [(read_fields(head), text, depth + 1, report) for head, text in reversed(inner)]
    return found


def _pieces(body: bytes, boundary: str) -> list[bytes]:
    """What stands between the lines of a boundary (RFC 2046 5.1.1); without its last line, up to the end."""
    mark = re.escape(boundary.encode("ascii", "replace"))
    lines = re.compile(rb"(?:\A|\r?\n)--" + mark + rb"(--)?[ \t]*(?=\r?\n|\Z)")
    return list(_between(body, lines))


def _between(body: bytes, lines: re.Pattern[bytes]) -> Iterator[bytes]:
    start, count = -1, 0
    for found in lines.finditer(body):
        if start >= 0:
            yield _without_break(body[start : found.start()])
            count += 1
        start = found.end()
        if found[1] or count >= MOST_PARTS:
            return
    if start >= 0:
        yield _without_break(body[start:])


def _without_break(piece: bytes) -> bytes:
    """The line break after the boundary belongs to it."""
    return piece.removeprefix(b"\r").removeprefix(b"\n")


def _base64(body: bytes) -> bytes:
    signs = re.sub(rb"[^A-Za-z0-9+/]", b"", body)
    try:
        return binascii.a2b_base64(signs[: len(signs) - (len(signs) % 4 == 1)] + b"==")
    except binascii.Error:
        return b""
