"""Values of another system's database as the texts of cells: one way of writing for each type, whatever the database.

| value | text |
|---|---|
| NULL | empty |
| text | itself, without blanks around it |
| whole number; decimal | its digits; as many places as it has, never with an exponent |
| floating number | the shortest text that gives it again; no ".0" |
| boolean | "true" or "false" (a database without booleans gives 1 or 0, which is a number) |
| date; time of day | 2026-11-28; 11:30:00 |
| time, with or without a zone | 2026-11-28T11:30:00+00:00; 2026-11-28T11:30:00, which is in the source's zone |
| length of time | hours:minutes:seconds, also above 24 hours |
| bytes | pairs of hexadecimal digits |
| JSON, list | JSON, with its keys in order |
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

LONGEST = 4_000  # characters of one cell, as in files


def _text_of_float(value: float) -> str:
    return repr(value).removesuffix(".0")


def _text_of_length(value: timedelta) -> str:
    seconds = abs(value) // timedelta(seconds=1)
    return f"{'-' if value < timedelta() else ''}{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"


def _text_of_json(value: Any) -> str:
    """A type json may hold half a sign (RFC 8259 8.2), which is no text that could be kept: "?" stands for it."""
    text = json.dumps(value, ensure_ascii=False, sort_keys=True, default=str)
    return text.encode("utf-8", "replace").decode()


_WRITE: dict[type, Callable[[Any], str]] = {
    str: str.strip,
    bool: lambda value: "true" if value else "false",
    int: str,
    float: _text_of_float,
    Decimal: lambda value: format(value, "f"),
    datetime: datetime.isoformat,
    date: date.isoformat,
    time: time.isoformat,
    timedelta: _text_of_length,
    bytes: bytes.hex,
    bytearray: lambda value: bytes(value).hex(),
    memoryview: lambda value: bytes(value).hex(),
    dict: _text_of_json,
    list: _text_of_json,
}


def text_of(value: object) -> str:
    """The text of one value, as the table above says; what is none of it, as the driver writes it."""
    if value is None:
        return ""
    if isinstance(value, str | bytes | bytearray | memoryview) and len(value) > 2 * LONGEST:
        return "x" * (LONGEST + 1)  # too long whatever it says: it is not kept while the page is read
    return _WRITE.get(type(value), str)(value)
