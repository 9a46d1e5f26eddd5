"""A script's request with an idempotency key acts once, for as long as its key is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.flows.context import Context
from notify.flows.once import Asked, forget_keys, once
from tests.parts.house import House

DAY = 86_400


@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)  # races of two requests: tests/web/test_api_requests.py
def test_a_request_is_carried_out_once_for_each_token_and_its_key_is_known_for_a_week(house: House) -> None:
    actor, asked, ran = Actor(house.shop_id, "script", "t-1"), Asked("k", b"what", b"secret"), list[int]()

    def do(ctx: Context) -> Mapping[str, Any]:
        for n in range(2):  # in two transactions, the first of which keeps the key
            with ctx.db.write(house.shop_id):
                ran.extend([1][n:])
        return {"ticket": f"t{len(ran)}"}

    first = once(house.ctx, actor, asked, do)
    assert (first, once(house.ctx, actor, asked, do)) == (({"ticket": "t1"}, False), ({"ticket": "t1"}, True))
    assert once(house.ctx, Actor(house.shop_id, "script", "t-2"), asked, do) == ({"ticket": "t2"}, False)
    with pytest.raises(Invalid):
        once(house.ctx, actor, replace(asked, what=b"something else"), do)
    house.clock.advance(6 * DAY)
    assert forget_keys(house.ctx, house.system()) == 0 and once(house.ctx, actor, asked, do)[1]
    house.clock.advance(2 * DAY)
    assert forget_keys(house.ctx, house.system()) == 2 and len(ran) == 2
    assert once(house.ctx, actor, asked, do) == ({"ticket": "t3"}, False)
