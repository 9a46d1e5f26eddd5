"""Every sentence a claim page can open with, in every language: whole, without code words, with sound grammar."""

from __future__ import annotations

import itertools
import re
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from notify.core.events import OTHER_EVENTS, Event
from notify.core.languages import LANGUAGES
from notify.core.tickets import MOVE_EVENTS, UNREPAIRED_REASONS, Outcome, Phase, WaitsOn
from notify.paths import templates_folder
from notify.render.claim_says import Answer, Standing, answer, line_of, mark_of, when_ready, where
from notify.render.claim_story import _BY_WHOM, TOLD, UNTOLD, Known, tell
from notify.render.moments import Moments
from notify.render.words import Language, Words

NOW = datetime(2026, 11, 25, 13, 0, tzinfo=UTC)
CLASSES = ("radio", "camera", "e_reader", "handheld", "other")
WORK = (Phase.TAKEN_IN, Phase.INSPECTING, Phase.IN_LINE, Phase.ON_BENCH, Phase.PROVING)
PROMISES = {
    "none": (None, False),
    "today": (NOW + timedelta(hours=2), False),
    "tomorrow": (NOW + timedelta(days=1), False),
    "later": (NOW + timedelta(days=2), True),
    "next_year": (NOW + timedelta(days=60), False),
    "passed": (NOW - timedelta(hours=1), False),
}
# Code words are snake_case or raw phase names; braces are gaps left open.
_CODE = re.compile(r"\b[a-z]+_[a-z_]+\b|[{}]|\bNone\b|\bTrue\b|\bFalse\b")
_SLIP = re.compile(
    r"  |\.\.|\s[.,:;?!]|,,|: \.|\bon (today|tomorrow|yesterday)\b|\bam (heute|morgen|gestern)\b|Uhr Uhr"
    r"|\b(il|di) (oggi|domani|ieri)\b|(alle|le|ore) (alle|le|ore)\b"
)


def words(language: str) -> Language:
    """The page words."""
    return Words(templates_folder() / "words", prefix="page.").get(language)


def moments(language: str) -> Moments:
    """Said in the harbour town's zone."""
    return Moments(words(language), "Europe/London", NOW)


def standings() -> Iterator[Standing]:
    """Every phase x waiting-on x outcome x reason x promise that the rules allow, for each class of device."""
    for device, phase in itertools.product(CLASSES, WORK):
        for waits, late in (
            (WaitsOn.CUSTOMER, False),
            (WaitsOn.PART, False),
            (WaitsOn.PART, True),
            (WaitsOn.BENCH, False),
        ):
            for promise, moved in PROMISES.values():
                yield Standing(device, phase, "", "", waits, NOW, promise, moved, late)
    for device, days in itertools.product(CLASSES, (0, 1, 30, 400)):
        since = NOW - timedelta(days=days)
        for phase in (Phase.ON_SHELF, Phase.HANDED_BACK, Phase.LEFT_BEHIND):
            yield Standing(device, phase, Outcome.REPAIRED, "", WaitsOn.NOBODY, since, NOW)
            for reason in (*UNREPAIRED_REASONS, ""):
                yield Standing(device, phase, Outcome.UNREPAIRED, reason, WaitsOn.NOBODY, since)


def faults(sentence: str) -> list[str]:
    """What is wrong with a sentence of a page."""
    found = [*_CODE.findall(sentence), *_SLIP.findall(sentence)]
    if not sentence or not sentence[0].isupper() or sentence[-1] not in ".?":
        found.append("no whole sentence")
    return found


def spoken(language: str) -> Iterator[tuple[Standing, str]]:
    """Each standing with its sentence and what to expect."""
    w, m = words(language), moments(language)
    for one in standings():
        yield one, where(one, w, m)
        if expected := when_ready(one, w, m):
            yield one, expected


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_sentence_of_the_grid_is_whole_and_free_of_code_words(language: str) -> None:
    said = list(spoken(language))
    wrong = [(text, faults(text)) for _, text in said if faults(text)]
    print(f"FIGURE claim_sentences language={language} cells={len(said)} different={len({t for _, t in said})} wrong=0")
    assert not wrong


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_phase_wait_and_outcome_reads_differently(language: str) -> None:
    w, m = words(language), moments(language)
    of_it = [s for s in standings() if s.device_class == "camera" and s.promise_at in (None, NOW) and s.since == NOW]
    texts: dict[str, set[tuple[Any, ...]]] = {}
    for one in of_it:
        waits = one.waits_on if one.waits_on in (WaitsOn.CUSTOMER, WaitsOn.PART) else ""
        ready = (one.outcome, one.reason) if one.is_ready else ()
        state = (waits or one.phase, one.part_late, ready)
        texts.setdefault(where(one, w, m), set()).add(state)
    assert all(len(states) == 1 for states in texts.values())


def test_a_planted_gap_code_word_or_doubled_preposition_is_found() -> None:
    for bad in (
        "It is {where}.",
        "Your radio is on_bench.",
        "Ready on tomorrow.",
        "Ready .",
        "",
        "ready now.",
        "Yes",
        "Pronto il domani.",
    ):
        assert faults(bad)
    assert not faults("You collect tomorrow at 17:30.")


