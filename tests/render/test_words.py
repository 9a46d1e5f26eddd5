"""Words of pages: the same keys everywhere, every code of core has words, the privacy page says all of art. 13."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from notify.core import questions, tickets
from notify.core.errors import Invalid, Misconfigured
from notify.core.notices import EVERY_PURPOSE, NOTICES
from notify.paths import templates_folder
from notify.render.words import Words
from tests.render.contexts import LANGUAGES

FOLDER = templates_folder() / "words"
NOTIFY = FOLDER.parent.parent / "notify"
DESK = NOTIFY / "web" / "counter"

# GDPR art. 13(1) and (2), the points a notice must cover. Source: the article's text as given on gdprhub.eu,
# "Article 13 GDPR". Of point 13(2)(b): access, rectification, erasure, restriction, objection, portability.
ARTICLE_13 = [f"13-1-{point}" for point in "abcdef"] + [f"13-2-{point}" for point in "abcdef"]
RIGHTS = {
    "en": ["copy", "corrected", "erased", "restricted", "object", "machines can read", "take that back"],
    "de": ["Kopie", "berichtigen", "löschen", "einschränken", "widersprechen", "Maschinen lesbar", "zurücknehmen"],
    "it": ["copia", "correggere", "cancellare", "limitare", "opporsi", "leggibile da una macchina", "revocarlo"],
}


@pytest.fixture(scope="module")
def words() -> Words:
    return Words(FOLDER)


def settings(**changes: Any) -> dict[str, Any]:
    return {
        "shop": {
            "name": "Tramstop Bench",
            "address": "4 Ferry Steps, Quillhaven",
            "phone": "+44 7700 900321",
            "email": "bench@example.org",
            "representative": "Kim Tiller",
        },
        "joint": "Pier Bench",
        "officer": "privacy@example.org",
        "providers": ["Breakwater Mail sends our e-mail", "Gull SMS sends our text messages"],
        "outside": "Gull SMS stores messages in Switzerland, for which there is an adequacy decision",
        "periods": {
            "contact": "30 days",
            "delegate": "9 days",
            "review": "200 days",
            "records": "8 years",
            "backups": "35 days",
            "key_backups": "6 days",
            "agreed": "3 years",
            "requests": "4 years",
            "looks": "11 months",
            "strangers": "21 days",
        },
        "sources": ["Pier office"],
        "by_page": "yes",
        "consents": ["A note when our opening hours change"],
        "authority": {"name": "Harbour Data Office", "url": "https://data.example.org"},
        "updated": "25 November 2026",
        **changes,
    }


def test_all_languages_have_the_same_words_and_sound_pages(words: Words) -> None:
    assert words.problems(LANGUAGES) == []


def test_every_code_of_core_has_words_in_every_language(words: Words) -> None:
    reasons = {*tickets.UNREPAIRED_REASONS, *tickets.PUT_BACK_REASONS, *tickets.CALL_BACK_REASONS}
    reasons |= {*tickets.UNDO_HANDOVER_REASONS, *tickets.LEFT_REASONS}
    wanted = {f"phase.{p}" for p in tickets.Phase} | {f"staff_phase.{p}" for p in tickets.Phase}
    wanted |= {f"outcome.{o}" for o in tickets.Outcome} | {f"waits_on.{w}" for w in tickets.WaitsOn}
    wanted |= {f"staff_reason.{r}" for r in reasons} | {f"reason.{r}" for r in tickets.UNREPAIRED_REASONS}
    wanted |= {f"why.{r}" for r in tickets.CALL_BACK_REASONS}
    wanted |= {f"question.{kind}" for kind in questions.ANSWERS}
    wanted |= {f"answer.{code}" for codes in questions.ANSWERS.values() for code in codes}
    wanted |= {f"notice.{name}" for name in NOTICES} | {f"purpose.{p}" for p in EVERY_PURPOSE}
    wanted |= {f"consent.{p}" for p in (*EVERY_PURPOSE, "reply")}
    for flag in ("swollen", "hot", "leaking", "wet"):
        wanted |= {f"safety.{flag}", f"caution.{flag}", f"staff_caution.{flag}"}
    for language in LANGUAGES:
        assert wanted - words.get(language).keys() == set()


def test_every_key_that_code_names_in_full_exists_in_every_language(words: Words) -> None:
    named = _named(path for path in NOTIFY.rglob("*.py") if DESK not in path.parents)
    assert "said.promise_by" in named  # or the search found nothing at all
    for language in LANGUAGES:
        pages = Words(FOLDER, prefix="page.").get(language)
        assert named - words.get(language).keys() - pages.keys() == set()


def test_every_key_that_the_desk_names_in_full_exists_in_the_language_of_staff() -> None:
    named = _named(DESK.rglob("*.py"))
    assert "danger.choose" in named  # or the search found nothing at all
    assert named - Words(FOLDER, prefix="desk.").get("en").keys() == set()


def _named(files: Iterable[Path]) -> set[str]:
    return set(re.findall(r'\bwords\(\)?\(?"([a-z_]+\.[a-z_]+)"', "".join(path.read_text("utf-8") for path in files)))


def test_no_customer_sentence_shows_a_code_word_and_each_ends_as_a_sentence(words: Words) -> None:
    for language in LANGUAGES:
        read = words.get(language)
        for key, text in read.items():
            assert "_" not in re.sub(r"\{\w+\}", "", text), key
            if key.split(".")[0] in ("phase", "waits_on", "reason", "why", "caution") and text:
                assert text[-1] == ".", key
        assert all("charge it when" not in text for text in read.values())


def test_no_page_and_no_paper_shouts_in_any_language() -> None:
    """Common practice, no source: no second exclamation mark, no word in capitals but known short forms."""
    known = {"SMS", "SIM", "GDPR", "DSGVO", "JSON", "BGB"}
    for file in sorted(FOLDER.glob("*.*")):
        text = "".join(line for line in file.read_text("utf-8").splitlines(True) if not line.startswith("#"))
        assert "!!" not in text, file.name
        assert set(re.findall(r"\b[A-ZÀ-Ý]{3,}\b", text)) <= known, file.name


def test_words_in_braces_are_filled_once_and_never_evaluated(words: Words) -> None:
    nasty = "{promise} {device.__class__} {{ 7*7 }}"
    assert words.get("en")("claim.asked", device=nasty) == f"Your {nasty} waits for your answer."


@pytest.mark.parametrize(
    ("key", "values", "told"),
    [
        ("phase.on_shelve", {}, "phase.on_shelf"),
        ("nothing.here", {}, "no such group"),
        ("claim.asked", {}, "device"),
        ("phase.on_shelf", {"device": "x"}, "device"),
    ],
)
def test_a_wrong_key_or_value_is_named_with_what_there_is(
    words: Words, key: str, values: dict[str, str], told: str
) -> None:
    with pytest.raises(Misconfigured, match=re.escape(key)) as caught:
        words.get("en")(key, **values)
    assert told in str(caught.value)


def test_unknown_languages_and_broken_files_are_named(tmp_path: Path) -> None:
    (tmp_path / "de.toml").write_text("[phase]\nx = 3\n")
    (tmp_path / "en.toml").write_text("[phase\n")
    broken = Words(tmp_path)
    for language, told in (("de", "phase.x"), ("en", "en.toml"), ("fr", "fr.toml"), ("../en", "code of a language")):
        with pytest.raises(Misconfigured, match=told):
            broken.get(language)


def test_the_check_finds_a_missing_key_a_missing_brace_and_a_wrong_name(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(FOLDER, tmp_path / "words"))
    german = (folder / "de.toml").read_text("utf-8")
    german = german.replace('proving = "Es ist', 'provin = "Es ist').replace("{promise}.", "bald.")
    (folder / "de.toml").write_text(german, "utf-8")
    page = (folder / "privacy.en.html").read_text("utf-8").replace("{{ officer }}", "{{ offiser }}")
    (folder / "privacy.en.html").write_text(page, "utf-8")
    found = Words(folder).problems(LANGUAGES)
    assert found[:3] == [
        "de.toml: claim.promised lacks {promise}",
        "en.toml: phase.provin is missing",
        "it.toml: phase.provin is missing",
    ]
    assert "de.toml: phase.proving is missing" in found[3:]
    assert len(found) == 5 and re.match(r"privacy\.en\.html:10: there is no 'offiser'", found[4])


def test_the_privacy_page_covers_every_point_of_article_13_in_every_language(words: Words) -> None:
    for language in LANGUAGES:
        page = words.privacy(language, settings())
        covered = " ".join(re.findall(r'data-art="([^"]+)"', page)).split()
        assert sorted(covered) == sorted(ARTICLE_13)
        for value in (
            "Tramstop Bench",
            "Kim Tiller",
            "Pier Bench",
            "privacy@example.org",
            "Gull SMS",
            "Switzerland",
            "30 days",
            "9 days",
            "200 days",
            "8 years",
            "35 days",
            "6 days",
            "3 years",
            "4 years",
            "11 months",
            "21 days",
            "Pier office",
            "opening hours change",
            "Harbour Data Office",
            "25 November 2026",
        ):
            assert value in page, f"{language} lacks {value}"
        assert [word for word in RIGHTS[language] if word not in page] == []
        assert "6" in page and ("legal advice" in page or "Rechtsberatung" in page or "consulenza legale" in page)


def test_the_privacy_page_claims_nothing_that_was_not_set(words: Words) -> None:
    shop = {**dict.fromkeys(settings()["shop"], ""), "name": "Tramstop Bench"}
    bare = dict.fromkeys(("joint", "officer", "outside", "by_page", "updated"), "")
    empty = settings(shop=shop, **bare, **{key: [] for key in ("providers", "consents", "sources")})
    empty |= {
        "periods": dict.fromkeys(settings()["periods"], ""),
        "authority": {"name": "", "url": ""},
    }
    for language in LANGUAGES:
        page = words.privacy(language, empty)
        assert not re.search(r"[{}]|None| [.,:]|: ?\.|, ?\.", page), page
        assert "href" not in page and "Gull" not in page
        assert "6(1)(a)" not in page and "Buchst. a)" not in page and "lett. a)" not in page
        told = words.privacy(language, {**empty, "providers": ["Breakwater Mail"]})
        assert "other countries" not in told and "andere Länder" not in told and "altri Paesi" not in told


def test_settings_are_escaped_on_the_privacy_page_and_a_script_link_is_refused(words: Words) -> None:
    page = words.privacy("en", settings(officer="<script>alert(1)</script>"))
    assert "<script" not in page and "&lt;script&gt;" in page
    with pytest.raises(Invalid, match=r"authority\.url"):
        words.privacy("en", settings(authority={"name": "x", "url": "javascript:alert(1)"}))
