"""Whether our own border mail server proved a sender: Authentication-Results (RFC 8601), read narrowly.

Anybody can write such a field into a letter. So only those count that name the configured server, of them only the
topmost (a server puts its own above everything that came), and the server must take away what came with its name
(RFC 8601 5). What cannot be read proves nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from notify.inbox.fields import Fields, without_comments

LONGEST, MOST = 4000, 20  # characters of one field, fields of one letter
_VALUE = r'(?:"(?:[^"\\]|\\.)*"[^\s;"]*|[^\s;"]*)'
_NAMED = re.compile(r"\s*([^\s;=\"]+|\"[^\"\\]*\")(?:\s+1)?\s*\Z")  # authserv-id, and the one version there is
_PAIR = re.compile(rf"\s*([A-Za-z0-9_-]+(?:\s*[./]\s*[A-Za-z0-9_-]+)?)\s*=\s*({_VALUE})(?=\s|\Z)")


@dataclass(frozen=True, slots=True)
class Result:
    """One method's result: `method` and `said` in small letters, properties such as header.from."""

    method: str
    said: str
    properties: dict[str, str]


def results_of(fields: Fields) -> tuple[str, ...]:
    """The fields of a letter's own header, from the top; one that is too long keeps its place and proves nothing."""
    found = islice((value for name, value in fields.pairs if name == "authentication-results"), MOST)
    return tuple(value if len(value) <= LONGEST else f"{value[:LONGEST].partition(';')[0]}; ?" for value in found)


def is_proved(results: Sequence[str], *, authserv_id: str, sender: str) -> bool:
    """Whether the server of that name says that `sender` (an addr-spec) wrote it; never with an empty name.

    DMARC passed for exactly that domain (RFC 7489 7; any other result of it decides against), or without a word about
    DMARC a DKIM signature of that domain, or of one above it, did.
    """
    domain = sender.rpartition("@")[2].lower()
    ours = next((value for value in results if authserv_id and _names(value, authserv_id)), "")
    read = _read(ours) if ours and domain else []
    about = [one for one in read if one.method == "dmarc"]
    if about:
        return len(about) == 1 and about[0].said == "pass" and _domain(about[0], "header.from") == domain
    return any(one.said == "pass" and _is_signed(one, domain) for one in read if one.method == "dkim")


def _names(value: str, authserv_id: str) -> bool:
    found = _NAMED.match(without_comments(value).partition(";")[0])
    return found is not None and found[1].strip('"').lower() == authserv_id.lower()


def _read(value: str) -> list[Result]:
    """All results of a field; none at all if one of them cannot be read, for then nobody knows what the others are."""
    segments = [segment for segment in _segments(without_comments(value))[1:] if segment.strip()]
    if [segment.strip().lower() for segment in segments] == ["none"]:
        return []
    read = [_result(segment) for segment in segments]
    return [one for one in read if one is not None] if None not in read else []


def _segments(value: str) -> list[str]:
    """What stands between the semicolons outside of quotes; an open quote takes the rest with it."""
    pieces, quoted, skip, start = [], False, False, 0
    for at, sign in enumerate(value):
        if skip or sign == "\\":
            skip = not skip
        elif sign == '"':
            quoted = not quoted
        elif sign == ";" and not quoted:
            pieces.append(value[start:at])
            start = at + 1
    return [*pieces, value[start:]]


def _result(segment: str) -> Result | None:
    pairs = list(_pairs(segment))
    names = [name for name, _ in pairs]
    if not pairs or "" in names or len(set(names)) != len(names):
        return None
    method, _, version = names[0].partition("/")
    if "." in method or version not in ("", "1"):
        return None
    return Result(method, pairs[0][1].lower(), dict(pairs[1:]))


def _pairs(segment: str) -> Iterator[tuple[str, str]]:
    """The name=value pairs of a segment; an empty name for what is none."""
    at = 0
    while segment[at:].strip():
        found = _PAIR.match(segment, at)
        if found is None:
            yield "", ""
            return
        yield "".join(found[1].split()).lower(), found[2].strip('"')
        at = found.end()


def _is_signed(one: Result, domain: str) -> bool:
    """RFC 6376 3.5: the user or agent (i=) lies at or below the signing domain (d=), so it stands for it.

    A domain above the sender's speaks for it, as it holds its DNS; one below, or beside, may be a stranger's.
    """
    signer = one.properties["header.d"].lower() if "header.d" in one.properties else _domain(one, "header.i")
    return "." in signer and (domain == signer or domain.endswith("." + signer))


def _domain(one: Result, name: str) -> str:
    return one.properties.get(name, "").rpartition("@")[2].lower()
