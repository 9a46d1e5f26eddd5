"""Reads a request of the API strictly: bounded JSON without tricks, held against the very shapes that describe it."""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from functools import cache
from typing import Any

from flask import Request
from jsonschema import Draft202012Validator, FormatChecker
from jsonschema.exceptions import ValidationError
from werkzeug.exceptions import RequestEntityTooLarge

from notify.core.errors import Invalid, NotifyError
from notify.web.api.operations import Operation
from notify.web.api.problems import Refused
from notify.web.api.shapes import NAMED, Shape

LARGEST = 64 * 1024  # octets: a check-in of twenty devices with long words is a third of it
DEEPEST = 12  # levels; our shapes have five
MOST_ERRORS = 10
# RFC 3339 5.6; a leap second is read as the second before it, since datetime has none.
_INSTANT = re.compile(r"(\d{4}-\d{2}-\d{2})[Tt ](\d{2}:\d{2}:)(\d{2})(?:\.(\d{1,9}))?([Zz]|[+-]\d{2}:\d{2})", re.ASCII)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_WHOLE = re.compile(r"-?\d{1,18}", re.ASCII)
FORMATS = FormatChecker(formats=())


def read_instant(text: str) -> datetime:
    """An RFC 3339 time as an aware datetime; raises ValueError."""
    found = _INSTANT.fullmatch(text)
    if found is None:
        raise ValueError("not a time of RFC 3339")
    day, minute, second, fraction, zone = found.groups()
    second = "59" if second == "60" else second
    return datetime.fromisoformat(f"{day}T{minute}{second}.{(fraction or '0')[:6]:0<6}{zone.upper()}")


def read_day(text: str) -> date:
    """An RFC 3339 full-date; raises ValueError."""
    if not _DAY.fullmatch(text):
        raise ValueError("not a day of RFC 3339")
    return date.fromisoformat(text)


def _is_instant(value: object) -> bool:
    return not isinstance(value, str) or bool(read_instant(value))


def _is_day(value: object) -> bool:
    return not isinstance(value, str) or bool(read_day(value))


def _is_id(value: object) -> bool:
    return not isinstance(value, str) or is_id(value)


def is_id(text: str) -> bool:
    """Whether it has the form of an identifier (RFC 9562 4, in small letters as we write them)."""
    return len(text) == 36 and text == text.lower() and text == str(uuid.UUID(text))


for _format, _check in (("date-time", _is_instant), ("date", _is_day), ("uuid", _is_id)):
    FORMATS.checks(_format, raises=ValueError)(_check)


def read_query(request: Request, operation: Operation) -> dict[str, Any]:
    """The parameters of the address, with defaults; raises Refused for one that is unknown, repeated or wrong."""
    found: dict[str, Any] = {name: shape["default"] for name, shape in operation.query.items() if "default" in shape}
    for name, values in request.args.lists():
        if name not in operation.query:
            advice = f"Known: {', '.join(operation.query)}." if operation.query else "This address takes none."
            raise _malformed(Invalid(f"{name[:40]!r} is no parameter here", advice, field=name[:40]))
        if len(values) > 1:
            raise _malformed(Invalid(f"{name} stands there twice", "Name it once.", field=name))
        is_number = operation.query[name].get("type") == "integer" and _WHOLE.fullmatch(values[0])
        found[name] = int(values[0]) if is_number else values[0]
    return _checked(found, _query_shape(operation), "query")


@cache
def _query_shape(operation: Operation) -> Draft202012Validator:
    return _validator({"type": "object", "properties": dict(operation.query), "additionalProperties": False})


def read_header(request: Request, name: str, shape: Shape) -> str:
    """A header as its shape says, "" where it is not sent; raises Refused for another one."""
    given = request.headers.get(name, "")
    fits = len(given) <= shape["maxLength"] and re.search(shape.get("pattern", ""), given)
    if name in request.headers and not fits:
        raise _malformed(Invalid(f"The header {name} cannot be read", "See /api/v1/openapi.json.", field=name))
    return given


