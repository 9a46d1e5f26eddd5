"""The shapes of the contexts that templates get, with the check that a template uses nothing else."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from jinja2 import nodes

from notify.core.errors import Invalid

# A shape is "" (one text or number), a mapping (named fields) or a one-item list (any number of these).
Shape = Any


def message_shape() -> dict[str, Shape]:
    """Every key a message template may use; all are always given, empty where they do not apply."""
    device = dict.fromkeys(("number", "device", "device_class_words", "phase_sentence", "shelf"), "")
    texts = (
        "language claim_link privacy_link stop_link entry_stays number device fault price outcome reason"
        " promise old_promise expected hardly why bench sentence phone days_waiting waits_on code collector by_pass"
    )
    return {
        **dict.fromkeys(texts.split(), ""),
        "shop": dict.fromkeys(("name", "phone", "email", "address", "hours", "url"), ""),
        "person": {"name": ""},
        "devices": [device],
        "safety": [""],
        "caution_lines": [""],
        "question": {
            **dict.fromkeys(("kind", "wording", "price", "until"), ""),
            "options": [{"code": "", "label": ""}],
        },
        "answer": dict.fromkeys(("code", "label", "by"), ""),
        "part": dict.fromkeys(("name", "supplier", "due", "label"), ""),
        "slot": dict.fromkeys(("day", "time", "end", "place"), ""),
        "reply": dict.fromkeys(("text", "what"), ""),
        "request": dict.fromkeys(("first", "more"), ""),
        "hanging": [dict.fromkeys(("number", "promise"), "")],
    }


def privacy_shape() -> dict[str, Shape]:
    """What the data protection page is made of; everything but the shop's name may be empty.

    shop: the controller (also a representative, as words). joint: who answers with it. officer: how to reach
    the data protection officer.
    providers: who handles data for the shop, as words ("Breakwater Mail, sends our e-mail"). outside: what
    goes to a third country and under which safeguard. periods, as words ("30 days"): contact after handing
    back, delegate after a pass, review of what nobody collected, records for tax law, agreed (proof of consents),
    requests about own data, looks at contacts, strangers' words, backups, key_backups. consents: uses that
    rest on consent. sources: other systems that tell of devices. by_page: not empty where customers have a page to
    ask on. authority: whom to complain to.
    """
    shop = ("name", "address", "phone", "email", "representative")
    periods = ("contact", "delegate", "review", "records", "agreed", "requests", "looks", "strangers", "backups")
    return {
        "shop": dict.fromkeys(shop, ""),
        "joint": "",
        "officer": "",
        "providers": [""],
        "outside": "",
        "periods": dict.fromkeys((*periods, "key_backups"), ""),
        "consents": [""],
        "sources": [""],
        "by_page": "",
        "authority": {"name": "", "url": ""},
        "updated": "",
    }


def record_shape() -> dict[str, Shape]:
    """What the record of processing (GDPR art. 30(1)) is made of; as above, and what is empty is asked for.

    joint: who answers together with the shop. uses: those that rest on consent. lives: how long each kind of data is
    kept, with the rule's source and the day it was checked. measures: what the program does, own_measures: the shop.
    """
    shop = ("name", "address", "phone", "email", "representative")
    return {
        "shop": dict.fromkeys(shop, ""), "asks_address": "", "joint": "", "officer": "", "uses": [""], "sources": [""],
        "providers": [""], "outside": "", "measures": [""], "own_measures": [""], "updated": "",
        "lives": [dict.fromkeys(("what", "period", "since", "source", "checked"), "")],
    }  # fmt: skip


def check_link(key: str, link: object) -> None:
    """Raises Invalid unless `link` is empty or a plain web address, so that no text carries a script."""
    if link and not re.fullmatch(r"https?://[^\s\"'<>\\]+", str(link)):
        raise Invalid(f"{key} is not a web address", "It begins with https:// or http://.", field=key)


def misuse(tree: nodes.Template, shape: Mapping[str, Shape]) -> Iterator[tuple[int, str]]:
    """Each (line, sentence) where the template uses a name that the shape lacks, or a wrong kind of it."""
    yield from _walk(tree, {**shape})


def _walk(node: nodes.Node, scope: dict[str, Shape]) -> Iterator[tuple[int, str]]:
    if isinstance(node, nodes.For):
        yield from _walk_loop(node, scope)
        return
    if isinstance(node, nodes.Output):
        for shown in node.nodes:
            yield from _printed(shown, scope)
        return
    if isinstance(node, (nodes.Name, nodes.Getattr)):
        yield from _look_up(node, scope)[1]
        return
    for child in node.iter_child_nodes():
        yield from _walk(child, scope)


def _walk_loop(node: nodes.For, scope: dict[str, Shape]) -> Iterator[tuple[int, str]]:
    shape, wrong = _look_up(node.iter, scope)
    yield from wrong
    if not wrong and not isinstance(shape, list):
        yield node.lineno, f"{_spell(node.iter)} is not a list, so no loop can run over it"
    item = shape[0] if isinstance(shape, list) and shape else ""
    target = node.target.name if isinstance(node.target, nodes.Name) else ""
    inner = {**scope, target: item, "loop": dict.fromkeys(("first", "last", "index", "revindex"), "")}
    for part in (*node.body, *node.else_):
        yield from _walk(part, inner)


def _printed(node: nodes.Node, scope: dict[str, Shape]) -> Iterator[tuple[int, str]]:
    if not isinstance(node, (nodes.Name, nodes.Getattr)):
        yield from _walk(node, scope)
        return
    shape, wrong = _look_up(node, scope)
    yield from wrong
    if not wrong and shape != "":
        yield node.lineno, f"{_spell(node)} holds several values; print one of its fields"


def _look_up(node: nodes.Node, scope: dict[str, Shape]) -> tuple[Shape, list[tuple[int, str]]]:
    if isinstance(node, nodes.Name):
        if node.name in scope:
            return scope[node.name], []
        return "", [(node.lineno, f"there is no {node.name!r}; known are {_list(scope)}")]
    if isinstance(node, nodes.Getattr):
        shape, wrong = _look_up(node.node, scope)
        if wrong:
            return "", wrong
        if isinstance(shape, Mapping) and node.attr in shape:
            return shape[node.attr], []
        known = f"it has {_list(shape)}" if isinstance(shape, Mapping) else "it has no fields"
        return "", [(node.lineno, f"{_spell(node.node)} has no {node.attr!r}; {known}")]
    return "", list(_walk(node, scope))


def _spell(node: nodes.Node) -> str:
    if isinstance(node, nodes.Getattr):
        return f"{_spell(node.node)}.{node.attr}"
    return node.name if isinstance(node, nodes.Name) else "this"


def _list(names: Mapping[str, Shape]) -> str:
    return ", ".join(sorted(name for name in names if name))
