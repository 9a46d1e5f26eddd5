"""A watched folder for tests: its settings, files laid into it, and looks with a clock that the test moves."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from notify.config.settings import Watch
from notify.config.table import SETTINGS, WATCH
from notify.core.sources import SourceTrouble
from notify.core.tickets import Phase
from notify.store import tickets
from notify.watch.folder import look
from notify.watch.lines import Line, Sheet
from notify.watch.report import Report
from notify.watch.whole import Memory

COLUMNS = {"reference": "Job", "phase": "Where", "changed_at": "When", "device": "What", "name": "Who",
           "email": "Mail"}  # fmt: skip
WORDS = {"came in": "taken_in", "on the bench": "on_bench", "done": "repaired", "no luck": "unrepaired"}
HEADER = "Job,Where,When,What,Who,Mail\n"
LINE = "J-{},came in,,Radio,,\n"
LIMIT = 4_000_000


def make_watch(folder: Path, **changed: Any) -> Watch:
    """A source with the defaults of the settings, our columns and words, and what is `changed`."""
    values = {one.key.rpartition(".")[2]: one.default for one in SETTINGS if one.key.startswith(WATCH)}
    told = values | {
        "name": "bench", "folder": folder, "columns": tuple(COLUMNS.items()), "phase_words": tuple(WORDS.items()),
        "part_words": (), "zone": "Europe/London", "secret_file": None, "old_secret_file": None, "password_file": None,
    }  # fmt: skip
    return Watch(**(told | changed))


@dataclass
class Hand:
    """Lays files into a folder and looks at it, in a time of its own."""

    folder: Path
    now: float = 1_000.0

    def __post_init__(self) -> None:
        self.folder.mkdir(exist_ok=True)
        self.watch = make_watch(self.folder)
        self.memory = Memory()

    def drop(self, text: str | bytes, *, name: str = "jobs.csv", age: float = 60) -> Path:
        """A file as another program left it so many seconds ago; text gets our header."""
        file = self.folder / name
        file.write_bytes(text if isinstance(text, bytes) else (HEADER + text).encode())
        os.utime(file, (time.time() - age, time.time() - age))
        return file

    def wait(self, seconds: float) -> None:
        """Time goes by."""
        self.now += seconds

    def take(self, house: Any, **more: Any) -> tuple[Report, ...]:
        """One look."""
        ways: dict[str, Any] = {"memory": self.memory, "clock": lambda: self.now, "pause": self.wait}
        return look(house.ctx, house.shop_id, more.pop("watch", self.watch), **({"limit_bytes": LIMIT} | ways | more))

    def lying(self, drawer: str) -> list[Path]:
        """What lies in `taking`, `taken` or `refused`."""
        inner = self.folder / drawer
        return sorted(inner.iterdir()) if inner.is_dir() else []


def all_lines(opener: Any, data: bytes, watch: Watch, folder: Path, **more: Any) -> tuple[Sheet, list[Line]]:
    """What a reader makes of these octets."""
    with laid(data, folder) as file:
        sheet = opener(file, watch, **more)
        return sheet, list(sheet.lines)


def laid(data: bytes, folder: Path) -> BinaryIO:
    """The octets as an open file."""
    file = folder / "laid"
    file.write_bytes(data)
    return file.open("rb")


def cells(lines: list[Line], word: str) -> list[str]:
    """One column of the lines that could be read."""
    return [line.cells.get(word, "") for line in lines if not line.fault]


def refusal(opener: Any, data: bytes, watch: Watch, folder: Path, **more: Any) -> str:
    """Why a file is refused as a whole; "" when it is not."""
    try:
        all_lines(opener, data, watch, folder, **more)
    except SourceTrouble as trouble:
        return str(trouble)
    return ""


def phase_of(house: Any, number: str) -> Phase:
    """Where a ticket stands."""
    with house.read() as unit:
        return tickets.find_by_number(unit, number).phase


def count_tickets(house: Any) -> int:
    """How many there are."""
    with house.read() as unit:
        return len(tickets.tickets_in(unit, list(Phase)))
