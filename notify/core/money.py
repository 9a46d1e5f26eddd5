"""Amounts of money as whole minor units: read as people type them, shown as people read them."""

from __future__ import annotations

import re

from notify.core.errors import Invalid
from notify.core.languages import LANGUAGES

# ISO 4217: currencies whose minor unit is not a hundredth (from memory; the tests compare with CLDR).
_NO_MINOR = (
    "BIF",
    "CLP",
    "DJF",
    "GNF",
    "ISK",
    "JPY",
    "KMF",
    "KRW",
    "PYG",
    "RWF",
    "UGX",
    "UYI",
    "VND",
    "VUV",
    "XAF",
    "XOF",
    "XPF",
)
_THOUSANDTHS = ("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND")
_SIGNS = {"EUR": "€", "GBP": "£", "USD": "$", "JPY": "¥"}
_SPELT = {"it": ("USD", "JPY")}  # written in letters in that language (CLDR)
HIGHEST = 10**11  # in minor units; beyond it, somebody scanned a code into the price
_GROUPED = re.compile(r"\d{1,3}(?:[ '.,]\d{3})+")
_SHAPE = re.compile(r"\d[\d ',.’\u00a0\u202f]*\d|\d|[.,]\d+")
_ADVICE = "Write only the amount, for example 1234.50."


def minor_digits(currency: str) -> int:
    """How many digits stand after the decimal sign (ISO 4217). Raises Invalid for what is no code."""
    if not re.fullmatch("[A-Z]{3}", currency):
        raise Invalid("A currency is three capital letters", "For example EUR or GBP.", field="currency")
    return 0 if currency in _NO_MINOR else 3 if currency in _THOUSANDTHS else 2


def parse_amount(text: str, *, currency: str) -> int:
    """ "12,50" or "1,234.50" or "€ 12" -> minor units (1250, 123450, 1200), zero or more.

    Both decimal signs are understood. What could be read in two ways ("1,234") is refused, because a
    price must not be wrong a thousandfold. Raises Invalid with field "amount".
    """
    digits = minor_digits(currency)
    plain = _without_currency(text[:60], currency)
    if not _SHAPE.fullmatch(plain):
        raise _wrong("This is not an amount of money")
    whole, fraction = _split(plain, digits)
    if len(fraction) > digits:
        most = f"at most {digits} digits after the decimal sign" if digits else "no decimals"
        raise _wrong(f"An amount in {currency} has {most}")
    minor = int(whole + fraction.ljust(digits, "0"))
    if minor > HIGHEST:
        raise _wrong("The amount is impossibly high")
    return minor


def _without_currency(text: str, currency: str) -> str:
    plain = text.strip()
    for sign in (currency, _SIGNS.get(currency, currency)):
        if plain.upper().startswith(sign):
            return plain[len(sign) :].strip()
        if plain.upper().endswith(sign):
            return plain[: -len(sign)].strip()
    return plain


def _split(plain: str, digits: int) -> tuple[str, str]:
    """Whole part and fraction as digits only; raises Invalid where the marks do not tell which is which."""
    if not plain.isascii():
        plain = plain.translate({0xA0: " ", 0x202F: " ", 0x2019: "'"})
    if not all(c in "0123456789 ',." for c in plain):
        raise _wrong("An amount is written with the digits 0 to 9")
    marks = re.findall("[ ',.]", plain)
    last = marks[-1] if marks else ""
    whole, fraction = plain, ""
    if last in (".", ",") and marks.count(last) == 1 and not _only_groups(plain, marks, digits):
        whole, _, fraction = plain.rpartition(last)
    left = set(re.findall("[ ',.]", whole))
    if left and (len(left) > 1 or not _GROUPED.fullmatch(whole)):
        raise _wrong("The marks in the amount do not stand where thousands end")
    return re.sub("[ ',.]", "", whole), fraction


def _only_groups(plain: str, marks: list[str], digits: int) -> bool:
    """Whether a single point or comma parts thousands; mostly "1,234" could be meant either way."""
    head, _, tail = plain.rpartition(marks[-1])
    if len(marks) > 1 or len(tail) != 3 or not 1 <= len(head) <= 3 or head[0] == "0" or digits == 3:
        return False
    if digits == 0:
        return True
    raise _wrong("The amount can be read in two ways", "Write 1234.00 for a thousand, 1.23 for a fraction.")


def _wrong(what: str, advice: str = _ADVICE) -> Invalid:
    return Invalid(what, advice, field="amount")


def plain_amount(minor: int, *, currency: str) -> str:
    """1250 EUR -> "12.50": for programs; parse_amount reads it back."""
    digits = minor_digits(currency)
    whole, fraction = divmod(abs(minor), 10**digits)
    return f"{'-' if minor < 0 else ''}{whole}" + (f".{fraction:0{digits}d}" if digits else "")


def show_amount(minor: int, *, currency: str, language: str) -> str:
    """1250 EUR -> "€12.50" (en), "12,50 €" (de, it). Plain spaces, so that a text message stays GSM-7.

    Raises Invalid for a language that has no form here.
    """
    digits = minor_digits(currency)
    whole, fraction = divmod(abs(minor), 10**digits)
    number = f"{whole:,}" + (f".{fraction:0{digits}d}" if digits else "")
    minus = "-" if minor < 0 else ""
    sign = currency if currency in _SPELT.get(language, ()) else _SIGNS.get(currency, currency)
    if language in ("de", "it"):
        return f"{minus}{number.translate({ord(','): '.', ord('.'): ','})} {sign}"
    if language != "en":
        raise Invalid(
            "Amounts cannot be shown in this language", f"Use one of: {', '.join(LANGUAGES)}.", field="language"
        )
    return f"{minus}{sign}{number}" if len(sign) == 1 else f"{minus}{sign} {number}"
