"""Invented contexts for the page of tokens for the shop's own scripts."""

from __future__ import annotations

from typing import Any

from notify.core.roles import SCOPES
from tests.web.examples_shop import Page, staff_base


def _tokens(**more: Any) -> Page:
    rows = [
        ("t1", "Books at night", "read tickets and visits; read what happened, in order",
         "Made on Mon 23 Nov at 10:00 by Ada. Last used on 2026-11-25."),
        ("t2", "A script with a name so long that it hardly fits on a small phone & more", "read parts",
         "Made today at 9:00. Never used. It runs out on Thu 1 Apr 2027 at 0:00."),
    ]  # fmt: skip
    keys = ("id", "name", "may", "sentence")
    return staff_base(
        "settings", tokens=[dict(zip(keys, row, strict=True)) for row in rows], token={"name": "", "until": ""},
        scopes=[{"code": code, "label": words, "on": code == "parts:read"} for code, (words, _) in SCOPES.items()],
        made=None, base="https://bell.example.org",
    ) | more  # fmt: skip


def api_pages() -> dict[str, tuple[str, Page]]:
    """Name -> (template, context)."""
    wrong = [{"field": "token-scopes", "text": "The token may do nothing. Choose any of: tickets:read, parts:read."}]
    made = {"name": "Books at night", "secret": "shelfbell_abcdefghijkmnpqrstuvwxyz23456789"}
    return {
        "tokens": ("api_tokens.html", _tokens()),
        "tokens_made": ("api_tokens.html", _tokens(made=made)),
        "tokens_wrong": ("api_tokens.html", _tokens(errors=wrong, tokens=[])),
    }
