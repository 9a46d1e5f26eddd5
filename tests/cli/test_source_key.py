"""The key by which a source signs: made, shown once, changed without losing calls; and a bad one is named by check."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest
from standardwebhooks.webhooks import Webhook

from tests.cli.conftest import Shop

pytestmark = pytest.mark.long
SOURCE = """
[watch.web-form]
kind = "webhook"
secret_file = "keys/web-form.key"
columns = {reference = "/data/job", phase = "/data/where"}
phase_words = {"done" = "repaired"}
"""


def with_source(shop: Shop, more: str = "") -> Path:
    config = shop.installation.config
    config.write_text(config.read_text("utf-8") + SOURCE.replace("columns", more + "columns", 1), "utf-8")
    return config.parent / "keys/web-form.key"


def test_a_key_is_made_shown_once_and_never_written_over(shop: Shop) -> None:
    file = with_source(shop)
    made = shop.ok("source", "key", "web-form", "--json").data
    Webhook(made["secret"])  # PyPI standardwebhooks takes it
    assert file.read_text() == made["secret"] + "\n" and stat.S_IMODE(file.stat().st_mode) == 0o600
    assert made["address"].endswith("/hooks/watch/web-form")
    assert shop("source", "key", "web-form").code == 5 and file.read_text() == made["secret"] + "\n"


def test_another_key_keeps_the_one_before_or_is_refused(shop: Shop) -> None:
    file = with_source(shop)
    first = shop.ok("source", "key", "web-form", "--json").data["secret"]
    refused = shop("source", "key", "web-form", "--rotate")
    assert refused.code == 6 and "old_secret_file" in refused.err and file.read_text().strip() == first
    config = shop.installation.config
    config.write_text(
        config.read_text().replace('web-form.key"\n', 'web-form.key"\nold_secret_file = "keys/old.key"\n')
    )
    second = shop.ok("source", "key", "web-form", "--rotate", "--json").data["secret"]
    old = file.with_name("old.key")
    assert (file.read_text().strip(), old.read_text().strip()) == (second, first) and first != second
    assert stat.S_IMODE(old.stat().st_mode) == 0o600
    assert shop("source", "key", "nobody").code == 4
    config.write_text(
        config.read_text()
        .replace('kind = "webhook"', 'kind = "folder"\nfolder = "in"')
        .replace('secret_file = "keys/web-form.key"\nold_secret_file = "keys/old.key"\n', "")
    )
    assert shop("source", "key", "web-form").code == 5  # it signs nothing
