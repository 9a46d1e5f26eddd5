"""Where the shop's bell rings for somebody who works here: set it, and erase it when they leave."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from notify.core.actors import Actor
from notify.core.contacts import parse_email, parse_phone
from notify.core.errors import Invalid
from notify.core.rings import RINGS_BY
from notify.flows.context import Context
from notify.store import erasing, rings, staff
from notify.store.database import Unit

Drop = Callable[[Sequence[str]], int]


def set_bell(
    ctx: Context, actor: Actor, staff_id: str, *, email: str | None = None, phone: str | None = None,
    by: str | None = None,
) -> None:  # fmt: skip
    """Keeps where and by what the bell rings for one person; None leaves a thing as it is, empty removes it.

    `by` is one of core/rings.RINGS_BY. Everybody sets their own; the owner everybody's. Raises Invalid for an
    address that is none, or a choice without the address it needs; NotFound.
    """
    actor.need("look" if actor.id == staff_id else "staff")
    with ctx.db.read(actor.shop_id) as unit:
        row = staff.get_staff(unit, staff_id)
        kept = rings.addresses(unit, [staff_id])[staff_id]
        region = ctx.shop(unit).region or None
    typed = {
        "email": kept["email"] if email is None else email.strip(),
        "phone": kept["sms"] if phone is None else phone.strip(),
        "by": row.rings_by if by is None else by,
    }
    checked = _checked(typed, region)
    if not row.active:
        raise Invalid(f"{row.name} does not work here any more", "Take them on again first.", field="name")
    ctx.db.vault.have_key(staff_id)  # before anything is sealed with it
    with ctx.db.write(actor.shop_id) as unit:
        rings.keep_addresses(unit, staff_id, email=checked["email"], phone=checked["phone"], by=checked["by"])


def _checked(typed: dict[str, str], region: str | None) -> dict[str, str]:
    problems: list[Invalid] = []
    out = dict(typed)
    for name, parse in (("email", parse_email), ("phone", lambda text: parse_phone(text, region=region).e164)):
        try:
            out[name] = parse(typed[name]) if typed[name] else ""
        except Invalid as problem:
            problems.append(problem)
    if typed["by"] not in RINGS_BY:
        known = ", ".join(code for code in RINGS_BY if code)
        problems.append(Invalid("The bell cannot ring that way", f"Use one of: {known}.", field="by"))
    for way in RINGS_BY.get(typed["by"], ()):
        name, what = ("email", "an e-mail address") if way == "email" else ("phone", "a number")
        if not typed[name]:
            problems.append(Invalid(f"To ring that way the bell needs {what}", "Write it, or choose less.", field=name))
    if problems:
        raise Invalid.many(problems)
    return out


def forget_bell(ctx: Context, actor: Actor, staff_id: str, *, drop_copies: Drop | None = None) -> None:
    """Erases where the bell rings for one person. Raises NotFound. `drop_copies` as in flows/forget."""
    actor.need("look" if actor.id == staff_id else "staff")
    with ctx.db.write(actor.shop_id) as unit:
        erase_within(ctx, unit, staff_id, drop_copies=drop_copies)


def erase_within(ctx: Context, unit: Unit, staff_id: str, *, drop_copies: Drop | None = None) -> None:
    """Like forget_bell, inside the caller's transaction: the key first, then kept copies of messages, then rows.

    A crash in between leaves what nobody can read, and the next time finishes it. The proof follows as for
    customers, by the job that proves forgetting.
    """
    row = staff.get_staff(unit, staff_id)
    had_key = ctx.db.vault.destroy_keys([staff_id]) > 0
    if not had_key and row.email_sealed is None and row.phone_sealed is None:
        return
    copies = rings.message_ids_to(unit, staff_id)
    dropped = drop_copies(copies) if drop_copies is not None and copies else 0
    emptied = rings.drop_addresses(unit, staff_id)
    counts = {"staff": 1, "messages": emptied, "copies": dropped}
    erasing.add_erasure(unit, at=ctx.clock(), reason="bell", counts=counts)
