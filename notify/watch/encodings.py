"""Finds out in which encoding a text file is written, and whether it is text at all; reads it once, a part at a time.

A mark at its beginning tells; else it is UTF-8 if all of it can be; else UTF-16 if every second octet is zero; else an
older code page, which can only be judged by what comes out. There no guess is taken that does not look like words: a
file refused is asked about, a name spoilt is not noticed.
"""

from __future__ import annotations

import codecs
import re
import unicodedata
from collections.abc import Iterator
from typing import BinaryIO

from charset_normalizer import from_bytes

from notify.config.settings import Watch
from notify.core.sources import SourceTrouble
from notify.watch.lines import MOST_LINES, too_many, wrong

PART = 1 << 20  # octets read at once
_SAMPLE = 65_536  # octets of lines with other than ASCII signs, enough to judge
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"),
)  # fmt: skip
# Code pages that spreadsheets and tills still write (common practice, no source).
_PAGES = ("cp1252", "cp1250", "cp1251", "cp1253", "cp1254", "koi8_r", "shift_jis", "euc_jp", "gb18030", "euc_kr")
# Signs beside letters that occur in such texts; any other makes a code page unlikely.
_USUAL = frozenset("€£§°²³µ«»‹›–—‘’‚“”„…•™©®½¼¾×·\u00a0、。・「」ー（）：，")
_LETTER = r"[^\W\d_²³¹¼½¾ªºµ]"  # those at the end stand beside letters of any alphabet: m², Nº, µF
_OF_A_WORD = re.compile(_LETTER + "+")
_SPOILT = re.compile(rf"[£€]{_LETTER}|{_LETTER}[§°²³¹«»‹›‚“„…•™©®½¼¾×]{_LETTER}")
_WESTERN = "cp1252"
_MARKED = re.compile(r"[^\W\d_\x00-\x7f]{3}")


def encoding_of(file: BinaryIO, watch: Watch) -> str:
    """The encoding of a whole file, which is then known to be text in it and to have no more lines than are taken."""
    chosen = watch.encoding if watch.encoding != "auto" else _find(file, watch)
    if chosen in ("utf-8", "utf_8", "utf8"):
        chosen = "utf-8-sig"
    _check(file, chosen, watch)
    return chosen


def _find(file: BinaryIO, watch: Watch) -> str:
    start = _start(file)
    for mark, name in _MARKS:
        if start.startswith(mark):
            return name
    if start and (wide := _wide(start)):
        return wide
    if _is_utf8(file):
        return "utf-8"
    return _page(file, watch)


def _start(file: BinaryIO) -> bytes:
    file.seek(0)
    return file.read(4096)


def _parts(file: BinaryIO) -> Iterator[bytes]:
    file.seek(0)
    while part := file.read(PART):
        yield part


def _wide(start: bytes) -> str:
    """UTF-16 without a mark: in words of any alphabet blanks, digits and line ends leave zeros on one side only."""
    even, odd = start[0::2].count(0), start[1::2].count(0)
    if odd > 8 * (even + 1) or (odd and not even and odd * 4 > len(start)):
        return "utf-16-le"
    if even > 8 * (odd + 1) or (even and not odd and even * 4 > len(start)):
        return "utf-16-be"
    return ""


def _is_utf8(file: BinaryIO) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for part in _parts(file):
            decoder.decode(part)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _page(file: BinaryIO, watch: Watch) -> str:
    sample = _telling(file)
    name = _WESTERN if _is_western(sample) else ""
    if not name and (best := from_bytes(sample, cp_isolation=list(_PAGES)).best()):
        name = best.encoding
    if not name or not looks_like_words(sample.decode(name, "replace")):
        raise wrong(
            "It is not told in which encoding it is written",
            f"Save it as UTF-8, or name its encoding in watch.{watch.name}.encoding.",
        )
    return name


def _telling(file: BinaryIO) -> bytes:
    """Lines that are not ASCII alone, from the whole file."""
    found = bytearray()
    for part in _parts(file):
        for line in () if part.isascii() else part.splitlines(keepends=True):
            if not line.isascii():
                found += line[: _SAMPLE - len(found)]
        if len(found) >= _SAMPLE:
            break
    return bytes(found)


def _is_western(sample: bytes) -> bool:
    """Whether the western page gives words in which letters with marks are single ones.

    It is asked first, since the library takes Italian for Slovak on a short sample (ran): both are words.
    """
    try:
        text = sample.decode(_WESTERN)
    except UnicodeDecodeError:
        return False
    return looks_like_words(text) and not _MARKED.search(text)


def looks_like_words(text: str) -> bool:
    """Whether what came out are words with usual signs: each in one alphabet, without other signs within or at it."""
    others = {sign for sign in text if not sign.isascii()}
    if any(not sign.isalpha() and sign not in _USUAL for sign in others) or _SPOILT.search(text):
        return False
    return all(len(_alphabets(word)) < 2 for word in set(_OF_A_WORD.findall(text)) if not word.isascii())


def _alphabets(word: str) -> set[str]:
    """Those of its letters; the three of Japanese, and Chinese signs, may stand together."""
    names = {unicodedata.name(sign, "?").split()[0] for sign in word}
    return {"CJK" if name in ("CJK", "HIRAGANA", "KATAKANA", "KATAKANA-HIRAGANA", "FULLWIDTH") else name
            for name in names}  # fmt: skip


def _check(file: BinaryIO, encoding: str, watch: Watch) -> None:
    decoder, lines = codecs.getincrementaldecoder(encoding)(), 0
    try:
        for part in _parts(file):
            lines += _count(decoder.decode(part))
            if lines > MOST_LINES:
                raise too_many()
        decoder.decode(b"", final=True)
    except UnicodeError:
        raise _no_text(encoding, watch) from None


def _count(text: str) -> int:
    if "\0" in text:
        raise wrong("It is no text", "Export it as CSV or XLSX.")
    return max(text.count("\n"), text.count("\r"))


def _no_text(encoding: str, watch: Watch) -> SourceTrouble:
    return wrong(f"It is not text in {encoding}", f"Save it so, or correct watch.{watch.name}.encoding.")
