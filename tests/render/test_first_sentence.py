"""The answer stands in the first sentence of every message, in every language and way; reminders do not threaten.

Source of the rule: ISO 24495-1:2023, plain language (from memory: readers easily find what they need), and common
practice of putting the answer first; which fact is the answer of which notice is this project's own table.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from babel.dates import get_month_names

from notify.core.notices import NOTICES
from notify.render.texts import Texts
from tests.render.contexts import LANGUAGES, bare, rich
from tests.render.every_text import FOLDER, PARTS

# What must stand in sentence one: values of the context (by path, "devices" = the name of each device), and words that
# say it, one pattern a language. "when" stands for the day and the hour of the slot.
SAID: dict[str, tuple[tuple[str, ...], dict[str, str]]] = {
    "checked_in": (("devices",), {"en": "we have", "de": "bei uns|angenommen", "it": "abbiamo"}),
    "question": (("devices",), {"en": "question|need to know", "de": "Frage|Antwort", "it": "domanda|risposta"}),
    "part_ordered": (("devices",), {"en": "ordered", "de": "bestellt", "it": "ordinato"}),
    "part_arrived": (("devices",), {"en": "arrived|here", "de": r"\bda\b", "it": "arrivato"}),
    "promise_changed": (("devices", "promise"), {"en": r"\bnow\b|later|not be ready",
                                                 "de": "voraussichtlich|neue Zeit|nun|später|länger",
                                                 "it": r"\bora\b|nuov[ia]|non sarà pronto|più tempo"}),
    "ready": (("devices",), {"en": "ready to collect|can be collected", "de": "abholen|abholbereit",
                             "it": "può ritirare"}),
    "called_back": ((), {"en": "please do not come yet", "de": r"bitte (kommen Sie )?noch nicht",
                         "it": "per favore non venga ancora"}),
    "pickup_confirmed": (("when",), {"en": "pickup time|see you", "de": "Abholzeit|Abholung",
                                     "it": "orario di ritiro|la aspettiamo"}),
    "pickup_moved": (("when",), {"en": "moved|is now on", "de": "verschoben|jetzt", "it": "spostato"}),
    "pickup_cancelled": (("slot.day",), {"en": "cancelled", "de": "abgesagt", "it": "annullato"}),
    "proposal_declined": (("when",), {"en": "stays", "de": "bleibt", "it": "resta"}),
    "pickup_reminder": (("when",), {"en": "see you|seeing you|your pickup", "de": "freuen uns|Ihre Abholung",
                                    "it": "la aspettiamo|il suo ritiro"}),
    "pickup_missed_note": (("devices",), {"en": "we kept", "de": "aufgehoben", "it": "teniamo qui"}),
    "collection_reminder": (("devices",), {"en": "still", "de": "noch", "it": "ancora"}),
    "handed_back": (("devices",), {"en": "handed back", "de": "zurückgegeben", "it": "riconsegnato"}),
    "all_well": (("devices",), {"en": "still work", "de": r"funktionier(t|en)\b.*\bnoch",
                                "it": "funziona(no)? ancora"}),
    "stop_confirmed": ((), {"en": "no more", "de": "keine .*mehr", "it": "non riceverà più|niente più"}),
    "start_confirmed": ((), {"en": "again", "de": "wieder", "it": "di nuovo"}),
    "help_answer": ((), {"en": r"repair|call \+|STOP", "de": r"Reparatur|Tel \+|keine SMS mehr",
                         "it": r"riparazione|tel \+|STOP"}),
    "contact_code": (("code",), {}),
    "contact_changed_old": ((), {"en": "another address or number", "de": "andere Adresse oder Nummer",
                                 "it": "altro indirizzo o numero"}),
    "link_replaced": ((), {"en": "replaced", "de": "ersetzt", "it": "sostituito"}),
    "request_news": (("request.first",), {}),
    "forget_soon": (("request.first",), {}),
    "request_due_shop": (("number",), {}),
    "answer_shop": (("number", "answer.label"), {}),
    "part_arrived_shop": (("number",), {"en": "here", "de": r"\bda\b", "it": "arrivato"}),
    "part_late_shop": (("number",), {"en": "not come", "de": "nicht gekommen", "it": "non è arrivato"}),
    "hold_review_shop": (("number",), {"en": "looked at again|look again", "de": "noch einmal an(zu)?sehen",
                                        "it": "rivisto|rivedere"}),
    "promise_threatened_shop": (("number",), {"en": "danger|hardly", "de": "Gefahr|kaum", "it": "rischio|quasi"}),
    "call_needed": ((), {"en": "please call", "de": "bitte .*anrufen", "it": "per favore chiamare"}),
    "pickup_booked_shop": (("number", "when"), {"en": "comes|pickup", "de": "Abholung", "it": "ritiro"}),
    "pickup_given_up_shop": (("number", "when"), {"en": "given up|gave up", "de": "abgesagt", "it": "disdetto"}),
    "reply_shop": (("number",), {"en": "wrote", "de": "geschrieben", "it": "hanno risposto|ha scritto"}),
}  # fmt: skip
# A shorter text message may name a device by its number alone, a pickup by its day, and the shop's own one only the
# ticket whose question has an answer: labels may be long.
SHORT = {"devices": "number", "when": "slot.day", "answer.label": "number"}
# A sentence ends at . ? ! before a space or the end, but "26. November" is one day (month names: CLDR).
_MONTHS = "|".join(get_month_names("wide", locale="de").values())
_END = re.compile(rf"[.?!](?=\s|$)(?!\s(?:{_MONTHS}))")


@pytest.fixture(scope="module")
def texts() -> Texts:
    return Texts(FOLDER, LANGUAGES)


def first_sentence(part: str, text: str, context: dict[str, Any]) -> str:
    """What is read first: after the greeting of a mail, the shop's name of a text, the introduction of a call."""
    if part == "html":
        heading = re.search(r"<h1>(.*?)</h1>", text, re.DOTALL)
        assert heading
        text = html.unescape(re.sub(r"<[^>]+>", "", heading[1]))
    elif part == "text":
        text = re.sub(r"^(Hello|Guten Tag|Buongiorno)[^,\n]*, ", "", text)
    elif part == "call":
        text = text.split(f"{context['shop']['name']}. ", 1)[1]
    else:
        text = text.removeprefix(f"{context['shop']['name']}: ")
    end = _END.search(text)
    return " ".join((text[: end.end()] if end else text.split("\n")[0]).split())


