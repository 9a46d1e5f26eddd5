"""The words on paper: complete in every language, and a wrong file is named with every fault."""

from __future__ import annotations

import itertools
import tomllib
from dataclasses import fields
from pathlib import Path

import pytest

from notify.core.errors import Misconfigured
from notify.core.languages import LANGUAGES
from notify.render.paper_words import SAFETY_FLAGS, PaperWords, load_words
from tests.parts.paper_samples import TEMPLATES


@pytest.mark.parametrize(("one", "other"), [*itertools.combinations(LANGUAGES, 2)])
def test_any_two_languages_have_the_same_keys_and_their_own_words(one: str, other: str) -> None:
    first, second = (
        tomllib.loads((TEMPLATES / "words" / f"paper.{name}.toml").read_text(encoding="utf-8")) for name in (one, other)
    )
    assert list(first) == list(second)
    for table in ("safety", "cautions"):
        assert first[table].keys() == second[table].keys()
    assert [key for key in first if first[key] == second[key]] == []


def test_a_file_with_faults_names_each_of_them(tmp_path: Path) -> None:
    text = (TEMPLATES / "words" / "paper.en.toml").read_text(encoding="utf-8")
    text = (
        text.replace('scan = "', 'skan = "').replace('money = "Money"', "money = 3").replace('wet = "wet"', 'wet = " "')
    )
    (tmp_path / "words").mkdir()
    (tmp_path / "words" / "paper.en.toml").write_text(text, encoding="utf-8")
    with pytest.raises(Misconfigured) as caught:
        load_words(tmp_path, "en")
    for fault in ("scan is missing", "skan is not known", "money is not a text", "safety.wet is not a text"):
        assert fault in str(caught.value)


def test_a_file_that_is_no_toml_or_lies_elsewhere_is_named(tmp_path: Path) -> None:
    (tmp_path / "words").mkdir()
    (tmp_path / "words" / "paper.en.toml").write_text("scan = \n", encoding="utf-8")
    with pytest.raises(Misconfigured, match=r"paper\.en\.toml cannot be read.*line 1"):
        load_words(tmp_path, "en")
    with pytest.raises(Misconfigured, match="no words for paper"):
        load_words(tmp_path, "../../etc/passwd")


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_flag_has_its_caution_and_the_usual_ones_once(language: str) -> None:
    words = load_words(TEMPLATES, language)
    assert words.caution_lines(()) == ()
    for flag in SAFETY_FLAGS:
        lines = words.caution_lines((flag,))
        assert lines[0] == words.cautions[flag]
        assert len(lines) == len(set(lines)) == 4
    assert len(words.caution_lines(SAFETY_FLAGS)) == 7


def test_every_phrase_of_the_class_is_used_on_some_paper() -> None:
    rooms = Path(__file__).resolve().parents[2] / "notify" / "render"
    code = "".join(path.read_text(encoding="utf-8") for path in rooms.glob("*.py") if path.name != "paper_words.py")
    tables = {"safety", "cautions"}
    assert [
        field.name for field in fields(PaperWords) if field.name not in tables and f"words.{field.name}" not in code
    ] == []
