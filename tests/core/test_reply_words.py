"""What people write back: stop, start, help, a wrong number, erasure; ordinary sentences stop nothing."""

from __future__ import annotations

import time
from itertools import product

import pytest

from notify.core.phrases import Phrases, fold, near, split
from notify.core.reply_words import read_wish
from tests.core import replies_read as table

# 47 CFR 64.1200(a)(10) calls these definitive.
DEFINITIVE = ["stop", "quit", "end", "revoke", "opt out", "cancel", "unsubscribe"]


@pytest.mark.parametrize("text", table.STOP)
def test_a_wish_to_stop_is_read_as_one(text: str) -> None:
    assert read_wish(text).cls == "stop"


@pytest.mark.parametrize("text", table.REVIEW)
def test_what_is_about_the_job_or_in_doubt_goes_to_a_person_and_stops_nothing(text: str) -> None:
    wish = read_wish(text)
    assert (wish.cls, wish.stop_this_number) == ("review", False)
    assert wish.kind in ("question", "other")


@pytest.mark.parametrize("text", table.NONE)
def test_an_ordinary_sentence_stops_nothing(text: str) -> None:
    wish = read_wish(text)
    assert (wish.cls, wish.stop_this_number) == ("none", False)
    assert wish.kind in ("question", "other")


@pytest.mark.parametrize("text", table.START)
def test_a_wish_to_start_again_is_read_as_one(text: str) -> None:
    assert read_wish(text).cls == "start"


@pytest.mark.parametrize("text", table.HELP)
def test_a_wish_for_help_is_read_as_one(text: str) -> None:
    assert read_wish(text).cls == "help"


@pytest.mark.parametrize("text", table.WRONG)
def test_a_wrong_number_goes_to_a_person_and_that_number_is_stopped(text: str) -> None:
    wish = read_wish(text)
    assert (wish.cls, wish.stop_this_number) == ("review", True)


@pytest.mark.parametrize("text", table.ERASURE)
def test_a_wish_to_be_forgotten_is_a_request_for_a_person(text: str) -> None:
    assert (read_wish(text).cls, read_wish(text).kind) == ("review", "erasure")


@pytest.mark.parametrize("text", ["remove my number", "Bitte meine Nummer löschen", "Cancellate il mio numero"])
def test_to_remove_a_number_is_a_stop_and_perhaps_an_erasure(text: str) -> None:
    assert (read_wish(text).cls, read_wish(text).kind) == ("stop", "erasure")


@pytest.mark.parametrize("text", ["Delete my data on the camera card", "Bitte meine Daten auf dem Gerät löschen"])
def test_to_delete_what_a_device_holds_is_work_and_no_request(text: str) -> None:
    wish = read_wish(text)
    assert (wish.cls, wish.kind) == ("review", "other")


@pytest.mark.parametrize("word", DEFINITIVE)
@pytest.mark.parametrize("around", ["{}", "{}!", "  {}\n", "please {}", "{} please.", "“{}”", "{} 🙏", "{} 1042"])
def test_each_definitive_word_stops_however_it_is_written(word: str, around: str) -> None:
    for form in (word, word.upper(), word.title()):
        assert read_wish(around.format(form)).cls == "stop"


def test_a_question_is_filed_as_one() -> None:
    assert read_wish("When is it ready").kind == "question"
    assert read_wish("Ist es fertig?").kind == "question"
    assert read_wish("I am on my way").kind == "other"


def test_a_wish_at_the_end_of_a_long_letter_is_read() -> None:
    assert read_wish("It was a fine day.\n" * 2000 + "Please stop texting me").cls == "stop"


def test_words_that_the_writer_only_quotes_are_not_his_own() -> None:
    assert read_wish('What does "Reply STOP to end these messages" mean?').cls == "none"
    assert read_wish("> please stop texting me\nNo, go on").cls == "none"


def test_one_typing_error_is_what_near_means() -> None:
    """Against every word that one edit makes, written out (Damerau's distance 1; from memory)."""
    letters = "abc"
    words = ["".join(signs) for length in range(1, 5) for signs in product(letters, repeat=length)]
    for word in words:
        edited = _edits(word, letters)
        assert {other for other in words if near(word, other)} == {other for other in words if other in edited}


def _edits(word: str, letters: str) -> set[str]:
    cuts = [(word[:at], word[at:]) for at in range(len(word) + 1)]
    fewer = {left + right[1:] for left, right in cuts if right}
    swapped = {left + right[1] + right[0] + right[2:] for left, right in cuts if len(right) > 1}
    other = {left + sign + right[1:] for left, right in cuts if right for sign in letters}
    more = {left + sign + right for left, right in cuts for sign in letters}
    return fewer | swapped | other | more | {word}


def test_a_phrase_has_a_bounded_gap_that_no_denial_crosses() -> None:
    phrases = Phrases(["stop ... text*"], denials=frozenset({"not"}))

    def found(text: str) -> bool:
        return any(True for words in split(fold(text)) for _ in phrases.find(words))

    assert found("stop texting") and found("stop, please, all these texts")
    assert not found("stop one two three four texts") and not found("stop and not text") and not found("stop. Text")


HOSTILE = {
    "one word": "stop " * 4000,
    "verbs of the job": "cancel the stop of the " * 900,
    "almost a phrase": "dont want these any more of the " * 700,
    "commas": "stop," * 4000,
    "quotes": '"' * 20_000,
    "open quotes": "“a" * 10_000,
    "one letter": "s" * 20_000,
    "letters apart": "s " * 10_000,
    "growing signs": "\ufdfa" * 20_000,  # NFKC makes eighteen of each
    "accents": "e" + "\u0301" * 20_000,
    "hidden signs": "st\u200bop" * 4000,
    "lines": "\n" * 20_000,
    "quoted lines": "> a\n" * 5000,
    "no spaces": "退订退" * 6000,
    "nothing known": "".join(map(chr, range(0x20, 0x4E20))),
    "surrogates": "\ud800" * 20_000,
}


@pytest.mark.parametrize("name", HOSTILE)
def test_twenty_kilobytes_of_anything_take_less_than_a_twentieth_of_a_second(name: str) -> None:
    read_wish("warm")
    best = min(_cpu(HOSTILE[name]) for _ in range(3))
    print(f"FIGURE reply_words_hostile case={name.replace(' ', '_')} cpu_ms={best * 1000:.1f}")
    assert best < 0.05


def _cpu(text: str) -> float:
    start = time.process_time()
    read_wish(text)
    return time.process_time() - start


def test_the_table_is_as_long_as_its_figure_says() -> None:
    rows = [*table.STOP, *table.REVIEW, *table.NONE, *table.START, *table.HELP, *table.WRONG, *table.ERASURE]
    print(f"FIGURE replies_read sentences={len(rows)} stop={len(table.STOP)} ordinary={len(table.NONE)}")
    assert len(rows) == len(set(rows)) >= 160
