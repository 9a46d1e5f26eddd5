"""Whatever statement of a command fails, the command has done all of it or nothing, and says so in one line."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import click
import pytest
from sqlalchemy import Engine, event

from notify.cli.main import FAULT, cli
from notify.wiring import system_clock
from tests.cli.conftest import Shop

Words = Callable[["Story"], tuple[str, ...]]


class Cut(Exception):
    """The fault that is injected."""


@dataclass
class Seen:
    """What happened on all engines: statements so far, and writing transactions of the main database committed."""

    statements: int = 0
    commits: int = 0
    looks_noted: int = 0  # who looked at a contact is noted beside the command's own work, and is none of it
    hit: bool = False


@contextmanager
def cut_at(n: int) -> Iterator[Seen]:
    """The n-th statement on any engine fails; a commit counts as one."""
    seen = Seen()

    def count() -> None:
        seen.statements += 1
        if seen.statements == n:
            seen.hit = True
            raise Cut

    def statement(connection: Any, _cursor: Any, text: str, *_: Any) -> None:
        if "contact_reads" in text:
            connection.info["noted"] = True
        count()

    def commit(connection: Any) -> None:
        noted = connection.info.pop("noted", False)
        count()
        main = not str(connection.engine.url.database).endswith("keys.db")
        seen.looks_noted += noted
        seen.commits += main and not noted and bool(connection.get_execution_options().get("writes"))

    event.listen(Engine, "before_cursor_execute", statement)
    event.listen(Engine, "commit", commit)
    try:
        yield seen
    finally:
        event.remove(Engine, "before_cursor_execute", statement)
        event.remove(Engine, "commit", commit)


@dataclass
class Story:
    """The shop and what came of it so far."""

    shop: Shop
    folder: Path
    made: dict[str, Any] = field(default_factory=dict)

    @property
    def number(self) -> str:
        """The claim number of the radio, which no list shows once it is handed back."""
        if "number" not in self.made:
            self.made["number"] = self.shop.ok("ticket", "list", "--json").data[-1]["number"]
        return str(self.made["number"])

    def soon(self, days: int) -> str:
        return (system_clock() + timedelta(days=days)).isoformat(timespec="minutes")

    def slot(self, n: int) -> str:
        return str(self.shop.ok("pickup", "slots", self.number, "--json").data[n]["slot"])

    def feed(self) -> str:
        return str(self.shop.ok("feed", "list", "--json").data[0]["id"])

    def token(self) -> str:
        return str(self.shop.ok("token", "list", "--json").data[0]["id"])

    def password(self) -> str:
        file = self.folder / "password"
        file.write_text("solder-and-tea\n")
        file.chmod(0o600)
        return str(file)


def on(*words: str) -> Words:
    """A command whose third word is the radio's number."""
    return lambda s: (*words[:2], s.number, *words[2:])


def plain(*words: str) -> Words:
    return lambda s: words


