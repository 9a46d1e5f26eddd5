"""A small reader of iCalendar content lines, written from RFC 5545 3.1, apart from the product."""

from __future__ import annotations

import re
from dataclasses import dataclass

_PARAM = re.compile(r';([A-Za-z0-9-]+)=("[^"]*"|[^";:,]*)')


@dataclass(frozen=True, slots=True)
class Line:
    """One unfolded content line; names upper-case, parameter values without their quotes."""

    name: str
    params: dict[str, str]
    value: str
    raw: str
    physical: int

    @property
    def text(self) -> str:
        """The value as TEXT, unescaped (RFC 5545 3.3.11)."""
        return re.sub(r"\\(.)", lambda m: "\n" if m[1] in "nN" else m[1], self.value)


def physical_lines(wire: bytes) -> list[bytes]:
    """The lines as sent; asserts that each ends in CRLF, holds at most 75 octets and no control character."""
    assert wire.endswith(b"\r\n"), "the last line has no CRLF"
    lines = wire[:-2].split(b"\r\n")
    for line in lines:
        assert len(line) <= 75, f"{len(line)} octets in one line"
        assert not re.search(rb"[\x00-\x08\x0a-\x1f\x7f]", line), "a control character or bare line end"
        line.decode()
    return lines


def read_lines(wire: bytes) -> list[Line]:
    """Unfold and split; asserts the shape of every line."""
    whole: list[tuple[bytes, int]] = []
    for line in physical_lines(wire):
        if line[:1] in (b" ", b"\t"):
            text, count = whole[-1]
            whole[-1] = (text + line[1:], count + 1)
        else:
            whole.append((line, 1))
    return [_split(raw.decode(), count) for raw, count in whole]


def only(lines: list[Line], name: str) -> Line:
    """The one line of that name; asserts that there is exactly one."""
    found = [line for line in lines if line.name == name]
    assert len(found) == 1, f"{name} is there {len(found)} times"
    return found[0]


def _split(raw: str, physical: int) -> Line:
    name = re.match(r"[A-Za-z0-9-]+", raw)
    assert name, f"not a content line: {raw[:20]!r}"
    at, params = name.end(), {}
    while found := _PARAM.match(raw, at):
        assert found[1].upper() not in params, f"{found[1]} is there twice"
        params[found[1].upper()] = found[2].strip('"')
        at = found.end()
    assert raw[at : at + 1] == ":", f"{name[0]} has a malformed parameter"
    return Line(name[0].upper(), params, raw[at + 1 :], raw, physical)
