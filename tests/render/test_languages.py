"""What every language brings: dates, lengths of time and amounts in its own words and in the cheap alphabet."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import smsutil
from babel import Locale

from notify.core.durations import parse_duration
from notify.core.languages import LANGUAGES, LOCALES, locale_of
from notify.core.money import show_amount
from notify.render.dates import say_day, say_time
from notify.render.moments import say_period
from notify.render.words import Words
from tests.render.every_text import FOLDER
from tests.web.examples_claim import WORDS

NEW_YEAR = datetime(2026, 1, 1, 12, tzinfo=UTC)


def test_each_language_has_a_locale_that_is_known_and_its_own_name() -> None:
    for language, locale in LOCALES.items():
        known = Locale.parse(locale)  # CLDR through babel
        assert known.language == language
        name = Words(WORDS).get(language)("language.name")
        assert name.casefold() == str(known.get_language_name(language)).casefold()
    assert locale_of("tlh") == locale_of("en")


def test_no_folder_and_no_file_of_words_is_left_without_its_language() -> None:
    assert {path.name for path in FOLDER.iterdir() if not path.name.startswith("_")} == set(LANGUAGES)
    assert {path.name.split(".")[1] for path in WORDS.glob("page.*.toml")} == set(LANGUAGES)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_whole_year_of_days_times_and_amounts_stays_in_the_cheap_alphabet(language: str) -> None:
    """3GPP TS 23.038 6.2.1, counted by a library that is not ours; a narrow space or a typographic sign would show."""
    longest = 0
    for ahead in range(365):
        moment = NEW_YEAR + timedelta(days=ahead, minutes=ahead)
        day = say_day(moment, zone="Europe/Rome", language=language)
        said = f"{day} {say_time(moment, zone='UTC', language=language)}"
        assert smsutil.is_valid_gsm(said), said
        longest = max(longest, len(said))
    for currency in ("EUR", "GBP", "CHF"):
        assert smsutil.is_valid_gsm(show_amount(123_456_78, currency=currency, language=language))
    print(f"FIGURE days_as_text language={language} days=365 longest={longest}")


def test_days_are_written_as_each_language_writes_them() -> None:
    """The forms of CLDR's own full dates without the year, but for a comma in English (common practice, no source)."""
    moment = datetime(2026, 11, 27, 12, tzinfo=UTC)
    said = {language: say_day(moment, zone="UTC", language=language) for language in LANGUAGES}
    assert said == {"en": "Friday, 27 November", "de": "Freitag, 27. November", "it": "venerdì 27 novembre"}


@pytest.mark.parametrize(
    ("language", "period", "said"),
    [
        ("en", "P1Y6M", "1 year, 6 months"),
        ("de", "P90D", "90 Tage"),
        ("it", "P90D", "90 giorni"),
        ("it", "P1Y6M", "1 anno, 6 mesi"),
        ("it", "P1M1D", "1 mese, 1 giorno"),
        ("it", "PT2H30M", "2 ore, 30 minuti"),
    ],
)
def test_a_length_of_time_is_said_in_words(language: str, period: str, said: str) -> None:
    """Italian long forms that equal the short ones are missing in babel 2.18's data; it wrote "90 duration-day"."""
    assert say_period(parse_duration(period), language=language) == said


def test_italian_accents_are_in_the_cheap_alphabet_and_a_capital_e_with_grave_is_not() -> None:
    """3GPP TS 23.038 6.2.1."""
    assert all(smsutil.is_valid_gsm(letter) for letter in "àèéìòù")
    assert not smsutil.is_valid_gsm("È")
