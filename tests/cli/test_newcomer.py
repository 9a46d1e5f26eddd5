"""A tired newcomer: an empty folder, wrong options, rubbish, a broken installation; never a traceback."""

from __future__ import annotations

import io
import json
import os
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from notify.cli import passwords
from tests.cli.conftest import Said, Shop

Run = Callable[..., Said]


@pytest.mark.long
def test_init_makes_an_installation_for_its_owner_only_and_check_is_content(in_folder: Run, tmp_path: Path) -> None:
    said = in_folder(tmp_path, "init", str(tmp_path / "new"), "--name", "Tramstop Bench", "--json")
    assert said.code == 0, said.err
    home = tmp_path / "new"
    assert re.fullmatch(r"[a-z]+(-[a-z]+){4}-\d\d", said.data["password"])
    for file in [home / "config.toml", *(home / "keys").iterdir(), *(home / "data").iterdir()]:
        assert file.stat().st_mode & 0o077 == 0, file.name
    checked = in_folder(home, "check", "--json")
    assert checked.code == 0 and checked.data["good"]
    assert checked.data["sqlite"]["version"] == sqlite3.sqlite_version
    again = in_folder(tmp_path, "init", str(home))
    assert again.code == 5 and "already there" in again.err


@pytest.mark.long
@pytest.mark.parametrize(
    "wrong",
    [("--phone", "12"), ("--zone", "Mars/Base"), ("--email", "no"), ("--language", "xx"), ("--public-url", "ftp://x"),
     ("--password-file", "-")],
)  # fmt: skip
def test_a_wrong_init_says_why_and_leaves_nothing_that_stops_the_next_try(
    wrong: tuple[str, str], in_folder: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("short\n"))
    home = tmp_path / "new"
    said = in_folder(tmp_path, "init", str(home), *wrong)
    assert said.code in (2, 6) and said.err.strip() and "Traceback" not in said.err
    assert in_folder(tmp_path, "init", str(home)).code == 0


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("ticket", "list"), 6, "shelfbell init"),
        (("check",), 6, "shelfbell init"),
        (("serve",), 6, "shelfbell init"),
        (("upgrade",), 6, "shelfbell init"),
        (("tickt",), 2, "--help"),
        (("ticket", "shwo"), 2, "--help"),
        (("serve", "--prot", "1"), 2, "--help"),
        (("ticket", "list", "--config", "no.toml"), 6, "no.toml"),
    ],
)
def test_in_an_empty_folder_every_command_says_what_to_do(
    words: tuple[str, ...], code: int, told: str, in_folder: Run, tmp_path: Path
) -> None:
    said = in_folder(tmp_path, *words)
    assert said.code == code and told in said.err and "Traceback" not in said.err
    problem = in_folder(tmp_path, *words, "--json").problem
    assert problem["exit_code"] == code and problem["problems"][0]["what"]


RUBBISH = (
    "",
    " ",
    "'; --",
    "\u202eabc",
    "💥" * 50,
    "a\r\nBcc: x@example.org",
    "9" * 5000,
    "../../etc/passwd",
    "K7M-2X9S",
)


@pytest.mark.parametrize("rubbish", RUBBISH, ids=range(len(RUBBISH)))
def test_rubbish_as_a_claim_number_is_refused_in_one_short_sentence(shop: Shop, rubbish: str) -> None:
    said = shop("ticket", "show", "--", rubbish)
    assert said.code in (2, 4) and 10 < len(said.err) < 400 and "Traceback" not in said.err


@pytest.mark.long
def test_rubbish_in_every_field_of_a_check_in_is_kept_as_text_or_refused(shop: Shop) -> None:
    for rubbish in (text for text in RUBBISH if text.strip()):
        said = shop("check-in", "--device", rubbish, "--fault", rubbish, "--name", rubbish, "--json")
        assert said.code in (0, 2) and "Traceback" not in said.err
        if said.code == 0:
            shown = shop.ok("ticket", "show", said.data["numbers"][0], "--json")
            assert "\r" not in shown.data["line"]["device"]
            shop.ok("ticket", "show", said.data["numbers"][0])


@pytest.mark.long
@pytest.mark.parametrize(
    ("break_it", "setting"),
    [
        (lambda home: (home / "keys" / "master.key").unlink(), "keys.master_key_file"),
        (lambda home: (home / "keys" / "index.key").write_text("k1:short"), "keys.index_key_file"),
        (lambda home: (home / "keys" / "web.key").chmod(0o644), "web.secret_file"),
        (lambda home: _set(home, 'bind = "0.0.0.0"'), "web.bind"),
        (lambda home: _set(home, "prot = 1"), "web.prot"),
        (lambda home: _set(home, 'port = "x"'), "web.port"),
        (lambda home: (home / "config.toml").write_text("[web\n"), "TOML"),
        (lambda home: (home / "data" / "shelfbell.db").write_bytes(b"not a database" * 100), "database"),
        (lambda home: (home / "data" / "shelfbell.db").unlink(), "upgrade"),
    ],
)
def test_check_names_what_is_broken_and_serve_refuses_it(
    break_it: Callable[[Path], object], setting: str, shop: Shop
) -> None:
    home = shop.installation.config.parent
    secrets = {file.read_text().strip().partition(":")[2] for file in (home / "keys").iterdir()}
    break_it(home)
    said = shop("check")
    told = said.out + said.err
    assert said.code == 6 and setting in told and "Traceback" not in told
    assert not any(secret in told for secret in secrets)
    refused = shop("serve")
    assert refused.code in (6, 75) and refused.err.strip() and "Traceback" not in refused.err


def _set(home: Path, line: str) -> None:
    config = home / "config.toml"
    text = re.sub(r"^port = \d+$", "", config.read_text(), count=1, flags=re.MULTILINE)
    config.write_text(text.replace("[web]\n", f"[web]\n{line}\n"))


@pytest.mark.long
def test_a_test_message_goes_to_the_shop_itself_and_to_nobody_else(shop: Shop) -> None:
    shop.check_in()
    said = shop.ok("check", "--send-test", "--json")
    assert "test message went" in said.data["test_message"][0]
    (file,) = (shop.installation.config.parent / "data" / "mail" / "new").iterdir()
    text = file.read_text()
    assert "To: bench@example.org" in text and "ida@example.org" not in text
    shop.ok("shop", "set", "email=")
    assert "shop set email" in shop("check", "--send-test").err


def test_a_password_of_words_is_never_twice_the_same() -> None:
    made = {passwords.new_password() for _ in range(200)}
    assert len(made) == 200 and all(len(word) >= 20 for word in made)


@pytest.mark.long
def test_json_is_the_only_thing_on_the_output_when_asked_for(shop: Shop) -> None:
    number = shop.check_in()
    lists = [(noun, "list") for noun in ("ticket", "pickup", "call", "message", "staff", "part")]
    others = [("shop", "show"), ("check",), ("forget", "--dry-run"), ("upgrade",)]
    about = [("ticket", "show", number), ("promise", "suggest", number), ("pickup", "slots", number)]
    for words in (*lists, *others, *about):
        json.loads(shop.ok("--json", *words).out)
        json.loads(shop.ok(*words, "--json").out)
    assert os.listdir(shop.installation.config.parent)