def read_body(request: Request, operation: Operation) -> dict[str, Any]:
    """The JSON object of the body; {} where the operation takes none. Raises Refused."""
    raw = _octets(request)
    if operation.body is None:
        if raw:
            raise Refused("malformed", "This operation takes no body", "Send it without one.")
        return {}
    if request.mimetype != "application/json" or request.mimetype_params.get("charset", "utf-8").lower() != "utf-8":
        raise Refused("not-json", "The body is not sent as JSON", "Send Content-Type: application/json, in UTF-8.")
    body = _checked(_parsed(raw), _body_shape(operation), "body")
    if any("\0" in one for one in _texts(body)):
        raise Refused("refused", "The body holds a sign that no text has", "Leave U+0000 out.")
    return body


@cache
def _body_shape(operation: Operation) -> Draft202012Validator:
    return _validator(operation.body or {})


def _octets(request: Request) -> bytes:
    request.max_content_length = LARGEST
    try:
        return request.get_data(cache=True)
    except RequestEntityTooLarge:
        raise Refused("too-large", "The body is too large", f"At most {LARGEST // 1024} KiB.") from None


def _parsed(raw: bytes) -> Any:
    try:
        document = json.loads(raw.decode("utf-8"), object_pairs_hook=_once_each, parse_constant=_no_constant)
        if _depth(document) > DEEPEST:
            raise ValueError("too deep")
        json.dumps(document, ensure_ascii=False).encode()  # half signs (RFC 8259 8.2) are no text that can be kept
    except (ValueError, RecursionError):
        advice = f"Send one JSON object in UTF-8, at most {DEEPEST} levels deep, each name once."
        raise Refused("malformed", "The body is no JSON that can be read", advice) from None
    return document


def _depth(document: Any) -> int:
    """How deep lists and objects stand within each other; Python's own reader has bounded it already."""
    inner = document.values() if isinstance(document, dict) else document if isinstance(document, list) else None
    return 0 if inner is None else 1 + max((_depth(one) for one in inner), default=0)


def _texts(document: Any) -> Iterator[str]:
    """Every text in a document, names too."""
    if isinstance(document, dict):
        for name, inner in document.items():
            yield name
            yield from _texts(inner)
    elif isinstance(document, list):
        for inner in document:
            yield from _texts(inner)
    elif isinstance(document, str):
        yield document


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """RFC 8259 4 lets readers differ about a name that stands twice, so nobody is left to guess."""
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name stands twice")
    return found


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON")


def _validator(shape: Shape) -> Draft202012Validator:
    return Draft202012Validator({**shape, "components": {"schemas": NAMED}}, format_checker=FORMATS)


def _checked(found: Any, validator: Draft202012Validator, where: str) -> dict[str, Any]:
    wrong = sorted(validator.iter_errors(found), key=lambda error: [str(one) for one in error.absolute_path])
    if wrong:
        raise _malformed(*(_said(one, where) for one in wrong[:MOST_ERRORS]))
    checked: dict[str, Any] = found
    return checked


def _said(error: ValidationError, where: str) -> Invalid:
    """What is wrong, by place and rule; never what stood there, which may be somebody's number."""
    place = "".join(f"/{one}" for one in error.absolute_path)
    allowed = error.validator_value
    rules: Mapping[str, str] = {
        "required": f"has to have: {', '.join(map(str, allowed))}" if isinstance(allowed, list) else "lacks something",
        "additionalProperties": "holds a field that is not known",
        "enum": f"has to be one of: {', '.join(map(str, allowed))}" if isinstance(allowed, list) else "is not allowed",
        "type": f"has to be of the type {allowed}",
        "format": f"has to be a {allowed}",
    }
    said = rules.get(str(error.validator), f"breaks the rule {error.validator}: {str(allowed)[:80]}")
    return Invalid(f"{place or 'The whole ' + where} {said}", "See /api/v1/openapi.json.", field=place)


def _malformed(*problems: Invalid) -> NotifyError:
    whole = Invalid.many(problems)
    refused = Refused("malformed", whole.what, whole.advice, field=whole.field)
    refused.problems = whole.problems
    return refused
