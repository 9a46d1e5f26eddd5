"""Claim secrets: long enough, never twice, kept as hashes, replaced at once, and in no log or address (D6)."""

from __future__ import annotations

import logging
import math
import secrets
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import select

from notify.core import claim_number
from notify.flows.check_in import token_hash
from notify.store.schema import metadata
from tests.web.conftest import Browser
from tests.web.every_route import every, fill_house


@pytest.mark.long
def test_a_hundred_thousand_secrets_are_all_different_and_long_enough() -> None:
    drawn = {claim_number.new_token(secrets.randbelow) for _ in range(100_000)}
    bits = claim_number.TOKEN_LENGTH * math.log2(len(set(claim_number.TOKEN_ALPHABET)))
    print(f"FIGURE claim_secrets tokens=100000 repeats={100_000 - len(drawn)} bits={bits:.0f}")
    assert len(drawn) == 100_000
    assert bits >= 128  # OWASP ASVS 5.0.0, 11.5.1


@pytest.mark.long
def test_no_log_and_no_address_holds_a_claim_secret(
    app: Flask, house: Any, signed_in: Browser, client: Browser, caplog: pytest.LogCaptureFixture
) -> None:
    values = fill_house(house)
    secret, wrong = values["token"], "b" * 32
    caplog.set_level(logging.DEBUG)
    addresses = []
    for browser in (client, signed_in):
        for one in every(app, {**values}):
            answer = browser.open(one.method, one.path)
            addresses.append(answer.headers.get("Location", ""))
    signed_in.open("GET", f"/c/{wrong}")
    scanned = signed_in.post("/scan", {"scan": f"https://bell.example.org/c/{secret}"})
    addresses.append(scanned.headers["Location"])
    desk = signed_in.get(scanned.headers["Location"])
    in_logs = sum(secret in record.getMessage() or wrong in record.getMessage() for record in caplog.records)
    in_addresses = sum(secret in one for one in addresses if not one.startswith("/c/"))
    print(f"FIGURE claim_secrets_seen log_lines={len(caplog.records)} in_logs={in_logs} in_addresses={in_addresses}")
    assert len(caplog.records) > 100
    assert (in_logs, in_addresses) == (0, 0)
    assert "was scanned" in desk.get_data(as_text=True)
    assert secret not in desk.get_data(as_text=True)


def test_a_fault_on_a_claim_page_logs_its_route_and_not_its_address_or_words(
    app: Flask, house: Any, client: Browser, caplog: pytest.LogCaptureFixture
) -> None:
    secret = fill_house(house)["token"]

    def broken(token: str) -> str:
        raise RuntimeError(f"cannot show {token} to ines@example.org")

    app.view_functions["claim.show"] = broken
    caplog.set_level(logging.DEBUG)
    assert client.get(f"/c/{secret}").status_code == 500
    lines = [record.getMessage() for record in caplog.records if record.levelno >= logging.ERROR]
    assert len(lines) == 1
    assert "/c/<token>" in lines[0] and "RuntimeError" in lines[0]
    assert not any(secret in record.getMessage() or "ines@" in record.getMessage() for record in caplog.records)


def test_the_database_holds_the_hash_and_no_plain_secret(house: Any) -> None:
    secret = fill_house(house)["token"]
    with house.ctx.db.engine.connect() as connection:
        rows = [repr(tuple(row)) for table in metadata.sorted_tables for row in connection.execute(select(table))]
    assert sum(token_hash(secret) in row for row in rows) == 1
    assert not any(secret in row for row in rows)


def test_a_replaced_claim_ticket_opens_nothing_any_more(house: Any, signed_in: Browser, client: Browser) -> None:
    values = fill_house(house)
    assert client.get(f"/c/{values['token']}").status_code == 200
    answer = signed_in.post(f"/visits/{values['visit_id']}/lost", {"do": "renew", "sure": "identity card"})
    assert answer.status_code == 303
    assert client.get(f"/c/{values['token']}").status_code == 404
    scanned = signed_in.post("/scan", {"scan": f"https://bell.example.org/c/{values['token']}"})
    assert scanned.headers["Location"] == "/"
    assert "it was replaced" in signed_in.get("/").get_data(as_text=True)
