"""Everything that the README names is there: commands and their options, settings, pictures, files, make targets."""

from __future__ import annotations

import re
import struct
import tomllib
from pathlib import Path

import click
import pytest

import bootstrap
from notify.cli.main import COMMANDS, EXIT_CODES, cli
from notify.config.table import SETTINGS
from notify.core.retention import DATA_CLASSES
from notify.core.shop import SHOP_SETTINGS
from tests.pictures.__main__ import LARGEST, PICTURES

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
CODE = re.compile(r"`([^`\n]+)`")
KEYS = {one.key for one in SETTINGS}


def spoken(text: str) -> list[str]:
    """Every line of code blocks and every piece of code in a sentence, continued lines joined."""
    blocks = re.findall(r"```\n(.*?)```", text, re.DOTALL)
    lines = [line.strip() for block in blocks for line in block.replace("\\\n", " ").splitlines()]
    return [*lines, *CODE.findall(re.sub(r"```.*?```", "", text, flags=re.DOTALL))]


def unknown_commands(text: str) -> list[str]:
    """What is said of `shelfbell …` that the program does not know: a command, a word after it, an option."""
    wrong = []
    for line in spoken(text):
        if line.startswith("shelfbell "):
            wrong += [f"{line}: {one}" for one in _unknown(line.split()[1:])]
    return wrong


def _unknown(words: list[str]) -> list[str]:
    context = click.Context(cli)
    found = cli.get_command(context, words[0])
    if found is None:
        return [words[0]]
    if isinstance(found, click.Group) and len(words) > 1 and not words[1].startswith("-"):
        inner = found.get_command(context, words[1])
        if inner is None:
            return [words[1]]
        found = inner
    known = {name for parameter in found.params for name in parameter.opts} | {"--help"}
    return [word for word in words if word.startswith("--") and word.partition("=")[0] not in known]


def rows() -> dict[str, str]:
    """The table of commands: command -> what it is for."""
    told: dict[str, str] = {}
    for line in README.partition("## Commands")[2].partition("\n## ")[0].splitlines():
        if line.startswith("| `"):
            names, what = line.strip("| ").split(" | ")
            told |= dict.fromkeys(re.findall(r"`shelfbell ([a-z-]+)`", names), what)
    return told


def test_every_command_and_option_in_the_readme_exists() -> None:
    assert unknown_commands(README) == []
    assert len([line for line in spoken(README) if line.startswith("shelfbell ")]) > 30


@pytest.mark.parametrize("planted", ["shelfbell forgive", "shelfbell ticket burn", "shelfbell init --password secret"])
def test_a_planted_command_that_does_not_exist_is_found(planted: str) -> None:
    assert unknown_commands(f"Run `{planted}` now.")


def test_the_table_of_commands_names_every_command_and_every_word_after_it() -> None:
    assert set(rows()) == set(COMMANDS)
    context = click.Context(cli)
    for name, told in rows().items():
        found = cli.get_command(context, name)
        if isinstance(found, click.Group):
            words = set(re.findall(r"[a-z]+(?:-[a-z]+)*", told))
            assert {one for one in found.commands if one not in words} == set(), name


def test_every_setting_in_the_readme_exists() -> None:
    sections = {key.partition(".")[0] for key in KEYS}
    dotted = [one for one in CODE.findall(README) if re.fullmatch(r"[a-z]+\.(?!db$)[a-z_]+", one)]
    named = [one for one in dotted if one.partition(".")[0] in sections]
    assert named and [one for one in named if one not in KEYS] == []
    for block in re.findall(r"```\n(\[.*?)```", README, re.DOTALL):
        for section, values in tomllib.loads(block).items():
            assert [one for one in values if f"{section}.{one}" not in KEYS] == []


def test_every_picture_is_there_small_and_taken_by_the_script() -> None:
    shown = re.findall(r"tests/pictures/([a-z_]+)\.png", README)
    assert sorted(shown) == sorted(PICTURES)
    for name in shown:
        data = (ROOT / "tests" / "pictures" / f"{name}.png").read_bytes()
        assert data[:8] == b"\x89PNG\r\n\x1a\n" and len(data) <= LARGEST
        assert struct.unpack(">I", data[16:20])[0] in (360, 1280) or name == "claim_ticket"
    assert all(alt.strip() for alt in re.findall(r'!\[(.*?)\]\(|alt="(.*?)"', README) for alt in ["".join(alt)])


def test_every_file_and_make_target_in_the_readme_exists() -> None:
    links = [one for one in re.findall(r"\]\(([^)]+)\)", README) if "://" not in one]
    assert [one for one in links if not (ROOT / one).exists()] == []
    assert (ROOT / "requirements" / "run.txt").exists() and (ROOT / "config.example.toml").exists()
    assert set(re.findall(r"^make (\w+)", README, re.MULTILINE)) <= set(bootstrap.COMMANDS)
    assert set(re.findall(r"bootstrap\.py (\w+)", README)) <= set(bootstrap.COMMANDS)


def test_figures_in_the_readme_are_those_of_the_code() -> None:
    assert "three reminders" in README and len(SHOP_SETTINGS["collection_days"].default) == 3
    assert "Ninety days" in README and DATA_CLASSES["contact_card"].period == "P90D"
    wait = next(one.default for one in SETTINGS if one.key == "bell.wait_seconds")
    assert f"waits {wait} seconds" in README
    assert "2 wrong input, 3 not allowed, 4 not found, 5 conflict, 6 settings" in README
    assert sorted(EXIT_CODES.values()) == [2, 3, 4, 5, 6, 75]


def test_the_first_paragraph_says_what_it_is_for() -> None:
    first = README.split("\n\n")[1]
    assert "counter" in first and "repair" in first and "takes off you" in first
