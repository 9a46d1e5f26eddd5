"""Reads JSON lines: one object (RFC 8259) on each line, its fields found by name or JSON pointer (RFC 6901)."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any, BinaryIO

from jsonpointer import JsonPointer, JsonPointerException

from notify.config.settings import Watch
from notify.core.errors import Misconfigured
from notify.watch.encodings import encoding_of
from notify.watch.lines import Line, Sheet, fault_of, wrong
from notify.watch.text_lines import TextLines

DEEPEST = 32  # lists and objects within each other
_NOTHING = object()


class _Fault(ValueError):
    """Why a line is no object that can be taken."""


def open_json(file: BinaryIO, watch: Watch) -> Sheet:
    """Reads a file of JSON lines. Raises SourceTrouble when it is not such a file at all."""
    encoding = encoding_of(file, watch)
    if not encoding.startswith("utf") and watch.encoding == "auto":
        raise wrong("It is not UTF-8", "JSON is written in UTF-8 (RFC 8259, 8.1).")
    lines = TextLines(file, encoding)
    if lines.next_line().lstrip().startswith("["):
        raise wrong("It is one list", "Write each object on a line of its own, without a list around them.")
    return Sheet((), ",", _lines(TextLines(file, encoding), _pointers(watch)))


def _pointers(watch: Watch) -> dict[str, JsonPointer]:
    """Where our words are found: a plain name is that of a field of the object itself."""
    found = {}
    for ours, theirs in watch.columns:
        where = theirs if theirs.startswith("/") else "/" + theirs.replace("~", "~0").replace("/", "~1")
        try:
            found[ours] = JsonPointer(where)
        except JsonPointerException:
            what = f"watch.{watch.name}.columns: {theirs!r} is no JSON pointer"
            raise Misconfigured(what, "Write it as RFC 6901 says.") from None
    return found


def _lines(lines: TextLines, pointers: Mapping[str, JsonPointer]) -> Iterator[Line]:
    while text := lines.next_line():
        text = text.strip()
        if lines.number in lines.cut:
            yield Line(lines.number, raw=(text,), fault="it is longer than a line may be")
        elif text:
            yield _line(lines.number, text, pointers)


def _line(number: int, text: str, pointers: Mapping[str, JsonPointer]) -> Line:
    try:
        document = read_object(text)
        cells = {ours: _cell(document, pointer) for ours, pointer in pointers.items()}
    except _Fault as fault:
        return Line(number, raw=(text,), fault=str(fault))
    return Line(number, cells, (text,), fault_of(cells))


def read_object(text: str) -> Mapping[str, Any]:
    """One object; numbers stay as they are written. Raises ValueError with the reason, which quotes nothing of it."""
    try:
        found = _DECODER.decode(text)
    except RecursionError:
        raise _Fault(_TOO_DEEP) from None
    except _Fault:
        raise
    except ValueError:
        raise _Fault("it is no JSON") from None
    if not isinstance(found, dict):
        raise _Fault("it is no JSON object")
    if text.count("{") + text.count("[") > DEEPEST and _depth(found) > DEEPEST:
        raise _Fault(_TOO_DEEP)
    return found


_TOO_DEEP = f"it has more than {DEEPEST} lists and objects within each other"


def _depth(found: Any) -> int:
    """How deep it goes, counted without going deep."""
    depth, level = 0, [found]
    while level := [one for one in level if isinstance(one, dict | list)]:
        depth += 1
        level = [inner for one in level for inner in (one.values() if isinstance(one, dict) else one)]
    return depth


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Which of two equal names counts is not said (RFC 8259, 4), so neither does."""
    found = dict(pairs)
    if len(found) != len(pairs):
        raise _Fault("it has a name twice")
    return found


def _no_constant(_name: str) -> Any:
    raise _Fault("it is no JSON")  # NaN and Infinity (RFC 8259, 6)


_DECODER = json.JSONDecoder(
    object_pairs_hook=_once_each, parse_float=str, parse_int=str, parse_constant=_no_constant
)  # fmt: skip


def _cell(document: Mapping[str, Any], pointer: JsonPointer) -> str:
    try:
        found = pointer.resolve(document, _NOTHING)
    except (JsonPointerException, TypeError, ValueError):  # it leads through what is no object and no list
        return ""
    if found is _NOTHING or found is None:
        return ""
    if isinstance(found, bool):
        return str(found).lower()
    if not isinstance(found, str):
        raise _Fault(f"{pointer.path} is no single value")
    return found.strip()
