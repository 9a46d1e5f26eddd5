"""A script of the shop's own: asks the API with its token, through the application itself."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from flask import Flask
from werkzeug.test import TestResponse

from notify.core.roles import SCOPES
from notify.flows import api_tokens
from notify.web.api.operations import Operation
from tests.web.conftest import BASE

PLACES = ("ticket_id", "visit_id", "question_id", "part_id", "message_id", "problem")
# A body that fits each operation's description; what it does is up to the shop's rules.
BODIES: Mapping[str, Mapping[str, Any]] = {
    "check_in": {"bringer": {"name": "Bo Quay"}, "devices": [{"device": "Gannet radio"}]},
    "move_ticket": {"to": "in_line", "reason": "wrong_shelf"},
    "undo_move": {"event": "00000000-0000-4000-8000-000000000000"},
    "promise": {"at": "2026-11-27T11:30:00+00:00"},
    "place": {"shelf": "B2"},
    "money": {"paid": True},
    "note": {"text": "Likes tea"},
    "ask": {"kind": "give_back", "wording": "Give it back as it is?"},
    "answer": {"answer": "accept", "said_by": "Noor on the phone"},
    "need_part": {"name": "Dial glass"},
    "order_part": {"supplier": "Lantern Spares"},
    "change_due": {"due": "2026-11-30T10:00:00Z"},
    "book": {"start": "2026-11-27T10:00"},
    "resend": {"reason": "lost"},
}


@dataclass
class Script:
    """One script with its token, at the shop of `house`."""

    app: Flask
    secret: str
    headers: dict[str, str] = field(default_factory=dict)

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> TestResponse:
        """One request below /api/v1; a body goes as JSON. `if_match` stands for If-Match."""
        sent = {"Authorization": f"Bearer {self.secret}"} if self.secret else {}
        sent |= self.headers | {name.replace("_", "-"): value for name, value in headers.items()}
        if body is not None and not isinstance(body, bytes):
            body = json.dumps(body).encode()
        if body is not None:
            sent.setdefault("Content-Type", "application/json")
        client = self.app.test_client(use_cookies=False)
        return client.open(f"/api/v1{path}", method=method, base_url=BASE, headers=sent, data=body, buffered=True)

    def do(self, one: Operation, values: Mapping[str, str], **headers: str) -> TestResponse:
        """An operation as it is described, with the identifiers of `values`."""
        path = one.path
        for name in one.variables:
            path = path.replace(f"<{name}>", values[name])
        if one.matches:
            headers.setdefault("if_match", "*")
        return self.ask(one.method, path, BODIES.get(one.name), **headers)


def script(app: Flask, house: Any, scopes: Sequence[str] = tuple(SCOPES), **more: Any) -> Script:
    """A script with a new token of the house's owner."""
    made = api_tokens.make_token(house.ctx, house.actor(), name="Books at night", scopes=scopes, **more)
    return Script(app, made.secret)
