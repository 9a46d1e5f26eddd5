"""Collects the lines that start with FIGURE from passing tests and shows them at the end of the run."""

from __future__ import annotations

import pytest


class Figures:
    """Reads what each test printed; with several workers the lines travel inside their reports."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep the figures of a test's own phase, and only if it passed."""
        if report.when == "call" and report.passed:
            self.lines += [line for line in report.capstdout.splitlines() if line.startswith("FIGURE ")]

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Print them above the closing line."""
        if self.lines:
            terminalreporter.section("figures")
            for line in sorted(set(self.lines)):
                terminalreporter.write_line(line)


def pytest_configure(config: pytest.Config) -> None:
    """Every process of the run has its own list; only the one with a terminal prints."""
    config.pluginmanager.register(Figures(), "figures-of-passing-tests")
