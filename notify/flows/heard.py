"""A row of a source as it is held against what is known: its key, hash, words, time and version."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from notify.core.source_order import Said
from notify.core.sources import Batch, Change, Doubt
from notify.flows.deliveries import Doubtful
from notify.store.sources import Row

Mark = Callable[[str], str]  # a keyed hash
AHEAD = timedelta(minutes=5)  # how far another system's clock may run before ours
_TEXT = 31  # signs of each of the two halves of `said`


@dataclass(frozen=True, slots=True)
class Heard:
    """A row as it is held against what is known: its key, hash, words, time and version.

    `word` and `part` name its words for phase and part ("" for none). `since`: when the source had been looked at
    before it said this. `force`: a person here decided that it counts against what was done here later.
    """

    change: Change
    row_key: str
    digest: str
    word: str
    part: str
    told_at: datetime | None
    version: str
    since: datetime | None
    force: bool = False
    decided_by: str = ""

    @property
    def said(self) -> Said:
        """For core/source_order."""
        return Said(self.word, self.told_at, self.version)

    def row(self, ticket_id: str, at: datetime, known: Row | None) -> Row:
        """What is remembered of it once it is settled. What it does not say stays as it was said before."""
        before, part_before = known_words(known)
        phase, part = self.word or before, self.part or part_before
        return Row(
            self.row_key, self.digest, ticket_id, at, f"{phase}:{part}" if phase or part else "",
            self.told_at or (known.told_at if known else None), self.version or (known.version if known else ""),
        )  # fmt: skip


def word_key(text: str) -> str:
    """Names a word of a source: the same for any capitals; "" for none."""
    said = text.strip().casefold()
    return hashlib.sha256(said.encode()).hexdigest()[:_TEXT] if said else ""


def known_words(row: Row | None) -> tuple[str, str]:
    """The names of the words for phase and part that were last taken."""
    phase, _, part = (row.said if row else "").partition(":")
    return phase, part


def row_key(batch: Batch, change: Change, mark: Mark) -> str:
    """Names what a row speaks of: never the reference itself, which may hold somebody's name.

    Keyed by `mark`, as is all that is kept of a row: a plain hash of a name or a telephone number can be guessed, and
    it stays when the person is forgotten.
    """
    cells = change.cells
    name = change.key or cells.get("reference", "").strip()
    if batch.about == "deliveries" and not change.key:
        name = "\0".join(cells.get(one, "").strip() for one in ("reference", "order", "slip", "article", "part"))
    return mark(_hash(name if name.strip("\0") else f"\0{sorted(cells.items())!r}"))


def digest_of(change: Change, mark: Mark) -> str:
    """Names everything that a row says; keyed, as in row_key."""
    return mark(_hash(repr(sorted(change.cells.items()))))


def part_words(cells: Mapping[str, str]) -> str:
    """What a row says of a part, as one word; "" for nothing."""
    said = [cells.get(name, "").strip() for name in ("part", "part_state")]
    return word_key("\0".join(said)) if any(said) else ""


def moment(batch: Batch, cells: Mapping[str, str], now: datetime) -> datetime | None:
    """The row's own time, if it names one; raises Doubtful for one that cannot be read or lies ahead."""
    text = cells.get("changed_at", "").strip()
    if not text:
        return None
    try:
        at = datetime.fromisoformat(text)
        at = at if at.tzinfo else at.replace(tzinfo=ZoneInfo(batch.zone))
        at = at.astimezone(ZoneInfo("UTC"))
    except (ValueError, OverflowError):
        raise Doubtful(Doubt.UNREADABLE, f"The time {text[:40]!r} cannot be read",
                       "It should look like 2026-11-26T11:30.", field="changed_at") from None  # fmt: skip
    if at > now + AHEAD:
        raise Doubtful(Doubt.UNREADABLE, "The time of this change lies ahead",
                       "Check that system's clock and its time zone.", field="changed_at")  # fmt: skip
    return min(at, now)


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
