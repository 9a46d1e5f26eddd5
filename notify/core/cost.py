"""What text messages cost: parts times a price in fractions of a minor unit, as decimals and never as floats."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_UP, Decimal

from notify.core.errors import Invalid
from notify.core.money import minor_digits

MOST = Decimal(100)  # beyond it, somebody typed the price of a hundred
_SHAPE = re.compile(r"[0-9]{1,3}(?:[.,][0-9]{1,6})?")


def parse_part_price(text: str) -> Decimal | None:
    """ "0.045" or "0,045" -> Decimal("0.045"); None for an empty text. Raises Invalid with field "sms_part_price"."""
    plain = text.strip()
    if not plain:
        return None
    if not _SHAPE.fullmatch(plain) or Decimal(plain.replace(",", ".")) > MOST:
        raise Invalid("This is no price for one text message", "Write it like 0.045.", field="sms_part_price")
    return Decimal(plain.replace(",", "."))


def minor_units(amount: Decimal, *, currency: str) -> int:
    """A sum as whole minor units, rounded half up as bills are: 1.0350 EUR -> 104."""
    return int(amount.scaleb(minor_digits(currency)).quantize(Decimal(1), rounding=ROUND_HALF_UP))
