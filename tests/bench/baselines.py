"""Everything that the product is measured against, with its statements written out; nothing else competes.

Each baseline does the part of the work that nobody can do without, and nothing of what makes it safe: no
outbox, no second look, no vault, no receipt, no check of what a channel answered.
"""

from __future__ import annotations

import base64
import hmac
import smtplib
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from flask import Flask, Response, make_response, render_template, request
from sqlalchemy import Column, MetaData, String, Table, bindparam, create_engine, insert, select

from notify.render.email import Mailbox, compose_mail
from notify.render.texts import Texts
from notify.store import schema
from notify.store.engine import open_engine


@dataclass(frozen=True, slots=True)
class Letter:
    """What a bare loop needs for one message: every word is known already, nothing is read from a database."""

    notice: str
    language: str
    to: str
    message_id: str
    context: Mapping[str, Any]
    date: datetime


def compose_bare(letter: Letter, *, texts: Texts, sender: Mailbox) -> bytes:
    """Three texts filled in, then one mail built of them: the product's own render functions."""

    def part(name: str) -> str:
        return texts.render(language=letter.language, notice=letter.notice, part=name, context=letter.context)

    text, subject, html = part("text"), part("subject"), part("html")
    return compose_mail(
        sender=sender, to=letter.to, reply_to=None, subject=subject, text=text, html=html,
        message_id=letter.message_id, date=letter.date, language=letter.language,
    )  # fmt: skip


def compose_and_send(line: smtplib.SMTP, letters: Sequence[Letter], *, texts: Texts, sender: Mailbox) -> None:
    """for each letter: compose, then `sendmail(bytes)` on one connection that stays open."""
    for letter in letters:
        line.sendmail(sender.address, [letter.to], compose_bare(letter, texts=texts, sender=sender))


def send_only(line: smtplib.SMTP, payloads: Sequence[tuple[str, bytes]], *, sender: str) -> None:
    """for each (recipient, bytes): `sendmail(bytes)` on one connection that stays open."""
    for to, payload in payloads:
        line.sendmail(sender, [to], payload)


def open_line(port: int) -> smtplib.SMTP:
    """A connection that has said EHLO, as the product's channel has before its second message."""
    line = smtplib.SMTP("127.0.0.1", port, local_hostname="[127.0.0.1]")
    line.ehlo()
    return line


def bare_app(url: str, *, shop_id: str, octets: int) -> Flask:
    """GET /bare/<id>: SELECT number, phase FROM tickets WHERE shop_id = ? AND id = ?; one page of `octets`."""
    engine = create_engine(url)
    table = schema.tickets
    ticket = select(table.c.number, table.c.phase).where(
        table.c.shop_id == bindparam("shop"), table.c.id == bindparam("ticket")
    )
    app = Flask("bare")
    head = "<!doctype html><title>{{ row.number }}</title><h1>{{ row.phase }}</h1><p>"
    page = app.jinja_env.from_string(head + "x" * max(0, octets - len(head) + 16))

    @app.get("/bare/<ticket_id>")
    def show(ticket_id: str) -> str:
        with engine.connect() as connection:
            row = connection.execute(ticket, {"shop": shop_id, "ticket": ticket_id}).one()
        return page.render(row=row)

    return app


def bare_sheet(url: str, *, shop_id: str, templates: str, context: Mapping[str, Any]) -> Flask:
    """GET /same: a 304 to whoever sends a tag, nothing else.

    GET /sheet: SELECT id, number, phase, promise_at FROM tickets WHERE shop_id = ?, then the product's own template
    with everything that it says ready in memory.
    """
    engine = create_engine(url)
    table = schema.tickets
    query = select(table.c.id, table.c.number, table.c.phase, table.c.promise_at)
    whole = query.where(table.c.shop_id == bindparam("shop"))
    app = Flask("bare", template_folder=templates)

    @app.get("/same")
    def same() -> Response:
        answer = make_response("", 304 if request.if_none_match.contains_weak("same") else 200)
        answer.set_etag("same", weak=True)
        return answer

    @app.get("/sheet")
    def sheet() -> str:
        with engine.connect() as connection:
            connection.execute(whole, {"shop": shop_id}).all()
        return render_template("day_sheet.html", **context)

    return app


def bare_hook(url: str, *, secret: str) -> Flask:
    """POST /hooks/watch/<name>: the HMAC over id, time and body, then one INSERT, committed to the disk."""
    engine, lock = open_engine(url), threading.Lock()
    table = Table("calls", MetaData(), Column("id", String(200), primary_key=True), Column("body", String(8000)))
    table.metadata.create_all(engine)
    key, put = base64.b64decode(secret.removeprefix("whsec_")), insert(table)
    app = Flask("bare")

    @app.post("/hooks/watch/<name>")
    def take(name: str) -> tuple[dict[str, Any], int]:
        body, call_id = request.get_data(), request.headers["webhook-id"]
        signed = f"{call_id}.{request.headers['webhook-timestamp']}.".encode() + body
        mark = "v1," + base64.b64encode(hmac.digest(key, signed, "sha256")).decode()
        if not hmac.compare_digest(mark, request.headers["webhook-signature"]):
            return {"taken": False}, 401
        with lock, engine.connect().execution_options(writes=True) as connection, connection.begin():
            connection.execute(put, {"id": call_id, "body": body.decode()})
        return {"taken": True}, 200

    return app
