"""Lines of a text file one by one, each bounded in length, and some of them once more where a reader must step back."""

from __future__ import annotations

import io
import os
from collections import deque
from collections.abc import Sequence
from typing import Any, BinaryIO

from notify.watch.lines import LONGEST_LINE


class TextLines:
    """`next_line()` gives a line with its end, or "" at the end of the file; `number` is that of the last one given.

    A line that is too long is cut, and `cut` holds its number: the rest of it is skipped, never kept.
    """

    def __init__(self, file: BinaryIO, encoding: str) -> None:
        self._text = io.TextIOWrapper(io.BufferedReader(_Own(file)), encoding, newline="")
        self._back: deque[str] = deque()
        self.number = 0
        self.cut: set[int] = set()

    def next_line(self) -> str:
        """The next line; "" at the end."""
        if self._back:
            self.number += 1
            return self._back.popleft()
        line = self._text.readline(LONGEST_LINE)
        if not line:
            return ""
        self.number += 1
        if len(line) == LONGEST_LINE and not line.endswith(("\n", "\r")):
            self._skip()
            self.cut.add(self.number)
            return line[:200] + "\n"
        return line

    def give_back(self, lines: Sequence[str]) -> None:
        """These lines, the last that were given, come again."""
        self._back.extendleft(reversed(lines))
        self.number -= len(lines)

    def _skip(self) -> None:
        while (rest := self._text.readline(LONGEST_LINE)) and not rest.endswith(("\n", "\r")):
            pass


class _Own(io.RawIOBase):
    """A file with a place of its own in it, whoever else reads or closes it elsewhere."""

    def __init__(self, file: BinaryIO) -> None:
        self._file, self._at = file, 0

    def readable(self) -> bool:
        """It is."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Fills the buffer; how many octets there were."""
        count = os.preadv(self._file.fileno(), [buffer], self._at)
        self._at += count
        return count
