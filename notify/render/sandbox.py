"""The small template language of our texts: fill in, choose, repeat; everything else is refused.

Jinja's immutable sandbox alone is not enough (it builds 30 MB and runs nested loops happily; measured), so
each template is also read against a short list of allowed constructs before it is compiled. Without calls,
arithmetic, assignments, macros and filters of choice, what a template can do is bounded by its own length.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from jinja2 import BytecodeCache, FileSystemLoader, StrictUndefined, TemplateSyntaxError, Undefined, nodes
from jinja2.bccache import Bucket
from jinja2.filters import do_join
from jinja2.sandbox import ImmutableSandboxedEnvironment

MAX_SOURCE = 20_000  # characters of one template file
MAX_LOOPS = 2  # loops inside one another
ALLOWED = (
    nodes.Template, nodes.Output, nodes.TemplateData, nodes.Name, nodes.Getattr, nodes.Const, nodes.Filter,
    nodes.Compare, nodes.Operand, nodes.And, nodes.Or, nodes.Not, nodes.CondExpr, nodes.If, nodes.For,
    nodes.Include, nodes.Extends, nodes.Block,
)  # fmt: skip
PART = re.compile(r"_(parts|shared)/[a-z_]+\.(txt|html|css)")


def sentence(text: object) -> str:
    """The text with a capital first letter and an end mark, so that noted words read as a sentence."""
    words = str(text).strip()
    if not words:
        return ""
    return words[0].upper() + words[1:] + ("" if words[-1] in ".!?" else ".")


def short(text: object, limit: int = 28) -> str:
    """At most `limit` characters, cut at a space where there is one; three dots (GSM-7) show the cut."""
    words = " ".join(str(text).split())
    if len(words) <= limit:
        return words
    cut = words[: limit - 3]
    return (cut.rsplit(" ", 1)[0] if " " in cut else cut) + "..."


def tel(text: object) -> str:
    """A phone number as RFC 3966 wants it in a link: digits and one leading plus."""
    digits = re.sub(r"[^0-9]", "", str(text))
    return f"+{digits}" if str(text).strip().startswith("+") else digits


class Compiled(BytecodeCache):
    """Templates compiled once in a process, for every environment over the same files.

    Jinja compares the source with the one that was compiled, so an edited text is read against the rules anew.
    """

    def __init__(self) -> None:
        self._codes: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """Gives back what is kept under the template's name and file."""
        if bucket.key in self._codes:
            bucket.bytecode_from_string(self._codes[bucket.key])

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keeps what was compiled."""
        self._codes[bucket.key] = bucket.bytecode_to_string()


_COMPILED = Compiled()


class TextEnvironment(ImmutableSandboxedEnvironment):
    """Jinja reduced to the language of our texts; templates are named by their path below the folder."""

    def __init__(self, folder: Path) -> None:
        super().__init__(
            loader=FileSystemLoader(folder),
            undefined=StrictUndefined,
            autoescape=_is_html,
            finalize=_plain,
            trim_blocks=True,
            lstrip_blocks=True,
            auto_reload=False,
            bytecode_cache=_COMPILED,
        )
        self.globals.clear()
        self.tests.clear()
        self.filters.clear()
        self.filters.update(join=do_join, length=len, sentence=sentence, short=short, tel=tel)

    def join_path(self, template: str, parent: str) -> str:
        """`_parts/x` is looked up beside the including text's language, `_shared/x` for all languages."""
        if template.startswith("_shared/") or "/" not in parent:
            return template
        return f"{parent.split('/', 1)[0]}/{template}"

    def _parse(self, source: str, name: str | None, filename: str | None) -> nodes.Template:
        if len(source) > MAX_SOURCE:
            raise TemplateSyntaxError(f"the file is longer than {MAX_SOURCE} characters", 1, name, filename)
        try:
            tree = super()._parse(source, name, filename)
            for line, problem in self._refused(tree, name or ""):
                raise TemplateSyntaxError(problem, line, name, filename)
        except RecursionError:
            raise TemplateSyntaxError("the file is nested too deeply", 1, name, filename) from None
        return tree

    def _refused(self, tree: nodes.Template, name: str) -> Iterator[tuple[int, str]]:
        yield from _refused_below(tree, name=name, filters=frozenset(self.filters), loops=0)


def _refused_below(node: nodes.Node, *, name: str, filters: frozenset[str], loops: int) -> Iterator[tuple[int, str]]:
    problem = _refusal(node, name=name, filters=filters, loops=loops)
    if problem:
        yield node.lineno or 1, problem
        return
    inner = loops + isinstance(node, nodes.For)
    for child in node.iter_child_nodes():
        yield from _refused_below(child, name=name, filters=filters, loops=inner)


def _refusal(node: nodes.Node, *, name: str, filters: frozenset[str], loops: int) -> str:
    if not isinstance(node, ALLOWED):
        return f"{type(node).__name__.lower()} is not part of the language of texts"
    if isinstance(node, (nodes.Include, nodes.Extends)):
        return _refused_part(node, name=name)
    if isinstance(node, nodes.Filter) and (node.name not in filters or node.kwargs or node.dyn_args):
        return f"the filter {node.name!r} is not allowed; use {', '.join(sorted(filters))}"
    if isinstance(node, nodes.Getattr) and node.attr.startswith("_"):
        return f"{node.attr!r} is not a field"
    if isinstance(node, nodes.Const) and len(str(node.value)) > 200:
        return "a quoted text or number is too long"
    if isinstance(node, nodes.For):
        return _refused_loop(node, loops)
    if loops and isinstance(node, nodes.Block):
        return "a block cannot stand inside a loop"
    return ""


def _refused_loop(node: nodes.For, loops: int) -> str:
    if loops >= MAX_LOOPS:
        return f"more than {MAX_LOOPS} loops inside one another"
    if node.recursive or node.test or not isinstance(node.iter, (nodes.Name, nodes.Getattr)):
        return "a loop runs over one list of the context, without conditions"
    return "" if isinstance(node.target, nodes.Name) else "a loop has one loop name"


def _refused_part(node: nodes.Include | nodes.Extends, *, name: str) -> str:
    """Parts go one way (text > part > shared), so nothing can include itself or grow by doubling."""
    wanted = node.template.value if isinstance(node.template, nodes.Const) else None
    if not isinstance(wanted, str) or not PART.fullmatch(wanted):
        return "only files of _parts/ or _shared/, named in quotes, can be used here"
    if name.startswith("_shared/") or ("/_parts/" in name and not _may_hold(name, wanted)):
        return f"{name} cannot use {wanted}: texts use parts, parts use the footer and shared files"
    if _is_html(name) == wanted.endswith(".txt"):
        return f"{wanted} would not be escaped the way {name} needs it"
    return ""


def _may_hold(name: str, wanted: str) -> bool:
    frame = name.rsplit("/", 1)[-1].startswith("frame.") and wanted.startswith("_parts/footer.")
    return frame or wanted.startswith("_shared/")


def _is_html(name: str | None) -> bool:
    return bool(name) and str(name).endswith(".html")


def _plain(value: object) -> object:
    """Only texts and numbers are printed; a Markup loses its claim to be safe."""
    if value is None:
        return ""
    if isinstance(value, str):
        return str.__str__(value) if type(value) is str else "".join(value)
    if isinstance(value, Undefined) or (isinstance(value, int) and not isinstance(value, bool)):
        return value
    raise TypeError(f"a {type(value).__name__} cannot be printed in a text")
