"""Cases of the area "mail" about mail that leaves: automatic answers, and the link that stops a kind of mail.

Each goes through a whole installation on SQLite in a folder of its own, as a customer and a mail program meet it.
"""

from __future__ import annotations

import hashlib
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import dkim
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from sqlalchemy import select

from notify.channels.base import NOBODY
from notify.core.one_click import Use, make_stop_token
from notify.flows.hear_reply import Heard, hear
from notify.render.email import Mailbox, compose_mail
from notify.store import people, tickets
from notify.store import schema as s
from notify.web.app import create_app
from tests.parts.clock import FakeClock
from tests.parts.house import House, make_house
from tests.vectors.cases import FOLDER

Given = dict[str, Any]
BASE = "https://bell.example.org"
AGREED = ("repair", "pickup", "afterwards")
ASKED = "<help-please.1@example.net>"
README = (FOLDER.parents[1] / "README.md").read_text("utf-8")


@contextmanager
def a_house() -> Iterator[House]:
    """An installation with one shop, thrown away afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        house = make_house(Path(folder), f"sqlite:///{folder}/main.db", clock=FakeClock())
        try:
            yield house
        finally:
            house.services.close()


def answered(given: Given, expect: Given) -> None:
    """A customer writes HELP; what goes back, and under which envelope."""
    assert given == {"kind": "answer"}
    with a_house() as house:
        house.check_in()
        heard = Heard("email", "ines@example.org", "HELP", house.clock(), "k", "mail", letter_id=ASKED)
        hear(house.ctx, house.shop_id, heard)
        house.deliver()
        (sent,) = [one for one in house.sent() if b"auto-replied" in one.payload]
    whole = message_from_bytes(sent.payload, policy=policy.default)
    assert [str(one) for one in whole.get_all("Auto-Submitted", [])] == [expect["Auto-Submitted"]]
    assert expect["In-Reply-To"] == "subject message id"
    assert str(whole["In-Reply-To"]) == ASKED
    assert NOBODY in expect["envelope_from_one_of"] and sent.sender == NOBODY


def one_click(given: Given, expect: Given) -> None:
    """The link as a mail program posts it, or as anything that looks at links opens it."""
    with a_house() as house:
        person = _agreed(house)
        token = make_stop_token(Use(person, "email", "afterwards"), key=house.services.secret)
        client = create_app(house.services).test_client(use_cookies=not _is_without_cookies(expect))
        before, link = _state(house, person), f"/u/{token}"
        answers = [_ask(client, link, given)]
        once = _state(house, person)
        answers += [_ask(client, link, given) for _ in range(2)]
        again, withdrawn = _state(house, person), _withdrawn(house, person)
    if "state_change" in expect:
        assert (once != before) == expect["state_change"]
    if "status" in expect:
        assert expect["status"] == "2xx" and all(one.status_code // 100 == 2 for one in answers)
        assert withdrawn == 1, "the press did what it is for"
    if "redirect" in expect:
        assert any("Location" in one.headers for one in answers) == expect["redirect"]
    if "idempotent" in expect:
        assert (again == once) == expect["idempotent"]


def _is_without_cookies(expect: Given) -> bool:
    return expect.get("cookies_needed") is False


def _ask(client: Any, link: str, given: Given) -> Any:
    if given.get("method") == "GET":
        return client.get(link, base_url=BASE)
    if "POST_body" in given:
        return client.post(link, base_url=BASE, data=given["POST_body"], content_type=given["content_type"])
    return client.post(
        link, base_url=BASE, data={given["field"]: given["value"]}, content_type=given["content_type"]
    )  # fmt: skip


def _agreed(house: House) -> str:
    done = house.check_in(email_purposes=AGREED)
    with house.read() as unit:
        return tickets.get_ticket(unit, done.ticket_ids[0]).person_id


def _state(house: House, person: str) -> str:
    """What is allowed, and every row of consents and events, in one mark."""
    with house.read() as unit:
        rows = [tuple(row) for table in (s.consents, s.events) for row in unit.connection.execute(select(table))]
        uses = people.allowed_uses(unit, [person])[person]
    return hashlib.sha256(repr((sorted(map(repr, rows)), sorted(uses["email"]))).encode()).hexdigest()


def _withdrawn(house: House, person: str) -> int:
    with house.read() as unit:
        t = s.consents
        query = select(t.c.id).where(t.c.person_id == person, t.c.how == "one_click", t.c.allowed.is_(False))
        return len(unit.connection.execute(query).all())


def one_click_fields(given: Given, expect: Given) -> None:
    """The two fields over a long address, read again and signed by somebody else's signer."""
    link = f"{BASE}/u/".ljust(given["url_octets"], "x")
    raw = _mail(link)
    whole = message_from_bytes(raw, policy=policy.default)
    (said,) = whole.get_all("List-Unsubscribe", [])
    found = re.findall(r"<(https://[^<>\s,]+)>", str(said))
    assert len(found) == expect["List-Unsubscribe_https_uris"] and found == [link]
    posted = f"{expect['List-Unsubscribe-Post']}"
    assert [str(one) for one in whole.get_all("List-Unsubscribe-Post", [])] == [posted]
    head = raw.partition(b"\r\n\r\n")[0]
    assert (b"=?" in head) == expect["encoded_word_in_header"]
    spoilt = EmailMessage(policy=policy.SMTP)
    spoilt["List-Unsubscribe"] = f"<{link}>"
    assert b"=?" in spoilt.as_bytes(), "the comparison must be able to fail"
    assert _is_covered(raw) == expect["dkim_h_covers_both"]


def _mail(link: str) -> bytes:
    return compose_mail(
        sender=Mailbox("Tramstop Bench", "bench@example.org"), to="pat@example.org", reply_to=None,
        subject="Does it still work?", text="Does it still work?", html="<p>Does it still work?</p>",
        message_id="<1@example.org>", date=datetime(2026, 11, 27, 12, 0, tzinfo=UTC), language="en", unsubscribe=link,
    )  # fmt: skip


def _is_covered(raw: bytes) -> bool:
    """Signed as the README tells a shop's mail server to: both fields are in h=, and neither can be changed after."""
    told = re.search(r"DKIM.{0,200}?sign ((?:`[A-Za-z-]+`[\s,and]*)+)", README, re.DOTALL)
    names = re.findall(r"`([A-Za-z-]+)`", told[1]) if told else []
    key = rsa.generate_private_key(public_exponent=65537, key_size=2048)
    pem = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.TraditionalOpenSSL, serialization.NoEncryption()
    )
    public = key.public_key().public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    )  # fmt: skip
    record = b"v=DKIM1; k=rsa; p=" + b"".join(public.split(b"\n")[1:-2])
    listed = [name.lower().encode() for name in names]
    signed = dkim.sign(raw, b"mail", b"example.org", pem, include_headers=listed) + raw

    def holds(mail: bytes) -> bool:
        return bool(dkim.verify(mail, dnsfunc=lambda name, timeout=5: record))

    covered = {one.strip().lower() for one in re.findall(rb"h=([^;]+);", signed)[0].split(b":")}
    assert holds(signed), "the signature itself"
    changed = (
        signed.replace(b"List-Unsubscribe=One-Click", b"List-Unsubscribe=Two-Click"), signed.replace(b"/u/", b"/v/"),
    )  # fmt: skip
    return {b"list-unsubscribe", b"list-unsubscribe-post"} <= covered and not any(map(holds, changed))
