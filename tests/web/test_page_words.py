"""The words of the customer's pages are whole in every language, and no text of a context becomes markup."""

from __future__ import annotations

import re
import tomllib
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from tests.web.gallery import ROOT, environment
from tests.web.page_examples import pages

pytestmark = pytest.mark.long

WORDS = sorted((ROOT / "templates" / "words").glob("page.*.toml"))
PAYLOADS = (
    '"><img src=x onerror=alert(1)>',
    "'><svg/onload=alert(1)>",
    "</textarea></title><script>alert(1)</script>",
    "{{ 7*7 }}{% include 'claim.html' %}",
    "\u202e<b onmouseover=alert(1)>\u0000",
)
# Built by the server out of its own codes, never out of what somebody typed.
OURS = {"w", "language", "mark", "mark_name", "here", "state", "type"}


def _words(path: Path) -> dict[str, str]:
    loaded = tomllib.loads(path.read_text(encoding="utf-8"))
    return {f"{part}.{key}": text for part, texts in loaded.items() for key, text in texts.items()}


def test_every_language_has_the_same_words_with_the_same_gaps_to_fill() -> None:
    first, *others = (_words(path) for path in WORDS)
    assert others
    for other in others:
        assert first.keys() == other.keys()
        for key, text in first.items():
            assert sorted(set(re.findall(r"{\w+}", text))) == sorted(set(re.findall(r"{\w+}", other[key]))), key
            assert other[key].strip(), key


def test_every_word_that_a_page_asks_for_exists() -> None:
    asked = {
        ".".join(found)
        for page in (ROOT / "templates" / "pages").glob("*.html")
        for found in re.findall(r"\bw\.(\w+)\.(\w+)", page.read_text(encoding="utf-8"))
    }
    assert len(asked) > 20
    assert asked <= _words(WORDS[0]).keys()


def test_each_phase_and_device_class_has_its_sentence() -> None:
    words = _words(WORDS[0])
    for phase in ("taken_in", "inspecting", "in_line", "on_bench", "proving", "handed_back", "left_behind"):
        assert f"says.{phase}" in words
    for device in ("radio", "camera", "e_reader", "handheld", "other"):
        assert f"device.{device}" in words and f"your_device.{device}" in words


class _Active(HTMLParser):
    """Collects what a browser would run: scripts that are not ours, foreign elements, handler attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        handlers = [name for name in names if name.startswith("on")]
        foreign = (tag == "img" and names.get("src") == "x") or (tag == "b") or (tag == "svg" and "class" not in names)
        if (
            handlers
            or foreign
            or (tag == "script" and names.get("src") not in ("/static/shelfbell.js", "/static/live.js"))
        ):
            self.found.append(f"{tag} {attrs}")


def _poison(value: Any, payload: str) -> tuple[Any, int]:
    """The same shape with every text replaced, and how many there were."""
    if isinstance(value, str):
        return payload, 1
    if isinstance(value, list):
        done = [_poison(one, payload) for one in value]
        return [one for one, _ in done], sum(count for _, count in done)
    if isinstance(value, dict):
        fresh = {key: (one, 0) if key in OURS else _poison(one, payload) for key, one in value.items()}
        return {key: one for key, (one, _) in fresh.items()}, sum(count for _, count in fresh.values())
    return value, 0


def _active(html: str) -> list[str]:
    parser = _Active()
    parser.feed(html)
    return parser.found


def test_no_text_of_any_context_becomes_something_a_browser_runs() -> None:
    cells, active, env = 0, [], environment()
    for name, (template, context) in pages().items():
        for payload in PAYLOADS:
            poisoned, count = _poison(context, payload)
            html = env.get_template(template).render(poisoned)
            active += [(name, one) for one in _active(html)]
            assert "49" not in re.findall(r"\b49\b", html) or "{{" not in payload
            cells += count
    print(f"FIGURE D8_examples cells={cells} active={len(active)}")
    assert not active


def test_the_search_for_active_content_finds_a_planted_one() -> None:
    env = environment().overlay(autoescape=False)  # the others look at theirs as the server sets it up
    template, context = pages()["claim_ready"]
    assert _active(env.get_template(template).render(_poison(context, PAYLOADS[0])[0]))
