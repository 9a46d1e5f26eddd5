"""A house with a source that signs its calls, and the other system's side of it."""

from __future__ import annotations

import base64
import itertools
import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from werkzeug.test import TestResponse

from notify.config.settings import Watch
from notify.config.table import NO_DEFAULT, SETTINGS, WATCH
from notify.web.app import create_app
from tests.parts.house import House
from tests.parts.tampered import signed

SECRET = "whsec_" + base64.b64encode(b"quill-and-lantern-over-the-harbour").decode()
OLD_SECRET = "whsec_" + base64.b64encode(b"the-key-before-it-of-the-lantern").decode()
COLUMNS = {"reference": "/data/job", "phase": "/data/where", "device": "/data/what", "name": "/data/who",
           "version": "/data/turn"}  # fmt: skip
WORDS = {"came in": "taken_in", "on the bench": "on_bench", "done": "repaired"}
BASE = "https://bell.example.org"
NAME = "web-form"


def source(folder: Path, **changed: Any) -> Watch:
    """The settings of a source of kind webhook, with its key file written as `shelfbell source key` does."""
    file = folder / f"{changed.get('name', NAME)}.key"
    file.write_text(changed.pop("secret", SECRET) + "\n")
    file.chmod(0o600)
    return source_settings(secret_file=file, **changed)


def source_settings(**changed: Any) -> Watch:
    """The settings of a source of kind webhook, everything else as the table of settings has it."""
    told = {
        one.key.removeprefix(WATCH): one.kind.read(one.default) for one in SETTINGS
        if one.key.startswith(WATCH) and one.default is not NO_DEFAULT
    }  # fmt: skip
    own = {"name": NAME, "kind": "webhook", "columns": tuple(COLUMNS.items()), "phase_words": tuple(WORDS.items())}
    return Watch(**(told | own | changed))


class Caller:
    """The other system: signs by another implementation than ours and calls the pages of the house."""

    def __init__(self, house: House, *sources: Watch, secret: str = SECRET) -> None:
        settings = replace(house.services.settings, watch=sources)
        self.house, self.secret = house, secret
        self.app = create_app(replace(house.services, settings=settings))
        self._ids = itertools.count(1)

    @property
    def now(self) -> int:
        """The house's clock in seconds since 1970."""
        return int(self.house.clock().timestamp())

    def send(self, headers: Mapping[str, str], body: bytes, *, name: str = NAME, **more: Any) -> TestResponse:
        """A call as it is, proved or not."""
        options = {"content_type": "application/json", "base_url": BASE} | more
        return self.app.test_client().post(f"/hooks/watch/{name}", data=body, headers=dict(headers), **options)

    def call(self, told: Any, *, call_id: str = "", name: str = NAME, headers: Mapping[str, str] = {}) -> TestResponse:
        """A rightly signed call; `told` is a body, or what is to be written as JSON."""
        body = told if isinstance(told, bytes) else json.dumps(told).encode()
        made, _ = signed(self.secret, body, at=self.now, call_id=call_id or f"msg_{next(self._ids)}")
        return self.send({**made, **headers}, body, name=name)


def event(number: str, where: str, *, event_id: str = "e-1", **more: Any) -> dict[str, Any]:
    """One CloudEvent about a ticket; `time` and others as attributes, "turn" as its version."""
    data = {"job": number, "where": where} | ({"turn": more.pop("turn")} if "turn" in more else {})
    return {"specversion": "1.0", "id": event_id, "source": "/bench", "type": "org.example.moved", "data": data} | more