# Every command that writes, in the order of a repair. Those of several transactions stand in SEVERAL, with the reason.
COMMANDS: tuple[Words, ...] = (
    plain("shop", "set", "name=Rope Walk Bench"),
    plain("shop", "hours", "sun", "11:00-15:00", "--capacity", "1"),
    lambda s: ("shop", "closed", f"{system_clock().year + 1}-12-25", "--reason", "holiday"),
    plain("shop", "supplier", "Harbour Parts", "--cutoff", "16:00", "--delivers-at", "09:30", "--days", "1"),
    lambda s: ("staff", "add", "Jonas", "technician", "--password-file", s.password()),
    plain("staff", "change", "Jonas", "--role", "counter"),
    plain("staff", "bench", "Jonas", "off"),
    lambda s: ("staff", "away", "Jonas", s.soon(5)[:10], s.soon(9)),
    lambda s: ("staff", "back", "Jonas", s.soon(6)[:10]),
    plain("staff", "bell", "Jonas", "--email", "jonas@example.org"),
    plain("kind", "set", "Handheld screen", "45", "--rename", "Handheld display"),
    plain("kind", "retire", "Handheld display"),
    plain("kind", "first"),
    plain("kind", "set", "Tape belt", "40", "--class", "radio"),
    plain("feed", "make", "phone at the counter"),
    lambda s: ("feed", "revoke", s.feed()),
    plain("token", "add", "books at night", "--scope", "tickets:read"),
    lambda s: ("token", "revoke", s.token()),
    plain("listener", "add", "Wall clock", "https://clock.example.org/told"),
    plain("listener", "pause", "Wall clock"),
    plain("listener", "resume", "Wall clock"),
    plain("listener", "key", "Wall clock"),
    plain("listener", "drop", "Wall clock"),
    plain("uncollected", "rule-set", "own", "--name", "Quillhaven", "--before", "30", "--after", "60",
          "--form", "a letter", "--source", "the town's book of laws"),
    plain("check-in", "--device", "Halyard radio", "--name", "Ida Moss", "--email", "ida@example.org"),
    on("ticket", "move", "inspecting", "--note", "dusty"),
    on("ticket", "undo"),
    on("ticket", "lost"),
    on("ticket", "note", "screw missing"),
    on("ticket", "place", "B3"),
    on("ticket", "kind", "Tape belt"),
    on("ticket", "safety", "wet"),
    on("ticket", "paid", "--price", "30"),
    on("ticket", "reissue"),
    lambda s: ("question", "ask", s.number, "price", "New speaker?", "--price", "48.50", "--until", s.soon(6)),
    on("question", "answer", "accept", "--said-by", "Ida, on the phone"),
    on("question", "take-back"),
    on("question", "withdraw"),
    on("part", "need", "potentiometer"),
    on("part", "order", "Harbour Parts"),
    on("part", "line", "--slip", "PS 77"),
    lambda s: ("part", "due", s.number, s.soon(2)),
    on("part", "arrive"),
    on("part", "not-here"),
    on("part", "arrive"),
    lambda s: ("promise", "set", s.number, s.soon(3), "--why", "part_late"),
    on("person", "contact", "sms", "07700 900222"),
    on("person", "stop", "email", "--for", "pickup"),
    on("person", "language", "de"),
    on("consent", "withdraw", "email", "--for", "repair"),
    plain("suppression", "add", "email", "nobody@example.org"),
    on("hold", "set", "dispute", "--note", "the hum is back"),
    on("ticket", "move", "in_line"),
    on("bench", "first"),
    plain("bench", "usual"),
    plain("bench", "undo"),
    plain("forecast", "run"),
    on("ticket", "move", "on_bench"),
    on("ticket", "move", "on_shelf"),
    on("ticket", "correct", "--reason", "pressed by mistake"),
    on("ticket", "move", "on_shelf"),
    lambda s: ("pickup", "book", s.number, s.slot(0)),
    lambda s: ("pickup", "book", s.number, s.slot(5)),
    lambda s: ("pickup", "move", s.number, s.made.setdefault("moved", s.slot(6))),
    lambda s: ("shop", "closed", s.made["moved"][:10]),  # and the pickup is hit
    on("pickup", "stay"),
    on("uncollected", "step", "wiped"),
    on("pickup", "cancel"),
    on("handover", "pass", "Nell Ford"),
    on("handover", "revoke", "Nell Ford"),
    on("handover", "give", "--checked", "knows the fault"),
    on("handover", "undo", "--reason", "wrong_person"),
)  # fmt: skip
SEVERAL = {
    "backup": "files, no row; tests/flows/test_backup",
    "restore": "files, then a database that is not in place yet; tests/flows/test_backup",
    "keep set": "asks first what it would do, in a transaction that changes nothing; tests/flows/test_keeping",
    "key rotate": "files and rows in turn, and run again it finishes; tests/store/test_key_rotation",
    "key retire": "a file; tests/store/test_key_rotation",
    "forget": "keys, copies and rows go one after the other, so that every cut leaves less, never more",
    "init": "writes files, then a database; tests/cli/test_init_on_another_database",
    "inbox": "a letter each; tests/inbox",
    "doubt mean": "the word, then what waits for it, a hundred to a transaction; tests/watch/test_watch_command",
    "doubt leave": "a hundred to a transaction with --all",
    "listener ping": "calls out; tests/dispatch/test_tell_listeners",
    "print pad": "numbers, then a file, and the numbers are given back without it; tests/cli/test_pad_commands",
    "source key": "writes a file of keys, no table; tests/cli/test_source_key",
    "watch": "a file each; tests/watch",
    "history import": "some thousand lines each; tests/flows/test_history",
    "upgrade": "steps of the schema; tests/store/test_migrations",
    "demo": "an invented shop in a folder of its own",
    "serve": "runs until it is stopped; tests/real",
    "web": "the same",
    "worker": "the same",
}
# They need a state that takes days, or one that their own tests make; their flows are cut off in tests/flows.
ELSEWHERE = {
    "bench refuse",
    "bench suggest",
    "bench take",
    "consent give",
    "hold end",
    "hold review",
    "person child",
    "request add",
    "request done",
    "request extend",
    "request lift",
    "request of-reply",
    "request prove",
    "request refuse",
    "request withdraw",
    "suppression end",
    "call log",
    "doubt link",
    "doubt take",
    "history drop",
    "kind relearn",
    "listener retry",
    "pad void",
    "part another",
    "part back",
    "part dead",
    "part give",
    "part not-needed",
    "part order-again",
    "part use",
    "shop add",
    "message resend",
    "reply seen",
    "pickup answer",
    "ticket lift-hold",
}
# Those that only show -> what else stands in the line, so that each can be called (tests/web/test_contact_reads.py).
READING = {
    "access-log": "", "consent show": "{number}", "erasure list": "", "erasure show": "{record_id}", "held": "",
    "hold list": "", "keep list": "", "key check": "", "key show": "", "record": "--out {file}",
    "request export": "{request_id} {file}", "request list": "", "request show": "{request_id}",
    "suppression list": "", "api describe": "", "api list": "", "check": "", "doubt list": "",
    "doubt show": "{doubt_id}", "listener kinds": "", "listener list": "", "pad list": "", "preview": "ready",
    "print ticket": "{number} {file}", "print day-sheet": "{file} --day today", "shop list": "", "source list": "",
    "source show": "bench", "token list": "", "why": "{number}", "replies": "", "ticket list": "",
    "ticket show": "{number}", "part list": "", "promise suggest": "{number}", "promise report": "", "bench order": "",
    "forecast show": "", "forecast report": "", "forecast picture": "time --out {file}", "pickup slots": "{number}",
    "pickup list": "", "call list": "", "message list": "", "message show": "{message_id}", "staff list": "",
    "shop show": "", "messages cost": "", "feed list": "", "pickup answers": "", "pickup capacity": "",
    "pickup hit": "", "shop holidays": "", "kind list": "", "history report": "", "uncollected list": "--all",
    "uncollected rules": "", "uncollected notice": "{number} {file}",
}  # fmt: skip


