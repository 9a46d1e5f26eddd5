"""Reads what a person wrote back as a wish: stop, start, help. A little long: its readings are tried in one order.

Everything else is for people. The readings share how words turn each other around.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from notify.core import reply_phrases as table
from notify.core.phrases import PAUSE, Found, Phrases, fold, near, split

_HEAD, _TAIL = 2000, 1000  # characters; who wishes something says so at the beginning or at the end
_QUOTED = re.compile('["“„«]([^"“”„«»]*)["“”»]')
_LONG, _SHORT = 7, 4  # letters: one typing error is forgiven in a long word and makes a short one doubtful
_NAME = 3  # words that may follow as a name
_NEIGHBOURS = 4  # words between a verb and what it is about


@dataclass(frozen=True, slots=True)
class Wish:
    """What a text asks for.

    `cls`: stop, start, help; review (a person must look at it before long, see `kind`); none (an ordinary message).
    `kind` is what the reply is filed as: stop, start, help, erasure, question, other. "erasure" also means stop,
    whatever `cls` says. `stop_this_number`: the number is somebody else's, so nothing may go there any more.
    """

    cls: str
    kind: str
    stop_this_number: bool = False


_STOP = Wish("stop", "stop")
_STRONG, _WEAK = Phrases(table.STRONG), Phrases(table.WEAK)
_START, _HELP, _JOB_ALONE = Phrases(table.START), Phrases(table.HELP), Phrases(table.JOB_ALONE)
_STOP_SAID = Phrases(table.STOP_PHRASES, denials=table.DENIALS)
_WELCOME = Phrases(table.WELCOME)
_COMPLAINTS = Phrases(table.COMPLAINTS)
_WRONG = Phrases(table.WRONG_NUMBER, denials=table.DENIALS)
_ERASURE = Phrases(table.ERASURE, denials=table.DENIALS)
_ERASURE_TOO = Phrases(table.ERASURE_TOO, denials=table.DENIALS)


def read_wish(text: str) -> Wish:
    """Read a text message, or what a letter says now (its subject, when it says nothing); bounded in time.

    Rule: 47 CFR 64.1200(a)(10): the seven words that it names, and whatever a reasonable person would read as a wish to
    stop. Where that is in doubt the text goes to a person. To start again takes a whole message that says nothing else.
    """
    folded = fold(_said_now(text if len(text) <= _HEAD + _TAIL else f"{text[:_HEAD]}\n{text[-_TAIL:]}"))
    sentences = split(folded)
    wishes = (read(sentences, folded) for read in _READINGS)
    return next((wish for wish in wishes if wish), Wish("none", _kind(sentences, folded)))


def _said_now(text: str) -> str:
    """Without what is quoted in it and without a signature."""
    kept: list[str] = []
    for line in text.splitlines():
        start = line.strip().casefold()
        if start in ("--", "—", "__") or start.startswith(table.SIGNATURES):
            break
        if not start.startswith(">"):
            kept.append(line)
    whole = "\n".join(kept)
    outside = _QUOTED.sub(lambda quoted: " " if len(quoted[1].split()) > _NAME else quoted[0], whole)
    return outside if outside.strip() else whole


def _whole(sentences: list[list[str]], _folded: str) -> Wish | None:
    """A wish that is all the text says."""
    words = _bare([word for sentence in sentences for word in sentence])
    if not words:
        return None
    spelt = ["".join(words)] if len(words) > 2 and all(len(word) == 1 for word in words) else words
    if _START.is_whole(words):
        return Wish("start", "start")
    if _HELP.is_whole(words):
        return Wish("help", "help")
    return _STOP if _ends_it(spelt) else None


def _ends_it(words: list[str]) -> bool:
    if any(phrases.is_whole(words) for phrases in (_STRONG, _WEAK)):
        return True
    if len(words) == 1 and len(words[0]) >= _LONG:
        return any(near(words[0], known) for known in _SINGLE if len(known) >= _LONG)
    less = [word for word in words if word not in table.STOP_FILLERS]
    return len(less) < len(words) and not _JOB_ALONE.is_whole(words) and _ends_it(less)


def _singles(lines: Iterable[str]) -> frozenset[str]:
    return frozenset(word for line in lines if " " not in line for word in fold(line).split("/") if "*" not in word)


_SINGLE = _singles((*table.STRONG, *table.WEAK))


def _chinese(_sentences: list[list[str]], folded: str) -> Wish | None:
    """Words that are not divided by spaces."""
    signs = "".join(re.findall(r"[^\W_]+", folded))
    whole = signs.removeprefix("请").removesuffix("谢谢")
    return _STOP if whole in table.STOP_WHOLE_PARTS or any(part in signs for part in table.STOP_PARTS) else None


def _wrong_number(sentences: list[list[str]], folded: str) -> Wish | None:
    if any(_holds(_WRONG, words) for words in sentences):
        return Wish("review", _kind(sentences, folded), stop_this_number=True)
    return None


def _erasure(sentences: list[list[str]], folded: str) -> Wish | None:
    for words in sentences:
        too = any(_meant(words, found) for found in _ERASURE_TOO.find(words))
        if too or any(_meant(words, found) for found in _ERASURE.find(words)):
            if not table.DEVICE_DATA.isdisjoint(words):
                return Wish("review", _kind(sentences, folded))
            return Wish("stop" if too else "review", "erasure")
    return None


def _said(sentences: list[list[str]], folded: str) -> Wish | None:
    """A phrase anywhere that means no more messages."""
    doubt = False
    for words in sentences:
        for found in _STOP_SAID.find(words):
            if _meant(words, found):
                if not (_other_sense(words, found) or _welcomes(words, found)):
                    return _STOP
                doubt = True
    return Wish("review", _kind(sentences, folded)) if doubt else None


def _first_or_last(sentences: list[list[str]], folded: str) -> Wish | None:
    """A word that means stop, said before or after something else."""
    told = [bare for bare in map(_bare, sentences) if bare]
    if not told:
        return None
    ends = (told[0], told[-1], _bare(_last_clause(sentences[-1])))
    rest = sum(map(len, told)) - min(map(len, ends))
    words = {word for sentence in told for word in sentence}
    if any(map(_STRONG.is_whole, ends)):
        settled = words.isdisjoint(_WORK_NOUNS | table.SECOND_THOUGHTS)
        return _STOP if settled else Wish("review", _kind(sentences, folded))
    if any(map(_WEAK.is_whole, ends)) and len(told) > 1:
        return _STOP if rest <= _NAME else Wish("review", _kind(sentences, folded))
    return None


def _about_job(sentences: list[list[str]], folded: str) -> Wish | None:
    """To stop, cancel or put off the repair, a part or a booking."""
    alone = any(_JOB_ALONE.is_whole(_bare(words)) for words in sentences)
    if alone or any(_stops_job(words) for words in sentences):
        return Wish("review", _kind(sentences, folded))
    return None


def _stops_job(words: list[str]) -> bool:
    verbs = [at for at, word in enumerate(words) if word in _JOB_VERBS and not _passes_by(words, at)]
    for at in verbs:
        before = words[max(0, at - _NEIGHBOURS) : at] if words[at] in table.LATE_VERBS else []
        if not _JOB_NOUNS.isdisjoint([*words[at + 1 : at + 1 + _NEIGHBOURS], *before]):
            return not _denied(words, at)
    return False


def _doubtful(sentences: list[list[str]], folded: str) -> Wish | None:
    """A short text with a word in it that is close to a stop word, or that is hard to place."""
    words = [word for sentence in sentences for word in _bare(sentence)]
    misspelt = len(words) == 1 and len(words[0]) >= _SHORT and any(near(words[0], known) for known in _SINGLE)
    placed = len(words) <= 2 * _NAME and any(_is_doubtful(sentence) for sentence in sentences)
    calm = any(word in table.DENIALS for word in words)
    if ((misspelt or placed) and not calm) or any(_holds(_COMPLAINTS, sentence) for sentence in sentences):
        return Wish("review", _kind(sentences, folded))
    return None


def _is_doubtful(words: list[str]) -> bool:
    return any(word in table.DOUBTFUL and not _passes_by(words, at) for at, word in enumerate(words))


_JOB_VERBS, _WORK_NOUNS = frozenset(map(fold, table.JOB_VERBS)), frozenset(map(fold, table.WORK_NOUNS))
_JOB_NOUNS = _WORK_NOUNS | table.DEVICE_NOUNS
_READINGS = (_whole, _chinese, _wrong_number, _erasure, _said, _first_or_last, _about_job, _doubtful)


def _kind(sentences: list[list[str]], folded: str) -> str:
    opens = any(words[0] in table.QUESTION_WORDS for words in sentences)
    return "question" if "?" in folded or opens else "other"


def _bare(words: list[str]) -> list[str]:
    """Without words of courtesy, pauses and numbers."""
    return [word for word in words if word != PAUSE and word not in table.FILLERS and not any(map(str.isdigit, word))]


def _last_clause(words: list[str]) -> list[str]:
    return words[len(words) - words[::-1].index(PAUSE) :] if PAUSE in words else words


def _holds(phrases: Phrases, words: list[str]) -> bool:
    return any(True for _ in phrases.find(words))


def _meant(words: list[str], found: Found) -> bool:
    """Whether nothing before or after a phrase turns it around."""
    before = words[found.start - 1] if found.start else ""
    after = words[found.end] if found.end < len(words) else ""
    if found.denies:
        return before not in ("you", "ihr")
    return not (_denied(words, found.start) or after in ("nicht", "not") or _passes_by(words, found.start))


def _denied(words: list[str], at: int) -> bool:
    """Whether a word that denies stands just before, courtesy aside."""
    before = [word for word in words[max(0, at - 3) : at] if word not in table.FILLERS]
    return bool(before) and before[-1] in table.DENIALS


def _passes_by(words: list[str], at: int) -> bool:
    """`I will stop by`, `the bus stop`: a way, not a wish."""
    after = words[at + 1] if at + 1 < len(words) else ""
    around = after in table.AFTER_STOP or (at > 0 and words[at - 1] in table.BEFORE_STOP)
    return around and words[at] in ("stop", "stopp")


def _other_sense(words: list[str], found: Found) -> bool:
    """Whether the words around a phrase speak of a screen, or of messages that did not come."""
    if found.start and words[found.start - 1] in table.ASKING_WHY:
        return True
    clause = set(_clause(words, found))
    got = not clause.isdisjoint(table.RECEIVED) and clause.isdisjoint(table.WISHING)
    return got or not clause.isdisjoint(table.ABOUT_DEVICE)


def _welcomes(words: list[str], found: Found) -> bool:
    """Whether the sentence names a way, or a time, that is welcome all the same."""
    after = words[found.end] if found.end < len(words) else ""
    return after in table.WELCOME_AFTER or any(
        way.end <= found.start or way.start >= found.end for way in _WELCOME.find(words)
    )


def _clause(words: list[str], found: Found) -> Iterator[str]:
    for word in reversed(words[: found.start]):
        if word == PAUSE:
            break
        yield word
    yield from words[found.start : found.end]
    for word in words[found.end :]:
        if word == PAUSE:
            break
        yield word
