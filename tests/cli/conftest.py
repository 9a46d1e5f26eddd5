"""A fresh installation per test, copied from one that `init` made, and commands run in it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from notify.cli.main import run
from tests.parts.installation import Installation, make_installation


@dataclass
class Said:
    """What a command answered."""

    code: int
    out: str
    err: str

    @property
    def data(self) -> Any:
        """The JSON on the output."""
        return json.loads(self.out)

    @property
    def problem(self) -> Any:
        """The JSON object of an error."""
        return json.loads(self.err)


@dataclass
class Shop:
    """An installation and its commands: `shop("ticket", "list")`; `shop.ok` demands success."""

    installation: Installation
    _capture: Any

    def __call__(self, *words: str) -> Said:
        """Runs one command in the installation's folder."""
        self._capture.readouterr()
        code = run(list(words), here=self.installation.config.parent)
        told = self._capture.readouterr()
        return Said(code, told.out, told.err)

    def ok(self, *words: str) -> Said:
        """Runs one command that must succeed."""
        said = self(*words)
        assert said.code == 0, (words, said.err, said.out)
        return said

    def check_in(self, *options: str) -> str:
        """Checks a radio in; its claim number as printed."""
        words = ("check-in", "--device", "Halyard pocket radio", "--name", "Ida Moss", "--email", "ida@example.org")
        return str(self.ok(*words, "--json", *options).data["numbers"][0])

    def shelve(self, number: str) -> None:
        """Through all phases onto the shelf."""
        for phase in ("inspecting", "in_line", "on_bench", "proving", "on_shelf"):
            self.ok("ticket", "move", number, phase)


@pytest.fixture(scope="session")
def first_installation(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Made once; every test works on a copy."""
    return make_installation(tmp_path_factory.mktemp("first")).config.parent


@pytest.fixture
def shop(first_installation: Path, tmp_path: Path, capsys: Any) -> Iterator[Shop]:
    """A shop of one's own, without links for customers."""
    home = tmp_path / "shop"
    shutil.copytree(first_installation, home)
    yield Shop(Installation(home / "config.toml", 8600), capsys)


@pytest.fixture
def in_folder(capsys: Any) -> Callable[..., Said]:
    """Runs a command in any folder: `in_folder(path, "init")`."""

    def do(folder: Path, *words: str) -> Said:
        capsys.readouterr()
        code = run(list(words), here=folder)
        told = capsys.readouterr()
        return Said(code, told.out, told.err)

    return do
