"""Questions to the customer: ask, enter an answer, take it back, withdraw."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk
from notify.core.questions import ANSWERS
from notify.flows import questions
from notify.flows.view_lookup import find_part, find_question

_KINDS = click.Choice(list(ANSWERS))


@click.group("question", cls=Group)
def question() -> None:
    """Ask what only the customer can answer. NUMBER is the claim number."""


@question.command("ask")
@click.argument("number")
@click.argument("kind", type=_KINDS)
@click.argument("wording")
@click.option("--price", default="", help="Amount in the shop's currency; needed for a question about the price.")
@click.option("--part", default="", help="Label of the part it is about.")
@click.option("--until", default="", help="End, as 2026-12-02T18:00; the shop's usual days if left out.")
@pass_desk
def ask(desk: Desk, number: str, kind: str, wording: str, price: str, part: str, until: str) -> None:
    """Ask; wording and price stand as they are from here on, and the promise waits for the answer."""
    part_id = find_part(desk.ctx, desk.actor, part, states=("needed", "ordered")) if part else ""
    ends = desk.instant(until, field="until") if until else None
    new = questions.ask(desk.ctx, desk.actor, desk.meant(number).ticket_id, kind=kind, wording=wording, price=price,
                        part_id=part_id, until=ends)  # fmt: skip
    desk.show({"question": new}, f"Asked. Answers: {', '.join(ANSWERS[kind])}.")


@question.command("answer")
@click.argument("number")
@click.argument("answer", type=click.Choice(list(dict.fromkeys(a for known in ANSWERS.values() for a in known))))
@click.option("--said-by", required=True, help="Who said so, and how.")
@click.option("--kind", type=_KINDS, default=None, help="Which question, where several are open.")
@pass_desk
def answer(desk: Desk, number: str, answer: str, said_by: str, kind: str | None) -> None:
    """Enter what the customer said on the phone or at the counter."""
    ticket = desk.meant(number)
    found = find_question(desk.ctx, desk.actor, ticket.ticket_id, kind=kind or "")
    questions.answer(desk.ctx, desk.actor, found, answer=answer, said_by=said_by, ticket_id=ticket.ticket_id)
    desk.show({"question": found, "answer": answer}, "Noted.")


@question.command("take-back")
@click.argument("number")
@click.option("--kind", type=_KINDS, default=None)
@pass_desk
def take_back(desk: Desk, number: str, kind: str | None) -> None:
    """Take a yes back, as long as no part was ordered on it."""
    ticket = desk.meant(number)
    found = find_question(desk.ctx, desk.actor, ticket.ticket_id, kind=kind or "", answered=True)
    questions.take_back(desk.ctx, desk.actor, found, ticket_id=ticket.ticket_id)
    desk.show({"question": found}, "The answer is taken back.")


@question.command("withdraw")
@click.argument("number")
@click.option("--kind", type=_KINDS, default=None)
@pass_desk
def withdraw(desk: Desk, number: str, kind: str | None) -> None:
    """No longer ask; an unsent question is not sent."""
    found = find_question(desk.ctx, desk.actor, desk.meant(number).ticket_id, kind=kind or "")
    questions.withdraw(desk.ctx, desk.actor, found)
    desk.show({"question": found}, "Withdrawn.")
