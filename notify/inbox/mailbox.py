"""What every mailbox can do: show its letters one by one, forget a handled one, and remove what is old."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

MOST_LETTERS = 200  # in one go; the others wait for the next


@dataclass(frozen=True, slots=True)
class Held:
    """One letter that lies in a mailbox, not handled yet.

    `uid` names it there, `size` is what the mailbox says in octets (0: it does not say). `read()` gives its bytes; of a
    letter over `letter.LARGEST` it gives the beginning with the header only, so `read_letter` must be told the size,
    too. It raises NotFound when the letter has gone meanwhile, and Conflict when the mailbox does not answer as it
    should.
    """

    uid: str
    size: int
    read: Callable[[], bytes]


class Mailbox(Protocol):
    """A place where letters arrive. What goes wrong comes out as one of `notify.core.errors`, without any address."""

    def letters(self) -> Iterator[Held]:
        """The letters that were not handled yet, oldest first, at most MOST_LETTERS in one go."""

    def done(self, uid: str) -> None:
        """The letter was handled and that is committed: it is not shown again. A letter that has gone is no error."""

    def remove_older(self, than: datetime) -> int:
        """Remove handled letters that arrived before the instant `than` (aware); how many went."""

    def handled(self) -> Iterator[Held]:
        """Every handled letter, to be read again."""

    def remove(self, uids: Sequence[str]) -> None:
        """Remove these letters, whatever their age. One that has gone is no error."""

    def close(self) -> None:
        """End the connection; never raises."""
