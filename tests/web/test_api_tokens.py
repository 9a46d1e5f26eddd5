"""Who may use the API: a token with the right scope, and nobody else; a token opens no page (RFC 6750, D1, D16)."""

from __future__ import annotations

import logging
import re
from datetime import timedelta
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import select

from notify.core.errors import Invalid, NotAllowed, NotFound
from notify.core.roles import SCOPES
from notify.flows import api_tokens
from notify.store.schema import metadata
from notify.web.api.operations import OPERATIONS
from notify.web.routes import ROUTES
from tests.web.conftest import Browser
from tests.web.database_digest import changed_tables, digest
from tests.web.every_route import every, fill_house
from tests.web.script_hand import BODIES, Script, script
from tests.web.test_shops_apart import second_shop

pytestmark = pytest.mark.long  # each has a shop of its own

GUARDED = tuple(one for one in OPERATIONS if not one.public)
# RFC 6750 3: what an answer to a request without, or with a wrong, token has to say.
CHALLENGE = re.compile(r'Bearer realm="shelfbell"(, error="(invalid_token|insufficient_scope)")?(, scope="[a-z:]+")?')


def test_each_operation_opens_to_its_own_scope_and_to_no_other(app: Flask, house: Any) -> None:
    values, wrong, tried = fill_house(house), [], 0
    for scope in SCOPES:
        holder = script(app, house, [scope])
        for one in GUARDED:
            tried += 1
            answer = holder.do(one, values)
            challenge = answer.headers.get("WWW-Authenticate", "")
            shut = answer.status_code == 403 and f'error="insufficient_scope", scope="{one.scope}"' in challenge
            if shut != (one.scope not in ("", scope)) or answer.status_code in (400, 401, 415, 428, 500):
                wrong.append(f"{scope} {one.name}: {answer.status_code} {answer.get_data(as_text=True)[:120]}")
    print(f"FIGURE api_scopes scopes={len(SCOPES)} operations={len(GUARDED)} tried={tried} wrong={len(wrong)}")
    assert not wrong
    assert {one.name for one in GUARDED if one.body is not None} == set(BODIES)


def test_whoever_reads_only_sees_no_contact_of_anybody(app: Flask, house: Any) -> None:
    values = fill_house(house)
    blind, seeing = script(app, house, [scope for scope in SCOPES if scope != "contacts:read"]), script(app, house)
    reading = [one for one in GUARDED if one.method == "GET" and one.scope != "contacts:read"]
    told = {one.name: blind.do(one, values).get_data(as_text=True) for one in reading}
    seen = "".join(seeing.do(one, values).get_data(as_text=True) for one in GUARDED if one.method == "GET")
    for theirs in ("Ines", "Farrow", "07700900123", "447700900123", "ines@example.org", "Noor", "Vale"):
        assert not [name for name, text in told.items() if theirs in text]
    assert all(theirs in seen for theirs in ("Ines Farrow", "+447700900123", "ines@example.org", "Noor Vale"))
    assert values["token"] not in seen


def test_a_cookie_opens_no_operation_and_a_token_no_page(app: Flask, house: Any, signed_in: Browser) -> None:
    values, holder = fill_house(house), script(app, house)
    before, through = digest(house), []
    for one in every(app, values):
        if one.who == "token" and signed_in.open(one.method, one.path).status_code != 401:
            through.append(f"cookie: {one.method} {one.path}")
        if one.who in ("staff", "demo"):
            headers = {"Authorization": f"Bearer {holder.secret}"}
            answer = Browser(app).open(one.method, one.path, headers=headers)
            if answer.status_code not in (303, 400, 404) and one.method != "OPTIONS":
                through.append(f"token: {one.method} {one.path} {answer.status_code}")
    assert not through
    assert not changed_tables(before, digest(house)) - {"sessions", "throttles"}
    assert sum(access.who == "token" for access in ROUTES.values()) > 20


def test_without_a_right_token_the_answer_says_so_as_rfc_6750_asks(app: Flask, house: Any) -> None:
    good = script(app, house)
    ended = script(app, house, expires_at=house.clock() + timedelta(days=1))
    house.clock.advance(86_400)
    revoked = script(app, house)
    api_tokens.revoke_token(house.ctx, house.actor(), api_tokens.list_tokens(house.ctx, house.actor())[0].id)
    assert good.ask("GET", "/me").status_code == 200
    for holder in (ended, revoked, Script(app, "x"), Script(app, good.secret[:-1]), Script(app, good.secret + "x")):
        answer = holder.ask("GET", "/me")
        assert (answer.status_code, answer.headers["WWW-Authenticate"]) == (
            401, 'Bearer realm="shelfbell", error="invalid_token"',
        )  # fmt: skip
    nobody = Script(app, "").ask("GET", "/me")  # 3.1: no error code for a request that tried nothing
    assert (nobody.status_code, nobody.headers["WWW-Authenticate"]) == (401, 'Bearer realm="shelfbell"')
    for given in ("Basic QWRhOng=", "Bearer", "Bearer  ", f"Bearer {good.secret} {good.secret}", good.secret):
        answer = Script(app, "").ask("GET", "/me", Authorization=given)
        assert answer.status_code == 401
        assert CHALLENGE.fullmatch(answer.headers["WWW-Authenticate"])
    assert Script(app, "").ask("GET", "/me", Authorization=f"bearer {good.secret}").status_code == 200  # RFC 9110 11.1


