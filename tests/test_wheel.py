"""The wheel, installed into an empty environment from the lock, is whole and runs on its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

pytestmark = pytest.mark.real
ROOT = Path(__file__).resolve().parents[1]
VERSION = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
UV = Path(sys.executable).with_name("uv")


@dataclass(frozen=True, slots=True)
class Installed:
    """An environment that holds the wheel and the packages of `requirements/run.txt`, and nothing of this tree."""

    folder: Path

    def run(self, *command: str) -> str:
        """Run a program of this environment in an empty folder with an empty home; what it printed.

        A bare name is looked up in the environment's own folder of programs.
        """
        home = self.folder / "home"
        home.mkdir(exist_ok=True)
        clean = {"PATH": os.defpath, "HOME": str(home), "LANG": "C.UTF-8"}
        program = str(self.folder / "bin" / command[0])
        done = subprocess.run([program, *command[1:]], cwd=home, env=clean, capture_output=True, text=True, check=False)
        assert done.returncode == 0, f"{command} ended with {done.returncode}\n{done.stdout}\n{done.stderr}"
        return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built by the locked build backend."""
    folder = tmp_path_factory.mktemp("wheel")
    _do(sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(folder))
    [file] = folder.glob("*.whl")
    return file


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """An empty environment into which first the lock and then the wheel went."""
    folder = tmp_path_factory.mktemp("installed") / "env"
    lock = str(ROOT / "requirements" / "run.txt")
    if UV.exists():
        _do(str(UV), "venv", "-q", "--python", sys.executable, str(folder))
        install = [str(UV), "pip", "install", "-q", "--python", str(folder / "bin" / "python")]
    else:
        _do(sys.executable, "-m", "venv", str(folder))
        install = [str(folder / "bin" / "python"), "-m", "pip", "install", "-q"]
    _do(*install, "--require-hashes", "-r", lock)
    _do(*install, "--no-deps", str(wheel))
    return Installed(folder)


def test_the_wheel_holds_the_code_the_texts_and_the_example_and_nothing_else(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        held = set(archive.namelist())
        size = sum(entry.file_size for entry in archive.infolist())
    metadata = {name for name in held if name.startswith(f"shelfbell-{VERSION}.dist-info/")}
    templates = {f"notify/_templates/{file}" for file in _files(ROOT / "templates")}
    code = {f"notify/{file}" for file in _files(ROOT / "notify")}
    assert held - metadata == templates | code | {"notify/_templates/config.example.toml"}
    assert any(name.endswith("/LICENSE") for name in metadata)
    print(f"FIGURE wheel files={len(held)} kilobytes={size // 1024} compressed={wheel.stat().st_size // 1024}")


def test_the_installed_command_says_its_version(installed: Installed) -> None:
    assert VERSION in installed.run("shelfbell", "--version")


def test_the_installed_package_finds_its_own_texts_and_not_those_of_a_work_tree(installed: Installed) -> None:
    told = installed.run(
        "python", "-c", "from notify import paths; print(paths.templates_folder()); print(paths.example_config())"
    )
    folder, example = (Path(line) for line in told.splitlines())
    assert folder.is_relative_to(installed.folder)
    assert _files(folder) == _files(ROOT / "templates") | {"config.example.toml"}
    assert example.read_bytes() == (ROOT / "config.example.toml").read_bytes()


def test_the_installed_command_makes_an_installation_and_checks_a_device_in(installed: Installed) -> None:
    made = json.loads(installed.run("shelfbell", "init", "shop", "--name", "Tramstop Bench", "--json"))
    config = ("--config", "shop/config.toml", "--json")
    assert json.loads(installed.run("shelfbell", "check", *config))["good"]
    device = ("--device", "Halyard pocket radio", "--class", "radio", "--fault", "hums")
    whom = ("--name", "Ida Moss", "--email", "ida@example.org", "--phone", "07700 900111")
    done = json.loads(installed.run("shelfbell", "check-in", *device, *whom, *config))
    [number] = done["numbers"]
    shown = json.loads(installed.run("shelfbell", "ticket", "show", number, *config))
    assert (shown["line"]["device"], shown["line"]["phase"]) == ("Halyard pocket radio", "taken_in")
    assert [(m["notice"], m["state"]) for m in shown["messages"]] == [("checked_in", "waiting")]
    installed.run("shelfbell", "print", number, "ticket.pdf", "--paper", "a6", *config)
    assert (installed.folder / "home" / "ticket.pdf").read_bytes().startswith(b"%PDF-")
    assert made["owner"] == "Owner" and len(made["password"]) >= 20


def _files(folder: Path) -> set[str]:
    """Relative names of what git keeps below `folder`, were it committed: no caches."""
    found = (file for file in folder.rglob("*") if file.is_file() and "__pycache__" not in file.parts)
    return {file.relative_to(folder).as_posix() for file in found}


def _do(*command: str) -> None:
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{command} ended with {done.returncode}\n{done.stdout}\n{done.stderr}"
