"""The fixed words on paper, read from templates/words/paper.<language>.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path

from notify.core.errors import Invalid, Misconfigured

SAFETY_FLAGS = ("swollen", "hot", "leaking", "wet")


@dataclass(frozen=True, slots=True)
class PaperWords:
    """Every phrase that tickets and labels print by themselves, in one language."""

    your_number: str
    scan: str
    scan_at_counter: str
    or_open: str
    call: str
    handed_in: str
    looking_after: str
    came_with: str
    nothing_with: str
    you_told_us: str
    money: str
    number_alone: str
    bring: str
    careful: str
    no_charge: str
    shelf: str
    part_for: str
    part_from: str
    title_ticket: str
    title_label: str
    title_part: str
    safety: Mapping[str, str]
    cautions: Mapping[str, str]

    def safety_words(self, flags: Sequence[str]) -> tuple[str, ...]:
        """One or two words for each safety flag; raises Invalid for a flag that is none."""
        return tuple(self.safety[checked_flag(flag)] for flag in flags)

    def caution_lines(self, flags: Sequence[str]) -> tuple[str, ...]:
        """The cautions for a device with these flags, each sentence once; empty without a flag."""
        if not flags:
            return ()
        own = [self.cautions[checked_flag(flag)] for flag in flags]
        usual = [text for name, text in self.cautions.items() if name not in SAFETY_FLAGS]
        return tuple(dict.fromkeys(own + usual))


def checked_flag(flag: str) -> str:
    """`flag` itself; raises Invalid if it is no safety flag."""
    if flag not in SAFETY_FLAGS:
        advice = f"Use {', '.join(SAFETY_FLAGS)}."
        raise Invalid(f"{flag[:20]!r} is no safety flag", advice, field="safety")
    return flag


def load_words(templates: Path, language: str) -> PaperWords:
    """Read the words of one language from the folder `templates`.

    Raises Misconfigured naming the file and every key that is missing, unknown, empty or no text.
    """
    path = templates / "words" / f"paper.{language}.toml"
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        what = f"there are no words for paper in language {language[:12]!r}"
        raise Misconfigured(what, f"Add templates/words/{path.name[:40]}.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Misconfigured(f"{path.name} cannot be read: {error}", "Correct that line.") from error
    wrong = _wrong_keys(raw)
    if wrong:
        raise Misconfigured(f"{path.name}: {'; '.join(wrong)}", "Each key needs its text; see paper.en.toml.")
    return PaperWords(**raw)


def _wrong_keys(raw: Mapping[str, object]) -> list[str]:
    tables = {"safety", "cautions"}
    wanted = {field.name for field in fields(PaperWords)}
    wrong = [f"{key} is missing" for key in sorted(wanted - raw.keys())]
    wrong += [f"{key} is not known" for key in sorted(raw.keys() - wanted)]
    wrong += [f"{key} is not a text" for key in sorted(wanted & raw.keys() - tables) if not _is_text(raw[key])]
    for name in sorted(tables & raw.keys()):
        wrong += _wrong_table(name, raw[name])
    return wrong


def _wrong_table(name: str, table: object) -> list[str]:
    if not isinstance(table, dict):
        return [f"{name} is not a table"]
    wrong = [f"{name}.{flag} is missing" for flag in SAFETY_FLAGS if flag not in table]
    return wrong + [f"{name}.{key} is not a text" for key, value in table.items() if not _is_text(value)]


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())
