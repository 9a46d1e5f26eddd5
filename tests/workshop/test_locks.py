"""The locks pin every package by hash, agree with pyproject.toml, and name no machine."""

from __future__ import annotations

import ast
import json
import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[2]
LOCKS = ("run.txt", "test.txt", "uv.txt")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
# What a lock may hold and nothing else: a pinned requirement with an optional marker, or a hash.
REQUIREMENT = re.compile(r"[a-z0-9][a-z0-9._-]*(\[[a-z]+\])?==[0-9][0-9a-z.]*( ; [a-zA-Z0-9_<>=!' .()]+)? \\")
HASH = re.compile(r"    --hash=sha256:[0-9a-f]{64}( \\)?")


def pinned(lock: str) -> dict[str, set[str]]:
    """Package name -> versions (two where they differ by Python version)."""
    found: dict[str, set[str]] = {}
    for line in (ROOT / "requirements" / lock).read_text(encoding="ascii").splitlines():
        if not line.startswith(" "):
            requirement = Requirement(line.removesuffix(" \\"))
            found.setdefault(canonicalize_name(requirement.name), set()).add(str(requirement.specifier))
    return found


def wanted(lock: str) -> list[Requirement]:
    """What pyproject.toml asks for by name."""
    project, groups = PROJECT["project"], PROJECT["dependency-groups"]
    extras = project["optional-dependencies"]
    product = [*project["dependencies"], *extras["postgres"], *extras["holidays"], *extras["mariadb"], *groups["build"]]
    lists = {"run.txt": product, "test.txt": [*product, *groups["test"]], "uv.txt": groups["uv"]}
    return [Requirement(text) for text in lists[lock]]


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_holds_pinned_packages_with_hashes_and_no_address_of_any_machine(lock: str) -> None:
    lines = (ROOT / "requirements" / lock).read_text(encoding="ascii").splitlines()
    odd = [line for line in lines if not REQUIREMENT.fullmatch(line) and not HASH.fullmatch(line)]
    assert odd == []
    bare = [line for line, after in zip(lines, [*lines[1:], ""], strict=True)
            if not line.startswith(" ") and not HASH.fullmatch(after)]  # fmt: skip
    assert bare == []
    print(f"FIGURE lock_{lock.removesuffix('.txt')} packages={len(pinned(lock))} without_hash={len(bare)}")


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_satisfies_every_dependency_that_pyproject_names(lock: str) -> None:
    versions = pinned(lock)
    for requirement in wanted(lock):
        found = versions.get(canonicalize_name(requirement.name), set())
        assert found, f"{requirement.name} is missing in {lock}: run `python3 bootstrap.py lock`"
        assert all(requirement.specifier.contains(one.removeprefix("==")) for one in found), requirement


def test_what_runs_the_product_is_the_same_when_it_is_tested() -> None:
    run, test = pinned("run.txt"), pinned("test.txt")
    assert {name: test.get(name) for name in run} == run


@pytest.mark.long
@pytest.mark.parametrize(("folder", "lock"), [("notify", "run.txt"), ("tests", "test.txt")])
def test_every_library_that_is_imported_is_asked_for_by_name(folder: str, lock: str) -> None:
    asked = {canonicalize_name(requirement.name) for requirement in wanted(lock)}
    homes = packages_distributions()
    for library, file in sorted(libraries(ROOT / folder).items()):
        found = {canonicalize_name(name) for name in homes.get(library, [])}
        assert found & asked, f"{file} imports {library}: name its distribution in pyproject.toml, then lock"


def libraries(folder: Path) -> dict[str, str]:
    """Third-party import name -> a file that uses it."""
    ours = sys.stdlib_module_names | {"notify", "tests", "bootstrap"}
    found = {}
    for file in sorted(folder.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found.update({alias.name.partition(".")[0]: file.name for alias in node.names})
            elif isinstance(node, ast.ImportFrom) and not node.level:
                found[(node.module or "").partition(".")[0]] = file.name
    return {name: file for name, file in found.items() if name not in ours}


def test_a_planted_address_is_seen() -> None:
    for line in ("--index-url https://packages.example.org/simple", "flask @ file:///home/me/flask", "flask==3.1.3"):
        assert not REQUIREMENT.fullmatch(line)
        assert not HASH.fullmatch(line)


def test_the_lock_of_the_javascript_parts_has_hashes_and_no_address() -> None:
    lock = json.loads((ROOT / "tests" / "package-lock.json").read_text(encoding="utf-8"))
    packages = {name: entry for name, entry in lock["packages"].items() if name}
    assert packages
    assert all("resolved" not in entry for entry in packages.values())
    assert all(entry["integrity"].startswith("sha512-") for entry in packages.values())