def test_a_token_in_the_address_opens_nothing_and_is_logged_nowhere(
    app: Flask, house: Any, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    holder = script(app, house)
    assert Script(app, "").ask("GET", f"/me?access_token={holder.secret}").status_code == 401
    assert holder.ask("GET", f"/me?access_token={holder.secret}").status_code == 400
    assert holder.ask("GET", "/tickets").status_code == 200
    assert "/api/v1/tickets" in caplog.text
    assert holder.secret not in caplog.text


def test_too_many_wrong_tokens_wait_while_a_right_one_is_never_kept_out(app: Flask, house: Any) -> None:
    holder, limit = script(app, house), house.services.settings.limits.claim_tries_an_hour
    statuses = [Script(app, f"{holder.secret[:-2]}{n:02d}").ask("GET", "/me").status_code for n in range(limit + 3)]
    assert statuses == [401] * limit + [429] * 3
    last = Script(app, "guess").ask("GET", "/me")
    assert 0 < int(last.headers["Retry-After"]) <= 3600
    assert holder.ask("GET", "/me").status_code == 200
    house.clock.advance(3601)
    assert Script(app, "guess").ask("GET", "/me").status_code == 401


def test_a_secret_has_160_bits_a_prefix_and_is_kept_as_a_hash_only(house: Any) -> None:
    made = api_tokens.make_token(house.ctx, house.actor(), name="Books", scopes=["parts:read"])
    assert re.fullmatch(r"shelfbell_[a-z2-9]{32}", made.secret)
    drawn: list[int] = []
    api_tokens.new_secret(lambda n: drawn.append(n) or 0)  # type: ignore[func-returns-value]
    assert drawn == [32] * 32  # 32 signs out of 32: 2^160; RFC 6750 5.2 and RFC 6819 5.1.4.2.2 ask for 128 bits
    assert made.secret not in repr(made)
    with house.ctx.db.engine.connect() as connection:
        kept = "".join(repr(tuple(row)) for t in metadata.sorted_tables for row in connection.execute(select(t)))
    assert made.secret not in kept and made.secret.removeprefix("shelfbell_") not in kept


def test_the_day_of_the_last_use_is_the_only_thing_that_asking_changes(app: Flask, house: Any) -> None:
    values, holder = fill_house(house), script(app, house)
    looking = [one for one in GUARDED if one.method == "GET"]
    before = digest(house)
    assert {holder.do(one, values).status_code for one in looking} == {200}
    once = digest(house)
    # Who looked at an address is a log of reading, which is no change of state (RFC 9110, 9.2.1).
    assert changed_tables(before, once) == {"api_tokens", "contact_reads"}
    assert {holder.do(one, values).status_code for one in looking} == {200}
    assert changed_tables(once, digest(house)) <= {"contact_reads"}
    (kept,) = api_tokens.list_tokens(house.ctx, house.actor())
    assert kept.used_on == house.clock().date()


def test_another_shops_things_are_not_found_by_any_operation(app: Flask, house: Any) -> None:
    fill_house(house)
    theirs, holder = fill_house(second_shop(house)), script(app, house)
    before, leaks = digest(house), []
    named = [one for one in GUARDED if one.variables]
    for one in named:
        answer = holder.do(one, theirs)
        if answer.status_code != 404:
            leaks.append(f"{one.name}: {answer.status_code} {answer.get_data(as_text=True)[:200]}")
    lists = [one for one in GUARDED if one.method == "GET" and not one.variables]
    leaks += [one.name for one in lists for i in theirs.values() if len(i) == 36 and i in holder.do(one, theirs).text]
    print(f"FIGURE api_shops_apart operations={len(named) + len(lists)} leaks={len(leaks)}")
    assert not leaks
    assert changed_tables(before, digest(house)) <= {"api_tokens"}


def test_only_an_owner_makes_lists_and_revokes_tokens(house: Any) -> None:
    made = api_tokens.make_token(house.ctx, house.actor(), name="Books", scopes=["parts:read"])
    for role in ("counter", "technician"):
        with pytest.raises(NotAllowed):
            api_tokens.make_token(house.ctx, house.actor(role), name="Books", scopes=["parts:read"])
        with pytest.raises(NotAllowed):
            api_tokens.list_tokens(house.ctx, house.actor(role))
        with pytest.raises(NotAllowed):
            api_tokens.revoke_token(house.ctx, house.actor(role), made.id)
    wrongs: tuple[dict[str, Any], ...] = (
        {"name": " "}, {"scopes": []}, {"scopes": ["tickets:burn"]}, {"expires_at": house.clock()},
    )  # fmt: skip
    for wrong in wrongs:
        with pytest.raises(Invalid):
            api_tokens.make_token(house.ctx, house.actor(), **{"name": "B", "scopes": ["parts:read"], **wrong})
    with pytest.raises(NotFound):
        api_tokens.revoke_token(second_shop(house).ctx, second_shop(house).actor(), made.id)
    api_tokens.revoke_token(house.ctx, house.actor(), made.id)
    with pytest.raises(NotFound):
        api_tokens.revoke_token(house.ctx, house.actor(), made.id)
