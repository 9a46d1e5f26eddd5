"""A small language for phrases in several languages, and finding them among the words of a text in bounded time."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

PAUSE = ","  # stands among the words of a sentence where its writer paused
GAP = 3  # so many words may stand at `...`
_NT = re.compile(r"n[’'`´]t\b")
_MAIL = re.compile(r"\be[-‐‑ ]mail")
_RUN = re.compile(r"(\w)\1{2,}")
_WORD = re.compile(r"[^\W_]+|,")
_SENTENCE = re.compile(r"[.!?;:\n…。！？]+")


def fold(text: str) -> str:
    """Small letters without accents, full-width forms and hidden signs (NFKC; Unicode categories Mn and Cf go).

    Signs that stand for many (U+FDFA is eighteen) may double a text; what is longer then is cut off.
    """
    small = unicodedata.normalize("NFKC", text).casefold()[: 2 * len(text) + 100]
    parts = unicodedata.normalize("NFD", small)
    return "".join(c for c in parts if unicodedata.category(c) not in ("Mn", "Cf"))


def split(folded: str) -> list[list[str]]:
    """The sentences of a folded text, each a list of words and PAUSEs; `don't` and `do not` are one word, `dont`."""
    plain = _RUN.sub(r"\1", _MAIL.sub("email", _NT.sub("nt", folded))).replace("，", PAUSE)
    plain = re.sub(r"\bdo not\b", "dont", plain)
    sentences = (_WORD.findall(sentence) for sentence in _SENTENCE.split(plain))
    return [words for words in map(_trimmed, sentences) if words]


def _trimmed(words: list[str]) -> list[str]:
    while words and words[-1] == PAUSE:
        words.pop()
    while words and words[0] == PAUSE:
        words.pop(0)
    return words


@dataclass(frozen=True, slots=True)
class Found:
    """Where a phrase stands among the words: from `start` up to, not including, `end`."""

    start: int
    end: int
    denies: bool  # the phrase itself begins with a word that denies


@dataclass(frozen=True, slots=True)
class _Slot:
    words: frozenset[str]
    beginnings: tuple[str, ...]
    gap: bool  # words may stand before this one

    def takes(self, word: str) -> bool:
        return word in self.words or (bool(self.beginnings) and word.startswith(self.beginnings))


class Phrases:
    """A table of phrases, ready to be looked for.

    The notation: words divided by spaces, `/` between alternatives, `*` for any ending, `...` for up to GAP other words
    of which none is in `denials`. Between any two words a PAUSE may stand.
    """

    def __init__(self, table: Iterable[str], *, denials: frozenset[str] = frozenset()) -> None:
        self._denials = denials
        self._by_word: dict[str, list[tuple[_Slot, ...]]] = {}
        self._by_beginning: list[tuple[_Slot, ...]] = []
        for line in table:
            self._add(_slots(fold(line).split()))

    def _add(self, slots: tuple[_Slot, ...]) -> None:
        for word in slots[0].words:
            self._by_word.setdefault(word, []).append(slots)
        if slots[0].beginnings:
            self._by_beginning.append(slots)

    def find(self, words: list[str]) -> Iterator[Found]:
        """Every place where a phrase stands in a sentence, from its beginning on."""
        for at, word in enumerate(words):
            for slots in [*self._by_word.get(word, ()), *self._by_beginning]:
                end = self._end(words, at, slots)
                if end:
                    yield Found(at, end, word in self._denials)

    def is_whole(self, words: list[str]) -> bool:
        """Whether the sentence is one phrase and nothing else."""
        return any(found.start == 0 and found.end == len(words) for found in self.find(words[: 4 * GAP]))

    def _end(self, words: list[str], at: int, slots: tuple[_Slot, ...]) -> int:
        """Where the phrase ends that begins at `at`; 0 if it does not stand there."""
        if at >= len(words) or not slots[0].takes(words[at]):
            return 0
        if len(slots) == 1:
            return at + 1
        for step in self._steps(words, at + 1, slots[1].gap):
            if end := self._end(words, step, slots[1:]):
                return end
        return 0

    def _steps(self, words: list[str], at: int, gap: bool) -> Iterator[int]:
        skipped = 0
        while at < len(words):
            if words[at] != PAUSE:
                yield at
                skipped += 1
                if not gap or skipped > GAP or words[at] in self._denials:
                    return
            at += 1


def _slots(parts: list[str]) -> tuple[_Slot, ...]:
    slots, gap = [], False
    for part in parts:
        if part == "...":
            gap = True
            continue
        words = part.split("/")
        beginnings = tuple(word[:-1] for word in words if word.endswith("*"))
        slots.append(_Slot(frozenset(word for word in words if not word.endswith("*")), beginnings, gap))
        gap = False
    return tuple(slots)


def near(one: str, other: str) -> bool:
    """Whether one letter more, less or other, or two neighbours swapped, make one word of the other."""
    if abs(len(one) - len(other)) > 1 or one == other:
        return one == other
    at = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    rest, rest_other = one[at:], other[at:]
    swapped = rest[1:2] + rest[:1] + rest[2:] == rest_other and len(rest) > 1
    return swapped or rest[1:] == rest_other[1:] or rest[1:] == rest_other or rest == rest_other[1:]
