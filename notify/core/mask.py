"""Shows a contact or a name so that its owner knows it again and a stranger cannot use it."""

from __future__ import annotations

import phonenumbers
from phonenumbers import NumberParseException

HIDDEN = "•••"
_SHORT = 7  # below this many digits the last three would give away too much


def mask_phone(e164: str) -> str:
    """ "+447700900123" -> "+44 •••• ••• 123". The dots do not tell how many digits they hide. Never raises."""
    try:
        number = phonenumbers.parse(e164, None)
    except NumberParseException:
        return HIDDEN
    digits = phonenumbers.national_significant_number(number)
    seen = digits[-3:] if len(digits) >= _SHORT else ""
    return f"+{number.country_code} •••• ••• {seen}".rstrip()


def mask_email(address: str) -> str:
    """ "pat@example.org" -> "p••@example.org"; a name of one letter is hidden whole. Never raises."""
    local, at, domain = address.rpartition("@")
    if not at or not local or not domain:
        return HIDDEN
    seen = local[0] if len(local) > 1 else ""
    return f"{seen}••@{domain}"


def mask_name(name: str) -> str:
    """ "Mia Oltmann" -> "M•• O••": the dots do not tell how many letters they hide. Never raises."""
    words = name.split()[:3]
    return " ".join(f"{word[0]}••" if len(word) > 1 else "••" for word in words) or HIDDEN


def initials(name: str) -> str:
    """ "Mia Oltmann" -> "M. O.": enough for whoever has the whole name before them. "" for no name. Never raises."""
    letters = (next((sign for sign in word if sign.isalnum()), "") for word in name.split())
    return " ".join(f"{letter.upper()}." for letter in [one for one in letters if one][:3])
