"""The languages that customers read and hear. This is the only list: everything that loops over languages reads it."""

from __future__ import annotations

# Code (ISO 639-1) -> the CLDR locale whose dates, numbers and plural forms are used.
LOCALES = {"en": "en_GB", "de": "de_DE", "it": "it_IT"}
LANGUAGES = tuple(LOCALES)


def locale_of(language: str) -> str:
    """The locale of a language; English for one that is not spoken here."""
    return LOCALES.get(language, LOCALES["en"])
