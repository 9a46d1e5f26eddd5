"""Hears every log line of the whole run, of services in processes of their own too: none may name anybody (E4).

A line of the product's own loggers is searched as it was before the redactor, which is only the second net; one of a
library as the product would write it. Whoever names somebody fails the test in which it was said.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from notify.cli.logs import TextLines

ROOT = Path(__file__).resolve().parents[2]
OURS = "shelfbell"
# They plant what the redactor has to take out.
PLANTING = frozenset({"test_the_log_of_a_busy_house_holds_no_seeded_number_address_or_secret"})
# Addresses of the domains of RFC 2606 and RFC 6761, and the numbers that Ofcom keeps free for stories, however spelt.
_ADDRESS = re.compile(r"\S(?:@|%40)(?:[\w-]+\.)*(?:example\.(?:org|com|net)|example|test|invalid)\b", re.IGNORECASE)
_NUMBER = re.compile("|".join(r"\W{0,2}".join(digits) + r"(?:\W{0,2}\d){3}" for digits in ("7700900", "1632960")))
_NAME = re.compile(r"\b[A-ZÄÖÜ]\w+ [A-ZÄÖÜ]\w+")
_OWN = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime", "taskName"}


def names() -> frozenset[str]:
    """Everybody whom the demo and the house of the tests invent; their shop's own name is no secret."""
    parts = ROOT / "tests" / "parts"
    files = [*(ROOT / "notify" / "cli").glob("demo*.py"), parts / "house.py", parts / "full_shop.py"]
    quoted = re.compile(f'"({_NAME.pattern})"')
    return frozenset(name for file in files for name in quoted.findall(file.read_text("utf-8"))) - {"Tramstop Bench"}


NAMES = names()


def names_somebody(line: str) -> bool:
    """Whether an address, a number or a name of the invented town stands in it."""
    bare = re.sub(r"\W", "", line)
    return bool(
        (("@" in line or "%40" in line) and _ADDRESS.search(line))
        or (("7700900" in bare or "1632960" in bare) and _NUMBER.search(line))
        or not NAMES.isdisjoint(_NAME.findall(line))
    )


class Ear(logging.Handler):
    """Every record of this process, and lines that others wrote."""

    def __init__(self) -> None:
        super().__init__()
        self.setFormatter(TextLines())
        self.lines = self.hits = 0
        self.found: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Searches one record. What was said stays unsaid: the name of the logger is enough to find it."""
        if record.name.startswith(OURS):
            told = [str(value) for key, value in vars(record).items() if key not in _OWN]
            self.hear(" ".join([record.getMessage(), *told]).replace("\n", " "), by=record.name)
        else:
            self.hear(self.format(record), by=record.name)

    def hear(self, text: str, *, by: str) -> None:
        """Searches what was written as log, line by line."""
        for line in text.splitlines():
            self.lines += 1
            if names_somebody(line):
                self.found.append(by)

    def take_found(self) -> list[str]:
        """Who named somebody since the last call."""
        taken, self.found = self.found, []
        return taken


EAR = Ear()


@pytest.fixture(autouse=True)
def _names_nobody_in_logs(request: pytest.FixtureRequest) -> Iterator[None]:
    """Listens from INFO on, as `shelfbell serve` does; pytest's own handlers stay at warnings (pyproject.toml)."""
    logging.getLogger(OURS).setLevel(logging.INFO)
    if EAR not in logging.getLogger().handlers:
        logging.getLogger().addHandler(EAR)
    yield
    found = EAR.take_found()
    if found and request.node.originalname not in PLANTING:
        EAR.hits += len(found)
        pytest.fail(f"somebody stands in what was logged by {', '.join(sorted(set(found)))}", pytrace=False)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """A worker tells how much it heard."""
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["log_ear"] = [EAR.lines, EAR.hits]


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """What one of them heard belongs to the sum."""
    lines, hits = getattr(node, "workeroutput", {}).get("log_ear", (0, 0))
    EAR.lines, EAR.hits = EAR.lines + lines, EAR.hits + hits


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Once, above the closing line."""
    terminalreporter.write_line(f"FIGURE E4_suite lines={EAR.lines} hits={EAR.hits}")
