"""A key of a source that is none, too short or readable by others is named, before anything starts."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from notify.config.checks import check
from notify.config.first_setup import write_first_installation
from notify.config.load import load
from tests.cli.test_source_key import SOURCE
from tests.config.test_refusals import NOW

FIELD = "watch.web-form.secret_file"


@pytest.mark.parametrize(("text", "mode", "word"), [
    ("whsec_" + "QUJD" * 11, 0o644, "other users"), ("whsec_QUJD", 0o600, "3 octets"), ("swordfish", 0o600, "no key"),
    ("", 0o600, "no key"), ("whsec_" + "QUJD" * 40, 0o600, "120 octets"), ("whsec_" + "QUJD" * 11, 0o600, ""),
])  # fmt: skip
def test_a_key_that_is_none_or_that_others_read_is_named(tmp_path: Path, text: str, mode: int, word: str) -> None:
    config = write_first_installation(tmp_path / "bell", public_url="", random_bytes=os.urandom)
    config.write_text(config.read_text("utf-8") + SOURCE, "utf-8")
    file = config.parent / "keys/web-form.key"
    missing = [one for one in check(load(config), now=NOW, file=config) if one.key == FIELD]
    assert [(one.refuses, "no key yet" in one.what) for one in missing] == [(False, True)]  # the others go on
    file.write_text(text)
    file.chmod(mode)
    found = [one for one in check(load(config), now=NOW, file=config) if one.key == FIELD]
    assert [one.refuses for one in found] == [True] * bool(word)
    assert all(word in one.what and (not text or text[6:] not in str(one)) for one in found)


@pytest.mark.parametrize("same", [True, False])
def test_two_sources_with_one_key_are_refused_since_a_call_could_be_sent_on(tmp_path: Path, same: bool) -> None:
    config = write_first_installation(tmp_path / "bell", public_url="", random_bytes=os.urandom)
    other = SOURCE.replace("web-form", "night-box")
    config.write_text(config.read_text("utf-8") + SOURCE + other, "utf-8")
    for name, letters in (("web-form", "QUJD"), ("night-box", "QUJD" if same else "QUJE")):
        file = config.parent / f"keys/{name}.key"
        file.write_text("whsec_" + letters * 11)
        file.chmod(0o600)
    found = [one for one in check(load(config), now=NOW, file=config) if "this is the key of" in one.what]
    assert [(one.refuses, one.key) for one in found] == [(True, "watch.web-form.secret_file")] * same
