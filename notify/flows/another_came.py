"""Another part came than was ordered: noted, and in the same step the customer is asked whether they take it."""

from __future__ import annotations

from collections.abc import Callable

from notify.core import parts as rules
from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.core.money import parse_amount, show_amount
from notify.core.parts import MISSING, PartState
from notify.core.questions import QuestionState
from notify.core.text import clean_line
from notify.flows.arrivals import learn_delay
from notify.flows.context import Context
from notify.flows.part_lines import add, is_wanted, tell, withdraw_arrival
from notify.flows.questions import ask_within
from notify.flows.substitutes import take_instead
from notify.store import parts, people, questions, tickets
from notify.store.database import Unit
from notify.store.parts import Part

Words = Callable[..., str]
_LONGEST = 120  # characters that say what came


def note(ctx: Context, actor: Actor, part_id: str) -> str:
    """Notes that another one came than was ordered; the right one is needed from now on. Its identifier."""
    actor.need("receive_part")
    with ctx.db.write(actor.shop_id) as unit:
        return _note(ctx, unit, actor, parts.get_part(unit, part_id, lock=True))


def ask(ctx: Context, actor: Actor, part_id: str, *, came: str, price: str = "", words: Callable[[str], Words]) -> str:
    """Notes it, and asks the customer whether they take what came; the question's identifier.

    `came` says in a few words what it is; `price` is how much more or less it costs, "" for no difference, with the
    words of the customer's language from `words`. Raises Conflict while such a question is open.
    """
    actor.need("receive_part")
    what = clean_line(came, field="came", limit=_LONGEST)
    if not what:
        raise Invalid("What came?", "Say how it differs, such as: silver instead of black.", field="came")
    with ctx.db.write(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id, lock=True)
        if part.state != PartState.WRONG:
            _note(ctx, unit, actor, part)
        wording, amount = _wording(ctx, unit, part, what, price, words)
        return ask_within(ctx, unit, actor, part.ticket_id, kind="substitute_part", wording=wording, price=amount,
                          part_id=part.id)  # fmt: skip


def _note(ctx: Context, unit: Unit, actor: Actor, part: Part) -> str:
    rules.check_move(part.state, PartState.WRONG)
    if not is_wanted(unit, part.ticket_id):
        raise NotAllowed("The repair of this device is over", "Book the part in; it goes back to its supplier.")
    now = ctx.clock()
    came: dict[str, object] = {}
    if part.state in MISSING:
        came = {"arrived_at": now, "late_days": learn_delay(ctx, unit, part, now)}
    else:
        withdraw_arrival(ctx, unit, part)
    parts.change_part(unit, part, state=PartState.WRONG, ended_at=now, **came)
    tell(ctx, unit, actor, "part_wrong", part)
    # together: between the two the ticket would seem free
    return add(ctx, unit, actor, part.ticket_id, part.name, article=part.article, instead_of=part.id)


def _wording(
    ctx: Context, unit: Unit, part: Part, came: str, price: str, words: Callable[[str], Words]
) -> tuple[str, str]:
    """What the customer is asked, in their language, and the whole price that they agree to with a yes."""
    person, ticket = people.get_person(unit, part.person_id), tickets.get_job(unit, part.ticket_id)
    shop, say = ctx.shop(unit), words(person.language)
    said = say("substitute.came", part=part.name, came=came)
    text = price.strip()
    if not text:
        return f"{said} {say('substitute.take')}", ""
    less, amount = text.startswith(("-", "−")), parse_amount(text.lstrip("+-− "), currency=shop.currency)
    shown = show_amount(amount, currency=shop.currency, language=person.language)
    said = f"{said} {say('substitute.less' if less else 'substitute.more', amount=shown)} {say('substitute.take')}"
    if ticket.price_agreed is None:
        return said, ""
    whole = max(0, ticket.price_agreed + (-amount if less else amount))
    return said, show_amount(whole, currency=shop.currency, language="en")


def use_anyway(ctx: Context, actor: Actor, part_id: str) -> bool:
    """Uses the part that came, without a question: it fits after all. Whether its ticket is free now.

    Raises Conflict while the customer is asked about it.
    """
    actor.need("receive_part")
    with ctx.db.write(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id, lock=True)
        if part.state != PartState.WRONG:
            rules.check_move(part.state, PartState.ARRIVED)
            raise NotAllowed("This is the part that was ordered", "Book it in as one that is here.")
        if is_asked(unit, part):
            raise Conflict("The customer is asked about this part", "Enter their answer, or withdraw the question.")
        if not is_wanted(unit, part.ticket_id):
            raise NotAllowed("The repair of this device is over", "Send the part back.")
        return take_instead(ctx, unit, actor, part)


def is_asked(unit: Unit, part: Part) -> bool:
    """Whether the customer has an open question about this very part."""
    whole = questions.questions_of(unit, part.ticket_id)
    return any(one.part_id == part.id and one.state == QuestionState.OPEN for one in whole)