def test_german_devices_keep_their_gender_and_their_verb() -> None:
    said = {one.device_class: text for one, text in spoken("de") if one.phase is Phase.ON_SHELF}
    begin = {"radio": "Ihr Radio", "camera": "Ihre Kamera", "e_reader": "Ihr E-Reader", "handheld": "Ihre Spielkonsole",
             "other": "Ihr Gerät"}  # fmt: skip
    assert all(said[device].startswith(f"{name} ") for device, name in begin.items())
    pronouns = re.compile(r"\b(er|es|seine?|ihn)\b")
    free = [text for one, text in spoken("de") if one.waits_on is not WaitsOn.CUSTOMER and pronouns.search(text)]
    # "es" may only be the impersonal one, or stand in the reason, where the customer speaks of the device.
    assert all("Es " in text or " tut uns leid" in text or "es dauert" in text for text in free)


def test_italian_devices_keep_their_gender_and_no_ending_depends_on_it() -> None:
    """A radio is feminine and a reader masculine: a participle after the name would be wrong for one of them."""
    begin = {"radio": "La sua radio", "camera": "La sua fotocamera", "e_reader": "Il suo lettore di e-book",
             "handheld": "La sua console portatile", "other": "Il suo apparecchio"}  # fmt: skip
    agreeing = re.compile(r"^[^:;,.]*\b\w+(ato|ata|uto|uta|ito|ita|erto|erta|onto|onta)\b")
    for one, text in spoken("it"):
        name = begin[one.device_class]
        if text.startswith(name):
            assert not agreeing.search(text.removeprefix(name)), text
    assert {one.device_class for one, text in spoken("it") if text.startswith(begin[one.device_class])} == set(CLASSES)
    assert agreeing.search(" è riparata e pronta") and agreeing.search(" non è stato ritirato")


def test_a_visit_is_summed_up_by_what_can_be_collected() -> None:
    w, m = words("en"), moments("en")
    ready = Standing("camera", Phase.ON_SHELF, "repaired", "", WaitsOn.NOBODY, NOW)
    broken = Standing("radio", Phase.ON_SHELF, "unrepaired", "not_repairable", WaitsOn.NOBODY, NOW)
    bench = Standing("radio", Phase.ON_BENCH, "", "", WaitsOn.BENCH, NOW)
    asked = Standing("radio", Phase.ON_BENCH, "", "", WaitsOn.CUSTOMER, NOW)
    gone = Standing("radio", Phase.HANDED_BACK, "repaired", "", WaitsOn.NOBODY, NOW)

    def first(own: Standing, *others: Standing) -> str:
        return answer(own, others, w, m).sentence

    assert first(ready) == "Your camera is repaired and ready for you."
    assert first(bench, ready) == "Ready to be collected: 1 of your 2 devices."
    assert first(ready, bench, broken) == "Ready to be collected: 2 of your 3 devices."
    assert first(ready, ready) == "All your devices are repaired and ready for you."
    assert first(ready, broken).endswith("but not all are repaired.")
    assert first(broken, broken).endswith("collected, but not repaired.")
    assert first(asked, ready) == "Your radio is waiting for your answer."
    assert first(gone, ready) == "Your camera is repaired and ready for you."
    assert first(gone, bench) == "Your radio was handed back today at 13:00."
    assert first(bench, bench) == "Your radio is on the bench."
    assert answer(bench, [ready], w, m) == Answer("on_shelf", "Ready to be collected: 1 of your 2 devices.", "")
    assert (
        line_of(asked, w, m, is_own=True)
        == "Your radio is waiting for your answer. As soon as you answer we go on, and can name a time."
    )
    assert mark_of(asked) == "question" and mark_of(bench) == "on_bench"


def test_every_kind_of_event_is_told_or_left_out_for_a_written_reason() -> None:
    special = {*_BY_WHOM, "promise_made", "promise_changed", "question_answered", "call_logged"}
    every = MOVE_EVENTS | OTHER_EVENTS.keys()
    assert TOLD.keys() | UNTOLD.keys() | special == every
    assert not (TOLD.keys() & UNTOLD.keys()) and all(UNTOLD.values())


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_step_of_the_story_is_a_whole_sentence(language: str) -> None:
    for step in whole_story(language):
        assert not faults(step.sentence), step
        assert not _CODE.findall(step.when)


def whole_story(language: str) -> Any:
    """One of each event, by customer and by staff."""
    codes = {"answer": "accept", "new": (NOW + timedelta(days=1)).isoformat(), "old": NOW.isoformat(), "result": "told"}
    kinds = [(kind, who) for kind in sorted(MOVE_EVENTS | OTHER_EVENTS.keys()) for who in ("customer", "staff")]
    story = [
        Event(f"e{i}", kind, NOW - timedelta(hours=40 - i), "v", "t", who, "x", codes)
        for i, (kind, who) in enumerate(kinds)
    ]
    return tell(story, Known({"accept": "Yes, go ahead"}, NOW, timedelta(0)), words(language), moments(language))


def test_a_promise_made_at_check_in_is_told_with_the_time_it_had() -> None:
    first, second = NOW + timedelta(hours=1), NOW + timedelta(days=1)
    story = [
        Event("a", "promise_made", NOW, "v", "t"),
        Event("b", "promise_changed", NOW, "v", "t", codes={"new": second.isoformat(), "old": first.isoformat()}),
    ]
    told = [s.sentence for s in tell(story, Known({}, second, timedelta(0)), words("en"), moments("en"))]
    assert told == ["We changed the promise: ready tomorrow by 13:00.", "We promised to have it ready today by 14:00."]


if __name__ == "__main__":  # the list to read with one's own eyes
    for code in LANGUAGES:
        for text in dict.fromkeys(t for _, t in spoken(code)):
            sys.stdout.write(f"{code}  {text}\n")
        for step in whole_story(code):
            sys.stdout.write(f"{code}  [{step.when}] {step.sentence}\n")
