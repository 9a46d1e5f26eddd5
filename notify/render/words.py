"""The words of pages and messages in each language: phases, reasons, cautions, the data protection page."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from jinja2 import TemplateNotFound, TemplateSyntaxError, UndefinedError

from notify.core.errors import Misconfigured
from notify.core.languages import LANGUAGES
from notify.render.sandbox import TextEnvironment
from notify.render.shape import check_link, misuse, privacy_shape, record_shape

_BRACES = re.compile(r"\{([a-z_]+)\}")
# Whole pages made of one template a language, and what each may name.
_WHOLE = {"privacy": privacy_shape, "record": record_shape}


class Language(Mapping[str, str]):
    """All words of one language by their dotted key; calling it fills in the words in braces."""

    def __init__(self, code: str, words: Mapping[str, str]) -> None:
        self.code = code
        self._words = dict(words)

    def __getitem__(self, key: str) -> str:
        return self._words[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._words)

    def __len__(self) -> int:
        return len(self._words)

    def __call__(self, key: str, **values: object) -> str:
        """The words under `key`, as `w("claim.asked", device="radio")`.

        Only plain names stand in braces and each is replaced by the text given, nothing is looked up in it.
        Raises Misconfigured for an unknown key, and for a value too few or too many.
        """
        if key not in self._words:
            near = [known for known in self._words if known.split(".")[0] == key.split(".")[0]]
            advice = f"There are {', '.join(near)}." if near else "There is no such group of words."
            raise Misconfigured(f"There are no words {key!r} in {self.code}.toml", advice)
        template = self._words[key]
        if wanted := set(_BRACES.findall(template)) ^ values.keys():
            raise Misconfigured(
                f"The words {key!r} in {self.code}.toml do not fit their values",
                f"Look at {', '.join(sorted(wanted))}.",
            )
        return _BRACES.sub(lambda found: str(values[found[1]]), template)


class Words:
    """Reads `<prefix><language>.toml`, `privacy.<language>.html` and `record.<language>.html` below `folder`.

    The prefix "page." names the words of the customer's pages.
    """

    def __init__(self, folder: Path, *, prefix: str = "") -> None:
        self.folder = folder
        self._prefix = prefix
        self._read: dict[str, Language] = {}
        self._environment = TextEnvironment(folder)

    def get(self, language: str) -> Language:
        """All words of a language. Raises Misconfigured when its file is missing or unsound."""
        if language not in self._read:
            self._read[language] = Language(language, self._load(language))
        return self._read[language]

    def privacy(self, language: str, context: Mapping[str, Any]) -> str:
        """The data protection page (GDPR art. 13) as an HTML fragment, every value escaped.

        `context` has the keys of `privacy_shape()`. Raises Misconfigured when the file is missing or unsound,
        Invalid when the link to the authority is none.
        """
        check_link("authority.url", context["authority"]["url"] if context.get("authority") else "")
        return self._fill("privacy", language, context)

    def record(self, language: str, context: Mapping[str, Any]) -> str:
        """The record of processing (GDPR art. 30(1)) as an HTML fragment, every value escaped; as privacy()."""
        return self._fill("record", language, context)

    def _fill(self, kind: str, language: str, context: Mapping[str, Any]) -> str:
        name = f"{kind}.{language}.html"
        try:
            return self._environment.get_template(name).render(dict(context)).strip() + "\n"
        except TemplateNotFound as error:
            raise Misconfigured(f"The text {name} is missing", "Add it beside the words.") from error
        except TemplateSyntaxError as error:
            raise Misconfigured(f"{name}:{error.lineno}: {error.message}", "Correct that line.") from error
        except (UndefinedError, TypeError) as error:
            raise Misconfigured(f"The text {name} could not be filled: {error}", "Run the check.") from error

    def problems(self, languages: Sequence[str]) -> list[str]:
        """Every key or word in braces that one language lacks, and each fault of the data protection pages."""
        read: dict[str, dict[str, str]] = {}
        found: list[str] = []
        for language in languages:
            try:
                read[language] = self._load(language)
            except Misconfigured as error:
                found.append(str(error))
        keys = sorted(set().union(*read.values()))
        found += [line for key in keys for line in _differences(key, read)]
        return found + [line for kind in _WHOLE for language in languages for line in self._faults(kind, language)]

    def _load(self, language: str) -> dict[str, str]:
        name = f"{self._prefix}{language}.toml"
        if not re.fullmatch(r"[a-z]{2,3}(-[A-Za-z]{2,8})?", language):
            raise Misconfigured(
                f"{language[:20]!r} is not the code of a language", f"Use one of: {', '.join(LANGUAGES)}."
            )
        try:
            raw = tomllib.loads((self.folder / name).read_text("utf-8"))
        except FileNotFoundError as error:
            raise Misconfigured(f"There is no {name} with the words of that language", "Add it.") from error
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise Misconfigured(f"{name} cannot be read: {error}", "Correct it.") from error
        return dict(_flatten(raw, prefix="", name=name))

    def _faults(self, kind: str, language: str) -> Iterator[str]:
        name = f"{kind}.{language}.html"
        try:
            source = (self.folder / name).read_text("utf-8")
            tree = self._environment.parse(source, name, name)
            self._environment.compile(tree, name, name)
        except FileNotFoundError:
            yield f"{name}:1: the file is missing"
        except UnicodeDecodeError:
            yield f"{name}:1: the file is not UTF-8"
        except TemplateSyntaxError as error:
            yield f"{name}:{error.lineno}: {error.message}"
        else:
            yield from (f"{name}:{line}: {what}" for line, what in misuse(tree, _WHOLE[kind]()))


def _differences(key: str, read: Mapping[str, Mapping[str, str]]) -> Iterator[str]:
    braces = {language: set(_BRACES.findall(words[key])) for language, words in read.items() if key in words}
    yield from (f"{language}.toml: {key} is missing" for language in read if language not in braces)
    everywhere: set[str] = set().union(*braces.values())
    for language, names in braces.items():
        yield from (f"{language}.toml: {key} lacks {{{name}}}" for name in sorted(everywhere - names))


def _flatten(raw: Mapping[str, Any], *, prefix: str, name: str) -> Iterator[tuple[str, str]]:
    for key, value in raw.items():
        if isinstance(value, Mapping):
            yield from _flatten(value, prefix=f"{prefix}{key}.", name=name)
        elif isinstance(value, str):
            yield f"{prefix}{key}", value
        else:
            raise Misconfigured(f"{name}: {prefix}{key} is not a text", "Put it in quotes.")