def leaves() -> set[str]:
    """Every command there is, as its words."""
    found: set[str] = set()
    for name in cli.list_commands(click.Context(cli)):
        command = cli.get_command(click.Context(cli), name)
        inner = command.commands if isinstance(command, click.Group) else {}
        found |= {f"{name} {word}" for word in inner} or {name}
    return found


class Nowhere(Story):
    """A story that is only asked for its words."""

    number = "N"

    def slot(self, n: int) -> str:
        return "S"

    def feed(self) -> str:
        return "F"

    def token(self) -> str:
        return "T"


def test_every_command_is_cut_off_or_says_why_not(shop: Shop, tmp_path: Path) -> None:
    story = Nowhere(shop, tmp_path)
    cut = {" ".join(words[:2]) for words in (one(story) for one in COMMANDS)} | {"check-in"}
    missing = leaves() - cut - ELSEWHERE - set(READING) - set(SEVERAL)
    assert not missing, f"put {sorted(missing)} into COMMANDS, or say why not"


@dataclass
class Tally:
    """Sums over the story."""

    failed: int = 0
    partial: int = 0
    traces: int = 0


class Disk:
    """The shop's data folder: can be set back, and says whether anything was committed to its main database."""

    def __init__(self, data: Path, aside: Path) -> None:
        self._data, self._aside = data, aside
        self._look: sqlite3.Connection | None = None
        self._version = -1

    def keep(self) -> None:
        """Remembers the folder as it is now."""
        self.close()
        shutil.rmtree(self._aside, ignore_errors=True)
        shutil.copytree(self._data, self._aside)

    def set_back(self) -> None:
        """Makes it as it was."""
        self.close()
        shutil.rmtree(self._data)
        shutil.copytree(self._aside, self._data)

    def changed(self) -> bool:
        """Whether somebody committed since the last look (SQLite's data_version)."""
        self._look = self._look or sqlite3.connect(self._data / "shelfbell.db")
        before, self._version = self._version, self._look.execute("pragma data_version").fetchone()[0]
        return before != self._version

    def close(self) -> None:
        if self._look is not None:
            self._look.close()
        self._look = None


def carry_out(story: Story, words: tuple[str, ...], disk: Disk, tally: Tally, *, each: int) -> None:
    """One command in peace, undone; then with a fault at each statement (or every fifth) until it has gone through."""
    disk.keep()
    with cut_at(0) as whole:
        said = story.shop(*words)
    assert (said.code, whole.commits) == (0, 1), (words, said.err, whole)
    disk.set_back()
    for n in (*range(1, whole.statements + 1, each), whole.statements + 1):
        disk.changed()
        with cut_at(n) as seen:
            said = story.shop(*words)
        changed = disk.changed() and (seen.commits > 0 or not seen.looks_noted)
        tally.traces += "Traceback" in said.err or "Cut" in said.out
        if not seen.hit:
            assert said.code == 0 and changed, (words, said.err)
            return
        assert said.code == FAULT and len(said.err.splitlines()) == 1, (words, said.err)
        tally.failed += 1
        tally.partial += changed != (seen.commits == 1)
        if changed:  # cut off after its one transaction, in what it shows: it is done
            return
    raise AssertionError(f"{words} never went through")


@pytest.mark.long
@pytest.mark.parametrize("each", [5, pytest.param(1, marks=pytest.mark.deep)], ids=["every fifth", "every one"])
def test_a_command_cut_off_at_any_statement_has_done_all_of_it_or_nothing(
    shop: Shop, tmp_path: Path, each: int
) -> None:
    """The flows behind them are cut off at every one, each time (tests/flows/test_all_or_nothing.py)."""
    story, tally = Story(shop, tmp_path), Tally()
    disk = Disk(shop.installation.config.parent / "data", tmp_path / "aside")
    for words in COMMANDS:
        carry_out(story, words(story), disk, tally, each=each)
    disk.close()
    print(f"FIGURE A1_commands commands={len(COMMANDS)} statements_failed={tally.failed} "
          f"partial_commits={tally.partial} tracebacks={tally.traces}")  # fmt: skip
    assert tally.partial == tally.traces == 0 and tally.failed > 800 / each
