"""Walks over every message text there is, and reads an HTML mail as a mail program would."""

from __future__ import annotations

from collections.abc import Iterator
from html.parser import HTMLParser

from notify.paths import templates_folder
from notify.render.texts import CUSTOMER_PARTS, SHOP_PARTS
from tests.render.contexts import CUSTOMER, LANGUAGES, SHOP

FOLDER = templates_folder() / "messages"
PARTS = {**dict.fromkeys(CUSTOMER, CUSTOMER_PARTS), **dict.fromkeys(SHOP, SHOP_PARTS)}


def every() -> Iterator[tuple[str, str, str]]:
    """Each (language, notice, part) that must exist."""
    for language in LANGUAGES:
        for notice, parts in PARTS.items():
            for part in parts:
                yield language, notice, part


class Page(HTMLParser):
    """What a mail program would see: language, title, tags, attributes, visible words."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words += data
