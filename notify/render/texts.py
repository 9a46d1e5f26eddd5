"""The words of every message: template files filled with a context, one file a part and language."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from jinja2 import TemplateNotFound, TemplateSyntaxError, UndefinedError, nodes

from notify.core.errors import Invalid, Misconfigured
from notify.render.sandbox import TextEnvironment
from notify.render.shape import check_link, message_shape, misuse
from notify.render.sms import count, fit, tidy

FILES = {
    "subject": "subject.txt",
    "text": "body.txt",
    "html": "body.html",
    "sms": "sms.txt",
    "call": "call.txt",
    "sms_short": "sms_short.txt",  # instead of sms.txt where that is too long
}
CUSTOMER_PARTS = ("subject", "text", "html", "sms", "call")
SHOP_PARTS = ("subject", "text", "html", "sms")
# Characters a part may come to. Generous: they stop a runaway text, they do not judge style.
MAX_SIZE = {"subject": 400, "text": 40_000, "html": 120_000, "sms": 1_600, "call": 4_000, "sms_short": 1_600}
MAX_LIST = 50  # entries of any list in the context
MAX_SECONDS = 2.0


class Texts:
    """Fills the templates below `folder` (`<language>/<notice>/<file>`) in the given languages.

    `stopwatch` counts seconds and only measures how long one text takes: of this thread's own processor time, so that
    a busy machine refuses none. Files are read once: after an edit the service is restarted (and `problems()` says
    beforehand whether the edit is sound).
    """

    def __init__(
        self,
        folder: Path,
        languages: Sequence[str],
        *,
        stopwatch: Callable[[], float] = time.thread_time,
    ) -> None:
        self.folder = folder
        self.languages = tuple(languages)
        self._stopwatch = stopwatch
        self._environment = TextEnvironment(folder)

    def render(self, *, language: str, notice: str, part: str, context: Mapping[str, Any]) -> str:
        """One part of one notice, tidied for its channel (a subject is one line).

        Raises Misconfigured when the file is missing, unsound, too long or too slow, or uses a name the
        context does not have; Invalid when the context holds a link that is none, or an endless list.
        """
        name = self._name(language=language, notice=notice, part=part)
        _check_values(context)
        try:
            template = self._environment.get_template(name)
            text = self._collect(template.generate(_filled(context)), part=part, name=name)
        except TemplateNotFound as error:
            raise Misconfigured(f"The text {error.name} is missing", "Add it, then run the check.") from error
        except TemplateSyntaxError as error:
            where = f"{error.name}:{error.lineno}"
            raise Misconfigured(f"{where}: {error.message}", "Correct that line.") from error
        except (UndefinedError, TypeError, RecursionError) as error:
            raise Misconfigured(f"The text {name} could not be filled: {error}", "Run the check.") from error
        return _tidy(text, part=part)

    def text_message(self, *, language: str, notice: str, context: Mapping[str, Any], most: int) -> str:
        """The text message of a notice, tidied for the air, in at most `most` parts and with its link in one piece.

        The shorter text is filled only where it is needed. Raises like `render`, and Misconfigured when neither fits.
        """

        def filled(part: str) -> str:
            return self.render(language=language, notice=notice, part=part, context=context)

        def short() -> str:
            return filled("sms_short") if self.has(language=language, notice=notice, part="sms_short") else ""

        return fit(tidy(filled("sms")), short, most, name=f"{language}/{notice}/{FILES['sms']}")

    def has(self, *, language: str, notice: str, part: str) -> bool:
        """Whether there is a file for this part; the shop's own notices have fewer."""
        return (self.folder / self._name(language=language, notice=notice, part=part)).is_file()

    def problems(self, notices: Mapping[str, Collection[str]] | None = None) -> list[str]:
        """Every fault of every file, as `language/notice/file:line: what`, empty when all is sound.

        `notices` maps each notice to its parts (CUSTOMER_PARTS or SHOP_PARTS); without it the languages
        are only compared with one another.
        """
        wanted = {f"{n}/{FILES[p]}" for n, parts in (notices or {}).items() for p in parts}
        found = {language: self._files(language) for language in self.languages}
        expected = wanted or set().union(*found.values())
        # The shorter text is needed only where a text message may grow; then in every language alike.
        expected |= {one for files in found.values() for one in files if one.endswith("/sms_short.txt")}
        missing = [f"{lang}/{f}:1: the file is missing" for lang in found for f in expected - found[lang]]
        extra = [f"{lang}/{f}:1: no notice has this file" for lang in found for f in found[lang] - expected]
        faults = [line for path in self._all_files() for line in self._faults(path)]
        return sorted(missing + extra) + faults

    def _name(self, *, language: str, notice: str, part: str) -> str:
        if language not in self.languages:
            raise Misconfigured(f"There are no texts in the language {language!r}", _known(self.languages))
        if part not in FILES:
            raise Misconfigured(f"A message has no part {part!r}", _known(FILES))
        if not re.fullmatch(r"[a-z]+(_[a-z]+)*", notice):
            raise Misconfigured(f"{notice!r} is not the name of a notice", "Names are small letters and _.")
        return f"{language}/{notice}/{FILES[part]}"

    def _collect(self, pieces: Iterator[str], *, part: str, name: str) -> str:
        begun, size, kept = self._stopwatch(), 0, []
        for piece in pieces:
            size += len(piece)
            kept.append(piece)
            if size > MAX_SIZE[part]:
                raise Misconfigured(f"The text {name} grew over {MAX_SIZE[part]} characters", "Shorten it.")
            if self._stopwatch() - begun > MAX_SECONDS:
                raise Misconfigured(f"The text {name} took over {MAX_SECONDS:g} seconds", "Simplify it.")
        return "".join(kept)

    def _files(self, language: str) -> set[str]:
        """The files of the notices (not the shared parts) of a language, as `notice/file`."""
        below = self.folder / language
        paths = (p for p in below.glob("*/*") if p.is_file() and not p.parent.name.startswith("_"))
        return {p.relative_to(below).as_posix() for p in paths}

    def _all_files(self) -> Iterator[str]:
        for top in (*self.languages, "_shared"):
            paths = sorted(p for p in (self.folder / top).rglob("*") if p.is_file())
            yield from (p.relative_to(self.folder).as_posix() for p in paths)

    def _faults(self, name: str) -> Iterator[str]:
        try:
            source = (self.folder / name).read_text("utf-8")
            tree = self._environment.parse(source, name, name)
            self._environment.compile(tree, name, name)
        except UnicodeDecodeError:
            yield f"{name}:1: the file is not UTF-8"
        except TemplateSyntaxError as error:
            yield f"{name}:{error.lineno}: {error.message}"
        else:
            yield from (f"{name}:{line}: {what}" for line, what in misuse(tree, message_shape()))
            yield from self._missing_parts(tree, name)
            if name.endswith(("/sms.txt", "_short.txt")):
                yield from self._dear(tree, name)

    def _missing_parts(self, tree: nodes.Template, name: str) -> Iterator[str]:
        for line, wanted in self._used(tree, name):
            if not (self.folder / wanted).is_file():
                yield f"{name}:{line}: {wanted} is used here but there is no such file"

    def _used(self, tree: nodes.Template, name: str) -> Iterator[tuple[int, str]]:
        """(line, file) of every part that a text uses; the language of texts allows only quoted names."""
        users: list[nodes.Include | nodes.Extends] = [*tree.find_all(nodes.Include)]
        users += tree.find_all(nodes.Extends)
        for node in users:
            if isinstance(node.template, nodes.Const):
                yield node.lineno, self._environment.join_path(node.template.value, name)

    def _dear(self, tree: nodes.Template, name: str) -> Iterator[str]:
        """Fixed characters that would turn a text message into UCS-2, which more than doubles its price."""
        for node in tree.find_all(nodes.TemplateData):
            if offending := count(node.data).first_offending:
                yield f"{name}:{node.lineno}: {offending!r} is not in the SMS alphabet (GSM-7)"


