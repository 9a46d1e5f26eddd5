"""The description of the API (OpenAPI 3.1), made from the table of operations that also serves and checks it."""

from __future__ import annotations

from functools import cache
from typing import Any

from notify.core.roles import SCOPES
from notify.web.api.operations import OPERATIONS, Operation
from notify.web.api.problems import KINDS
from notify.web.api.shapes import ID, KEY, NAMED, TAGS, TAGS_KNOWN, Shape, ref

_ABOUT = (
    "For the shop's own scripts. Every request carries a token that an owner made (`shelfbell token add`), in the "
    "header Authorization: Bearer. Times are RFC 3339 with an offset, amounts are text in the shop's currency. "
    "Errors are problem details (RFC 9457). Names, addresses, notes and the words of messages need contacts:read."
)
_TITLES = dict(reversed(list(KINDS.values())))
_SCOPES = "\n".join(f"- `{name}`: {words}" for name, (words, _) in SCOPES.items())


@cache
def describe() -> dict[str, Any]:
    """The whole document; the same for everybody, since it holds no secret and no data."""
    paths: dict[str, dict[str, Any]] = {}
    for one in OPERATIONS:
        paths.setdefault(address(one), {})[one.method.lower()] = _operation(one)
    return {
        "openapi": "3.1.0",
        "info": {"title": "Shelfbell", "version": "1", "description": f"{_ABOUT}\n\nScopes:\n{_SCOPES}"},
        "servers": [{"url": "/"}],
        "paths": paths,
        "components": {
            "schemas": dict(NAMED),
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
        "security": [{"token": []}],
    }


def address(operation: Operation) -> str:
    """The address as OpenAPI writes it."""
    return operation.rule.replace("<", "{").replace(">", "}")


def _operation(one: Operation) -> dict[str, Any]:
    told: dict[str, Any] = {
        "operationId": one.name, "summary": one.summary, "parameters": _parameters(one), "responses": _responses(one),
        "security": [] if one.public else [{"token": [one.scope] if one.scope else []}],
    }  # fmt: skip
    if one.body is not None:
        told["requestBody"] = {"required": True, "content": {"application/json": {"schema": one.body}}}
    return told


def _parameters(one: Operation) -> list[dict[str, Any]]:
    found = [_parameter(name, "path", _place(name)) for name in one.variables]
    found += [_parameter(name, "query", shape) for name, shape in one.query.items()]
    if one.matches:
        found.append(_parameter("If-Match", "header", {**TAGS, "description": "The ETag of the ticket, or *"}))
    if one.tagged:
        found.append(_parameter("If-None-Match", "header", TAGS_KNOWN, needed=False))
    if one.method == "POST":
        key = {**KEY, "description": "Carried out once, answered again"}
        found.append(_parameter("Idempotency-Key", "header", key, needed=False))
    return found


def _place(name: str) -> Shape:
    return {"type": "string", "enum": list(KINDS)} if name == "problem" else ID


def _parameter(name: str, where: str, shape: Shape, *, needed: bool = True) -> dict[str, Any]:
    return {"name": name, "in": where, "required": needed and where != "query", "schema": shape}


def _responses(one: Operation) -> dict[str, Any]:
    shape = ref(one.gives) if one.gives else {"type": "object"}
    good: dict[str, Any] = {"description": one.summary, "content": {"application/json": {"schema": shape}}}
    if one.tagged or one.matches:
        good["headers"] = {"ETag": {"schema": {"type": "string"}, "required": True}}
    found = {str(one.status): good} | ({"304": {"description": "It is as you have it"}} if one.tagged else {})
    return found | {str(status): _refusal(status) for status in _refusals(one)}


def _refusals(one: Operation) -> list[int]:
    found = {400, 406, 500, 503}
    found |= set() if one.public else {401, 403, 429}
    found |= {404} if one.variables or "number" in one.query else set()
    found |= {409, 413, 422} if one.method != "GET" else {422} if one.query else set()
    found |= {415} if one.body is not None else set()
    found |= {412, 428} if one.matches else set()
    return sorted(found)


def _refusal(status: int) -> dict[str, Any]:
    told: dict[str, Any] = {
        "description": _TITLES[status], "content": {"application/problem+json": {"schema": ref("Problem")}},
    }  # fmt: skip
    if status == 401:
        told["headers"] = {"WWW-Authenticate": {"schema": {"type": "string"}, "required": True}}
    return told