def lacking(notice: str, language: str, said: str, context: dict[str, Any], *, short: bool = False) -> list[str]:
    """The facts of the table that the sentence does not say."""
    values, words = SAID[notice]
    wanted = [one for key in values for one in _values(SHORT.get(key, key) if short else key, context)]
    missing = [one for one in wanted if one.lower() not in said.lower()]
    if language in words and not re.search(words[language], said, re.IGNORECASE):
        missing.append(words[language])
    return missing


def _values(key: str, context: dict[str, Any]) -> list[str]:
    if key == "devices":
        return [one["device"] for one in context["devices"]]
    if key == "when":
        return [context["slot"]["day"], context["slot"]["time"]]
    found: Any = context
    for step in key.split("."):
        found = found[step]
    return [str(found)] if found else []


def variants(notice: str, language: str) -> Iterator[dict[str, Any]]:
    """Full, without a link, with a battery flag, unrepaired with the pickup kept, everything optional empty."""
    full = rich(notice, language)
    yield full
    yield {**full, "claim_link": "", "privacy_link": "", "stop_link": ""}
    yield {**full, "safety": ["x"], "caution_lines": ["y"]}
    if notice == "ready":
        yield {**full, "outcome": "unrepaired", "slot": rich("pickup_confirmed", language)["slot"]}
    yield bare(notice, language)


def every_first(texts: Texts) -> Iterator[tuple[str, str, str, str, dict[str, Any]]]:
    """(notice, language, part, first sentence, context) of each cell; subjects are headings and have none."""
    for notice, language in ((n, one) for n in NOTICES for one in LANGUAGES):
        parts = [part for part in (*PARTS[notice], "sms_short") if part != "subject"]
        for context in variants(notice, language):
            for part in parts:
                if texts.has(language=language, notice=notice, part=part):
                    filled = texts.render(language=language, notice=notice, part=part, context=context)
                    yield notice, language, part, first_sentence(part, filled, context), context