def _check_values(context: Mapping[str, Any]) -> None:
    shop = context.get("shop")
    links = [(key, context.get(key)) for key in ("claim_link", "privacy_link", "stop_link")]
    links.append(("shop.url", shop.get("url") if isinstance(shop, Mapping) else ""))
    for key, link in links:
        check_link(key, link)
    question = context.get("question")
    lists = [*context.items(), *(question.items() if isinstance(question, Mapping) else ())]
    for key, value in lists:
        if isinstance(value, (list, tuple)) and len(value) > MAX_LIST:
            raise Invalid(f"{key} has more than {MAX_LIST} entries", "Send several messages.", field=key)


def _filled(context: Mapping[str, Any]) -> dict[str, Any]:
    """The context with its empty groups made alike, so that a template needs one way to ask for them.

    A question or slot that is not there stays without fields: a text that needs one must fail, not send
    half a sentence. The other groups get all their fields, empty.
    """
    groups = {key: shape for key, shape in message_shape().items() if isinstance(shape, dict)}
    filled = dict(context)
    for key in groups.keys() & context.keys():
        value = context[key]
        empty = not value or (isinstance(value, Mapping) and not any(value.values()))
        if empty:
            filled[key] = {} if key in ("question", "slot") else dict.fromkeys(groups[key], "")
    if str(context.get("days_waiting", "")).isdecimal():
        filled["days_waiting"] = int(context["days_waiting"])  # so that 0 days are none, however they are given
    return filled


def _tidy(text: str, *, part: str) -> str:
    if part == "html":
        return text.strip() + "\n"
    if part in ("subject", "sms", "sms_short", "call"):
        return " ".join(text.split())
    lines = [line.rstrip() for line in text.split("\n")]
    return re.sub(r"\n{3,}", "\n\n", "\n".join(lines)).strip() + "\n"


def _known(names: Collection[str]) -> str:
    return f"Known are {', '.join(sorted(names))}."
