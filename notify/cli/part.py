"""Parts that tickets wait for: needed, ordered, due, arrived, taken back, dead, another one, sent back."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.claim_number import show_number
from notify.core.errors import Conflict, NotFound
from notify.core.parts import MOST_AT_ONCE, same_code
from notify.flows import arrivals, earlier, give_part, parts, view_deliveries
from notify.flows.view_lookup import find_part


@click.group("part", cls=Group)
def part() -> None:
    """Parts. PART is the label on its bag, or the claim number of a ticket that waits for one such part."""


@part.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """What is on its way, what nobody has ordered yet, and what came in today."""
    view = view_deliveries.view(desk.ctx, desk.actor)
    whole = [*(p for box in view.boxes for p in box.parts), *view.unordered, *view.arrived]
    rows = [
        (p.label, p.state, "late" if p.late else "", desk.when(p.due_at), p.supplier or "-", p.ticket.number, p.name)
        for p in whole
    ]  # fmt: skip
    desk.show(
        view,
        *table(rows, head=("label", "state", "", "due", "supplier", "for", "part")),
        f"{len(rows)} part{'' if len(rows) == 1 else 's'}",
    )


_ARTICLE = click.option("--article", default="", help="The supplier's number of the article.")
_REF = click.option("--ref", default="", help="The number of the order.")
_SLIP = click.option("--slip", default="", help="The number of the packing slip it comes with.")
_COST = click.option("--cost", default="", help="What one piece costs the shop.")


@part.command("need")
@click.argument("number")
@click.argument("name")
@click.option("--quantity", type=click.IntRange(1, MOST_AT_ONCE), default=1, help="So many pieces, each with a label.")
@_ARTICLE
@pass_desk
def need(desk: Desk, number: str, name: str, quantity: int, article: str) -> None:
    """Note that a part is missing for the ticket with this claim NUMBER."""
    terms = parts.Terms(article=article)
    new = parts.need(desk.ctx, desk.actor, desk.meant(number).ticket_id, name=name, terms=terms, quantity=quantity)
    desk.show({"part": new}, f"Noted. Order it: shelfbell part order {number} SUPPLIER")


@part.command("order")
@click.argument("part")
@click.argument("supplier")
@click.option("--due", default="", help="As 2026-11-26T09:30; the supplier's usual delivery if left out.")
@click.option("--also", multiple=True, metavar="PART", help="Another part of the same order; may be given again.")
@_ARTICLE
@_REF
@_SLIP
@_COST
@pass_desk
def order(
    desk: Desk, part: str, supplier: str, due: str, also: tuple[str, ...], article: str, ref: str, slip: str, cost: str
) -> None:  # fmt: skip
    """Note the order, of one part or of several together."""
    found = [find_part(desk.ctx, desk.actor, one, states=("needed",)) for one in (part, *also)]
    at = parts.order_together(
        desk.ctx, desk.actor, found, supplier=supplier, due=desk.instant(due, field="due") if due else None,
        terms=parts.Terms(article, ref, slip, cost),
    )  # fmt: skip
    desk.show({"parts": found, "due": at}, f"Ordered; due {desk.when(at)}.")


@part.command("line")
@click.argument("part")
@_ARTICLE
@_REF
@_SLIP
@_COST
@pass_desk
def line(desk: Desk, part: str, article: str, ref: str, slip: str, cost: str) -> None:
    """Note what became known of its order line; what is left out stays as it is."""
    found = find_part(desk.ctx, desk.actor, part, states=("needed", "ordered"))
    parts.note_line(desk.ctx, desk.actor, [found], terms=parts.Terms(article, ref, slip, cost))
    desk.show({"part": found}, "Noted.")


@part.command("order-again")
@click.argument("part")
@pass_desk
def order_again(desk: Desk, part: str) -> None:
    """Note that its order came to nothing: it has to be ordered again."""
    found = find_part(desk.ctx, desk.actor, part, states=("ordered",))
    parts.end_order(desk.ctx, desk.actor, found)
    desk.show({"part": found}, "Noted; it stands under still to order.")


@part.command("due")
@click.argument("part")
@click.argument("due")
@pass_desk
def due(desk: Desk, part: str, due: str) -> None:
    """Note another delivery time."""
    found = find_part(desk.ctx, desk.actor, part, states=("ordered",))
    parts.change_due(desk.ctx, desk.actor, found, due=desk.instant(due, field="due"))
    desk.show({"part": found}, "Noted.")


@part.command("arrive")
@click.argument("part", nargs=-1, required=True)
@click.option("--as-ordered", is_flag=True, help="For its own ticket, whoever else could use it.")
@click.option("--at", default="", help="When it came, for what is on paper: as 2026-11-26T11:30; for its own ticket.")
@pass_desk
def arrive(desk: Desk, part: tuple[str, ...], as_ordered: bool, at: str) -> None:
    """Book parts in: by label, claim number, packing slip, order number or article. Says whom each frees.

    With a packing slip or an order number all that should be in the box is booked in.
    """
    found = [one for text in part for one in _meant(desk, text)]
    if (moment := desk.past(at)) is not None:
        late = [earlier.part_came(desk.ctx, desk.actor, one, at=moment) for one in found]
        desk.show(late[0] if len(late) == 1 else late, *(_booked(one) for one in late))
        return
    came = arrivals.arrive_all(desk.ctx, desk.actor, found, as_ordered=as_ordered)
    if not came.done:
        raise came.refused[0][1]
    lines = [" ".join(filter(None, [_booked(one), _given(one)])) for one in came.done]
    desk.show(
        came.done[0] if len(came.done) == 1 else came.done, *lines, *(str(problem) for _, problem in came.refused)
    )


def _meant(desk: Desk, text: str) -> list[str]:
    """One part by its label or a claim number; else all of a packing slip or order, or one of an article."""
    try:
        return [find_part(desk.ctx, desk.actor, text, states=("ordered", "needed"))]
    except NotFound:
        boxes = view_deliveries.named(desk.ctx, desk.actor, [text])
        if not boxes:
            raise
    if len(boxes) > 1:
        labels = ", ".join(p.label for box in boxes for p in box.parts)
        raise Conflict("Several boxes have this number", f"Name the parts by their labels: {labels}.", field="part")
    whole = [p.part_id for p in boxes[0].parts]
    by_article = same_code(boxes[0].parts[0].article) == same_code(text)
    return whole[:1] if by_article else whole


def _booked(done: arrivals.Arrived) -> str:
    if done.over:
        return f"Booked in. Nobody needs it any more for {show_number(done.number)}: it goes back."
    return f"Booked in. {show_number(done.number)} {'is free for the bench' if done.frees else 'still waits'}."


def _given(done: arrivals.Arrived) -> str:
    """That it was ordered for somebody else."""
    if done.given is None:
        return ""
    return f"It was ordered for {show_number(done.given.other_number)}, but is needed more here ({done.given.why})."


@part.command("not-here")
@click.argument("part")
@pass_desk
def not_here(desk: Desk, part: str) -> None:
    """Take back, within some minutes, that it came in."""
    found = find_part(desk.ctx, desk.actor, part, states=("arrived",))
    arrivals.undo_arrival(desk.ctx, desk.actor, found)
    desk.show({"part": found}, "Taken back; it is on order again.")


@part.command("give")
@click.argument("part")
@click.argument("to")
@pass_desk
def give(desk: Desk, part: str, to: str) -> None:
    """Give a part that is here to the ticket TO (or a part by its label) that waits for the same article."""
    found = find_part(desk.ctx, desk.actor, part, states=("arrived",))
    other = find_part(desk.ctx, desk.actor, to, states=("needed", "ordered"))
    done = give_part.give_to(desk.ctx, desk.actor, found, other)
    desk.show(done, f"{show_number(done.number)} has it now.")


@part.command("dead")
@click.argument("part")
@pass_desk
def dead(desk: Desk, part: str) -> None:
    """Note that it came in dead; another one is needed from now on."""
    found = find_part(desk.ctx, desk.actor, part, states=("arrived",))
    new = parts.dead_on_arrival(desk.ctx, desk.actor, found)
    desk.show({"part": new}, "Noted, and another one is needed.")


@part.command("not-needed")
@click.argument("part")
@pass_desk
def not_needed(desk: Desk, part: str) -> None:
    """Note that it is no longer wanted."""
    found = find_part(desk.ctx, desk.actor, part, states=("needed", "ordered", "arrived"))
    parts.not_needed(desk.ctx, desk.actor, found)
    desk.show({"part": found}, "Noted.")