def test_every_notice_has_its_answer_in_the_table() -> None:
    assert SAID.keys() == NOTICES.keys()
    assert all(not words or set(words) == set(LANGUAGES) for _, words in SAID.values())


def test_the_first_sentence_holds_the_answer_in_every_language_and_way(texts: Texts) -> None:
    cells, wrong = 0, []
    for notice, language, part, said, context in every_first(texts):
        cells += 1
        if missing := lacking(notice, language, said, context, short=part == "sms_short"):
            wrong.append((notice, language, part, missing, said))
    print(f"FIGURE first_sentence notices={len(NOTICES)} languages={len(LANGUAGES)} cells={cells} wrong={len(wrong)}")
    assert not wrong


def test_an_unrepaired_device_is_called_so_in_the_first_sentence_of_a_text_message(texts: Texts) -> None:
    word = {"en": "unrepaired", "de": "unrepariert", "it": "non riparat"}
    for notice, language, part, said, context in every_first(texts):
        if notice == "ready" and part in ("sms", "sms_short") and context["outcome"] == "unrepaired":
            assert word[language] in said, said


@pytest.mark.parametrize(
    "spoilt",
    [
        lambda said: "We hope you are well.",
        lambda said: re.sub(r"Lumen 3 camera|camera", "device", said),
        lambda said: re.sub("ready to collect", "done", said),
    ],
)
def test_a_sentence_that_hides_the_answer_is_found(texts: Texts, spoilt: Callable[[str], str]) -> None:
    context = rich("ready", "en")
    good = first_sentence("text", texts.render(language="en", notice="ready", part="text", context=context), context)
    assert lacking("ready", "en", good, context) == []
    assert lacking("ready", "en", spoilt(good), context)


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("Abholung am 26. November, 17:00 Uhr. Bitte kommen.", "Abholung am 26. November, 17:00 Uhr."),
        ("Ready on Thursday, 26 November, by 11:30. Sorry.", "Ready on Thursday, 26 November, by 11:30."),
        ("Fine prevista: domani entro le 11:30. Ci dispiace.", "Fine prevista: domani entro le 11:30."),
        ("Call +44 7700 900321. To stop, answer STOP.", "Call +44 7700 900321."),
        ("Is it ready? Yes.", "Is it ready?"),
    ],
)  # fmt: skip
def test_a_day_with_a_point_does_not_end_a_sentence(text: str, first: str) -> None:
    assert first_sentence("sms", text, rich("ready", "en")) == first


# Words of pressure: to dispose, sell, charge for storage, deadlines, law, "final". Common practice, no source.
_PRESSURE = re.compile(
    r"dispos|auction|\bsell|\bsold|storage|\bfees?\b|final|last (?:reminder|warning)|deadline|legal|otherwise|"
    r"entsorg|versteiger|verkauf|lagergeb|letzte (?:mahnung|erinnerung)|mahn|frist|rechtlich|andernfalls|sonst\b|"
    r"smalti|vendere|vendut|all'asta|deposito|giacenza|ultimo (?:avviso|sollecito)|sollecit|scadenza|legale|altrimenti",
    re.IGNORECASE,
)


def test_no_reminder_threatens(texts: Texts) -> None:
    for language in LANGUAGES:
        for notice in ("collection_reminder", "pickup_reminder"):
            context = {**rich(notice, language), "days_waiting": 365}
            for part in PARTS[notice]:
                text = texts.render(language=language, notice=notice, part=part, context=context)
                shown = re.sub(r"<style>.*?</style>|<[^>]+>", " ", text, flags=re.DOTALL)
                assert not _PRESSURE.search(shown), f"{language} {notice} {part}: {_PRESSURE.search(shown)}"
    for threat in ("Otherwise we dispose of it.", "Andernfalls verkaufen wir es.", "Dopo la scadenza lo vendiamo."):
        assert _PRESSURE.search(threat)
