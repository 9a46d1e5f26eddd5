"""Every example page of the gallery: name -> (template, context)."""

from __future__ import annotations

from functools import cache

from tests.web.examples_api import api_pages
from tests.web.examples_around import around_pages
from tests.web.examples_claim import Page, claim_pages
from tests.web.examples_counter import counter_pages
from tests.web.examples_held import held_pages
from tests.web.examples_kinds import kinds_pages
from tests.web.examples_listeners import listener_pages
from tests.web.examples_pads import pads_pages
from tests.web.examples_requests import request_pages
from tests.web.examples_shop import shop_pages
from tests.web.examples_sources import sources_pages
from tests.web.examples_ticket import ticket_pages
from tests.web.examples_uncollected import uncollected_pages


@cache
def pages() -> dict[str, tuple[str, Page]]:
    """All of them; a context holds plain strings, numbers, bools, lists and dicts only."""
    shop = shop_pages() | counter_pages() | ticket_pages() | uncollected_pages() | kinds_pages() | api_pages()
    more = pads_pages() | sources_pages() | listener_pages() | held_pages()
    return request_pages() | claim_pages() | around_pages() | shop | more
