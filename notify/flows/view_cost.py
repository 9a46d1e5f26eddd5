"""What text messages cost, by month and kind: parts counted when they were written, times what one costs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from notify.core.actors import Actor
from notify.core.cost import parse_part_price
from notify.core.instants import instant, zone
from notify.core.shop import Shop
from notify.flows.context import Context
from notify.store import message_lists, shops
from notify.store.database import Unit
from notify.store.message_lists import Paid

MONTHS = 12


@dataclass(frozen=True, slots=True)
class Spent:
    """The text messages of one notice in a month; `amount` is in the shop's currency, None without a price."""

    notice: str
    messages: int
    parts: int
    amount: Decimal | None


@dataclass(frozen=True, slots=True)
class Month:
    """One month by the shop's clock, with the price that stood on its last day (today for the current one)."""

    first: date
    price: Decimal | None
    messages: int
    parts: int
    amount: Decimal | None
    by_notice: tuple[Spent, ...]


@dataclass(frozen=True, slots=True)
class Cost:
    """The months in which a text message left, the newest first; at most twelve."""

    currency: str
    price: Decimal | None
    months: tuple[Month, ...]


def view(ctx: Context, actor: Actor) -> Cost:
    """What was spent. Prices change with the gateway's bill, so each month is reckoned with its own."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
        today = ctx.today(shop)
        firsts = _firsts(today)
        bounds = [instant(datetime.combine(day, time(0)), zone(shop.zone)) for day in firsts]
        paid = message_lists.paid_in(unit, bounds)
        months = [_month(unit, paid, at, firsts, today) for at in reversed(range(MONTHS))]
    return Cost(shop.currency, _price(shop), tuple(month for month in months if month.parts))


def _firsts(today: date) -> list[date]:
    """The first days of the last twelve months, and of the next one."""
    count = today.year * 12 + today.month
    return [date((n - 1) // 12, (n - 1) % 12 + 1, 1) for n in range(count - MONTHS + 1, count + 2)]


def _month(unit: Unit, paid: tuple[Paid, ...], at: int, firsts: list[date], today: date) -> Month:
    price = _price(shops.get_shop(unit, today=min(firsts[at + 1] - timedelta(days=1), today)))
    own = sorted((one for one in paid if one.span == at), key=lambda one: (-one.parts, one.notice))
    lines = tuple(Spent(one.notice, one.messages, one.parts, _times(price, one.parts)) for one in own)
    parts = sum(one.parts for one in own)
    return Month(firsts[at], price, sum(one.messages for one in own), parts, _times(price, parts), lines)


def _price(shop: Shop) -> Decimal | None:
    return parse_part_price(shop.sms_part_price)


def _times(price: Decimal | None, parts: int) -> Decimal | None:
    return None if price is None else price * parts
