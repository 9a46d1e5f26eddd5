"""The script that makes the environment refuses what it must, in words, before it touches anything."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import bootstrap

ROOT = Path(__file__).resolve().parents[2]


def run(*words: str) -> subprocess.CompletedProcess[str]:
    """Run a piece of Python beside the script."""
    return subprocess.run([sys.executable, *words], cwd=ROOT, capture_output=True, text=True, check=False)


@pytest.mark.real
@pytest.mark.parametrize("words", [[], ["party"]])
def test_without_a_known_command_it_lists_the_commands_and_fails(words: list[str]) -> None:
    done = run("bootstrap.py", *words)
    assert done.returncode == 1
    assert "Commands: demo, install, test, quick, lint, benchmark, deep, lock" in done.stderr


@pytest.mark.real
def test_an_older_python_is_refused_by_name_with_what_to_type_instead() -> None:
    older = "import sys; sys.version_info = (3, 9, 2, 'final', 0); import bootstrap; bootstrap.main(['demo'])"
    done = run("-c", older)
    assert done.returncode == 1
    assert done.stderr == "Shelfbell needs Python 3.11 or newer; this is 3.9.2. Try: python3.11 bootstrap.py\n"


def test_older_pythons_can_read_the_script_as_far_as_its_refusal() -> None:
    source = (ROOT / "bootstrap.py").read_text(encoding="utf-8")
    ast.parse(source, feature_version=(3, 7))


def test_the_script_uses_nothing_but_the_standard_library() -> None:
    tree = ast.parse((ROOT / "bootstrap.py").read_text(encoding="utf-8"))
    plain = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    named = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.partition(".")[0] for name in plain | named} <= sys.stdlib_module_names


def test_make_knows_the_same_commands_and_each_is_one_line() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    listed = re.search(r"^COMMANDS = (.+)$", makefile, re.MULTILINE)
    assert listed
    assert set(listed[1].split()) == set(bootstrap.COMMANDS)
    assert not re.search(r"^\t", makefile, re.MULTILINE)


def test_the_stamp_changes_with_the_lock_and_differs_between_run_and_test() -> None:
    assert bootstrap.fingerprint("run") == bootstrap.fingerprint("run")
    assert bootstrap.fingerprint("run") != bootstrap.fingerprint("test")
