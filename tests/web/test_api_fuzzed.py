"""The API as described is the API as served: schemathesis finds nothing, whatever it sends (D9)."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from notify.cli.server import open_socket
from notify.core.roles import SCOPES
from notify.flows import api_tokens
from tests.parts.api_fuzz import fuzz
from tests.parts.live import serving
from tests.web.every_route import fill_house

Served = tuple[str, str, dict[str, str], Callable[[], object]]
IDS = ("ticket_id", "visit_id", "question_id", "part_id", "message_id")
pytestmark = [
    pytest.mark.real,
    pytest.mark.filterwarnings("ignore:Generating overly large repr"),  # of hypothesis, about its own examples
]


@pytest.fixture
def served(house: Any) -> Iterator[Served]:
    """Where the API of a full house is served, a token with every scope, and identifiers of its things."""
    values = fill_house(house)
    made = api_tokens.make_token(house.ctx, house.actor(), name="Fuzz", scopes=list(SCOPES))
    listening = open_socket("127.0.0.1", 0)
    base = f"http://127.0.0.1:{listening.getsockname()[1]}"
    with serving(house.services, listening):
        yield base, made.secret, {name: values[name] for name in IDS}, lambda: house.clock.advance(3601)


def test_nothing_that_is_sent_breaks_the_api_or_its_description(served: Served) -> None:
    base, token, ids, later = served
    done = fuzz(base, token, ids, examples=9, phases=("fuzzing",), between=later)
    print(f"FIGURE api_fuzzed {done.figures()}")
    assert not done.failures, "\n".join(done.failures[:10])
    assert done.requests >= 250


@pytest.mark.deep
def test_thousands_of_requests_break_nothing(served: Served) -> None:
    base, token, ids, later = served
    real = fuzz(base, token, ids, examples=60, phases=("examples", "coverage", "fuzzing"), between=later)
    anything = fuzz(base, token, {}, examples=30, phases=("coverage", "fuzzing", "stateful"), between=later, seed=2)
    for name, done in (("real", real), ("anything", anything)):
        print(f"FIGURE api_fuzzed_{name} {done.figures()}")
        assert not done.failures, "\n".join(done.failures[:10])
    assert real.requests + anything.requests >= 3000
