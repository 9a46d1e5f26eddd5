"""Every example page of the gallery: name -> (template, context)."""

from __future__ import annotations

from tests.web.examples_customer import Page, customer_pages
from tests.web.examples_shop import shop_pages


def pages() -> dict[str, tuple[str, Page]]:
    """All of them; a context holds plain strings, numbers, bools, lists and dicts only."""
    return customer_pages() | shop_pages()
