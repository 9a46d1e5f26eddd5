"""Lines of a text file one by one, each bounded in length, and some of them once more where a reader must step back."""

from __future__ import annotations

import io
from collections import deque
from collections.abc import Sequence
from typing import BinaryIO

from notify.watch.lines import LONGEST_LINE


class TextLines:
    """`next_line()` gives a line with its end, or "" at the end of the file; `number` is that of the last one given.

    A line that is too long is cut, and `cut` holds its number: the rest of it is skipped, never kept.
    """

    def __init__(self, file: BinaryIO, encoding: str) -> None:
        file.seek(0)
        self._text = io.TextIOWrapper(_Kept(file), encoding, newline="")
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


class _Kept(io.BufferedReader):
    """A reader whose file stays open when it is dropped."""

    def __init__(self, file: BinaryIO) -> None:
        super().__init__(io.FileIO(file.fileno(), closefd=False))
