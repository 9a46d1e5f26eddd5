"""No text that a customer reads threatens with anything, in any language: every template file, read word for word.

The list of words is this project's own (common practice, no source): what would be done to the device, what it would
cost, and what a court would do.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from notify.core.languages import LANGUAGES
from notify.core.notices import CUSTOMER_NOTICES
from notify.paths import templates_folder

FOLDER = templates_folder()
THREATS: dict[str, str] = {
    "en": r"dispos|\bsell|\bsold\b|\bsale\b|\bscrap|destroy|auction|\bfees?\b|\bfined?\b|penalt|\bcharges\b|"
          r"legal (?:action|steps|consequence)|lawyer|\bcourt\b|\bsue\b|final (?:notice|reminder|warning)|thrown? away",
    "de": r"entsorg|verkauf|verkaufen|veräußer|verschrott|vernicht|versteiger|gebühr|mahn|gericht|anwalt|inkasso|"
          r"rechtliche (?:schritte|folgen)|letzte (?:frist|aufforderung|mahnung)|wegwerfen|lagerkosten|strafe",
    "it": r"smalti|vendit|vendere|vendiamo|venduto|rottam|distrugg|all'asta|\bpenal|\bmulta|tariff|"
          r"spese di (?:custodia|deposito)|azion[ei] legal|vie legali|avvocat|tribunale|sollecit|ultimo avviso|buttare|"
          r"getteremo",
}  # fmt: skip


def texts(language: str) -> Iterator[tuple[str, str]]:
    """(name, text) of every file that holds words for customers in that language; settings of style left out."""
    folders = [FOLDER / "messages" / language / name for name in (*CUSTOMER_NOTICES, "_parts")]
    for folder in folders:
        assert folder.is_dir(), folder
        for file in sorted(folder.iterdir()):
            yield f"{folder.name}/{file.name}", file.read_text("utf-8")
    for prefix in ("", "page.", "paper."):
        yield f"{prefix}{language}.toml", _values(FOLDER / "words" / f"{prefix}{language}.toml")
    letter = tomllib.loads((FOLDER / "words" / f"notice.{language}.toml").read_text("utf-8"))["letter"]
    yield "notice", "\n".join(letter.values())


def _values(file: Path) -> str:
    def leaves(table: dict[str, object]) -> Iterator[str]:
        for value in table.values():
            if isinstance(value, dict):
                yield from leaves(value)
            else:
                yield str(value)

    return "\n".join(leaves(tomllib.loads(file.read_text("utf-8"))))


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_text_for_customers_threatens(language: str) -> None:
    found, read = [], 0
    for name, text in texts(language):
        read += 1
        shown = re.sub(r"<style>.*?</style>|\{%.*?%\}|\{\{.*?\}\}|<[^>]+>", " ", text, flags=re.DOTALL)
        found += [(name, hit[0]) for hit in re.finditer(THREATS[language], shown, re.IGNORECASE)]
    print(f"FIGURE threats language={language} files={read} found={len(found)}")
    assert not found and read > 100


@pytest.mark.parametrize(
    ("language", "threat"),
    [
        ("en", "We will dispose of it."), ("en", "After that we sell it."), ("en", "A storage fee is due."),
        ("en", "We take legal action."), ("en", "It is scrapped."), ("en", "It will be destroyed."),
        ("de", "Danach entsorgen wir es."), ("de", "Es wird verkauft."), ("de", "Es wird verschrottet."),
        ("de", "Sonst fällt eine Gebühr an."), ("de", "Es folgen rechtliche Schritte."),
        ("de", "Es wird vernichtet."),
        ("it", "Poi lo smaltiamo."), ("it", "Lo vendiamo."), ("it", "Sarà rottamato."), ("it", "C'è una penale."),
        ("it", "Procederemo per vie legali."), ("it", "Sarà distrutto: lo distruggiamo."),
    ],
)  # fmt: skip
def test_a_threat_is_found_where_it_is_planted(language: str, threat: str) -> None:
    assert re.search(THREATS[language], threat, re.IGNORECASE)
