"""The page of tokens: an owner makes one, sees it once, and revokes it; what it shows of curl works (README too)."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from notify.cli.server import open_socket
from notify.core.roles import SCOPES
from notify.flows import api_tokens
from tests.parts.live import serving
from tests.web.conftest import Browser, sign_in
from tests.web.script_hand import Script
from tests.web.test_kinds_pages import text

PATH = "/settings/api"
README = (Path(__file__).parents[2] / "README.md").read_text("utf-8")


@pytest.mark.long
def test_an_owner_makes_a_token_sees_it_once_and_revokes_it(app: Flask, house: Any, signed_in: Browser) -> None:
    wrong = signed_in.post(PATH, {"name": "", "scopes": ["parts:read"], "until": ""})
    assert wrong.status_code == 422 and 'id="token-name-problem"' in wrong.get_data(as_text=True)
    nothing = signed_in.post(PATH, {"name": "Books", "until": ""})
    assert nothing.status_code == 422 and 'id="token-scopes-problem"' in nothing.get_data(as_text=True)
    for day in ("soon", "2026-11-24", "9999-12-31"):
        late = signed_in.post(PATH, {"name": "Books", "scopes": ["parts:read"], "until": day})
        assert late.status_code == 422 and 'id="token-until-problem"' in late.get_data(as_text=True)
    typed = {"name": "Books at night", "scopes": ["parts:read", "tickets:read"], "until": "2026-11-30"}
    assert signed_in.post(PATH, typed).status_code == 303
    page = signed_in.get(PATH).get_data(as_text=True)
    secret = re.search(r"shelfbell_[a-z2-9]{32}", page)
    assert secret is not None
    assert secret[0] not in signed_in.get(PATH).get_data(as_text=True)
    holder = Script(app, secret[0])
    assert holder.ask("GET", "/me").get_json()["scopes"] == ["parts:read", "tickets:read"]
    assert "Last used on 2026-11-25." in text(signed_in, PATH)
    (made,) = api_tokens.list_tokens(house.ctx, house.actor())
    assert signed_in.post(PATH, {"revoke": made.id}).status_code == 303
    assert holder.ask("GET", "/me").status_code == 401
    assert "No script has a token." in text(signed_in, PATH)
    assert sign_in(app, house, role="counter").get(PATH).status_code == 403


def lines_of(told: str) -> list[str]:
    """The curl commands in a text, continued lines joined."""
    return [line.strip() for line in told.replace("\\\n", " ").splitlines() if line.strip().startswith("curl ")]


@pytest.mark.real
def test_every_curl_line_of_the_readme_and_the_page_runs(house: Any, signed_in: Browser) -> None:
    made = api_tokens.make_token(house.ctx, house.actor(), name="Books", scopes=list(SCOPES))
    shown = signed_in.get(PATH).get_data(as_text=True)
    page = "\n".join(re.findall(r"<pre>(.*?)</pre>", shown, re.DOTALL)).replace("&#34;", '"').replace("&#39;", "'")
    listening = open_socket("127.0.0.1", 0)
    base = f"http://127.0.0.1:{listening.getsockname()[1]}"
    answers = []
    with serving(house.services, listening):
        for line in (*lines_of(README), *lines_of(page)):
            line = re.sub(r"https?://[a-z0-9.:]+(?=/api/)", base, line)
            done = subprocess.run(["bash", "-c", f"{line} --silent --fail-with-body --max-time 20"], check=False,
                                  capture_output=True, env={"TOKEN": made.secret, "PATH": "/usr/bin:/bin"})  # fmt: skip
            assert done.returncode == 0, (line, done.stdout, done.stderr)
            answers.append(json.loads(done.stdout))
    print(f"FIGURE api_curl lines={len(answers)}")
    assert len(answers) == 7
    assert sum("visit" in one for one in answers) == 2
