"""Reads a package's source and names every breach of the floors: who imports whom, and what core may do."""

from __future__ import annotations

import ast
import functools
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

# Names of calls that read a clock or touch the world, whatever they are called on.
CLOCK_CALLS = frozenset({"now", "utcnow", "today", "uuid1", "uuid4"})
WORLD_CALLS = frozenset({"open", "print", "input", "exec", "eval", "compile", "__import__", "breakpoint"})


@dataclass(frozen=True, slots=True)
class Law:
    """The floors as data.

    `floors`: folder or file directly under the package -> floor (0 is the lowest).
    `pure_rooms`: floor-0 rooms that may use only `pure_standard` and `pure_libraries`.
    `owners`: a library -> the rooms that may know it. `senders`: the rooms that may call `.send(...)`.
    """

    package: str
    floors: Mapping[str, int]
    pure_rooms: frozenset[str] = frozenset()
    pure_standard: frozenset[str] = frozenset()
    pure_libraries: frozenset[str] = frozenset()
    owners: Mapping[str, frozenset[str]] = field(default_factory=dict)
    senders: frozenset[str] = frozenset()

    def pure(self, package: str) -> frozenset[str]:
        """What a pure room may import besides; its imports within the package are judged by floor."""
        return self.pure_standard | self.pure_libraries | {package, "__future__"}


@dataclass(frozen=True, slots=True, order=True)
class Breach:
    """One broken rule: `kind` for the machine, `text` for whoever broke it."""

    kind: str
    file: str
    text: str


@dataclass(frozen=True, slots=True)
class _Module:
    name: str  # dotted, without the package: "store.schema"
    room: str  # key in the floors table: "store" or "config.py"
    file: str
    tree: ast.Module
    is_init: bool
    package: str


def breaches(root: Path, law: Law) -> list[Breach]:
    """All breaches in the package whose folder is `root`, sorted."""
    modules = [_read(file, root, law.package) for file in sorted(root.rglob("*.py"))]
    found = set(_unknown_rooms(root, law))
    graph: dict[str, set[str]] = {}
    names = {module.name for module in modules}
    for module in modules:
        found.update(_opening(module))
        targets = _inner_imports(module, names)
        graph[module.name] = {target for target in targets if _same_room(module.name, target)}
        found.update(_between_rooms(module, targets, law))
        found.update(_libraries(module, law))
        found.update(_calls(module, law))
    found.update(_cycles(graph))
    return sorted(found)


def sizes(root: Path) -> tuple[list[int], list[int]]:
    """Lines per file and lines per function, each sorted."""
    files, functions = [], []
    for file in root.rglob("*.py"):
        source = file.read_text(encoding="utf-8")
        files.append(source.count("\n"))
        for node in ast.walk(_parsed(source)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                functions.append((node.end_lineno or node.lineno) - node.lineno + 1)
    return sorted(files), sorted(functions)


def _read(file: Path, root: Path, package: str) -> _Module:
    relative = file.relative_to(root)
    is_init = file.name == "__init__.py"
    parts = relative.parent.parts if is_init else relative.with_suffix("").parts
    tree = _parsed(file.read_text(encoding="utf-8"))
    return _Module(".".join(parts), relative.parts[0], relative.as_posix(), tree, is_init, package)


@functools.cache
def _parsed(source: str) -> ast.Module:
    """The same source is parsed once, however many laws it is held against."""
    return ast.parse(source)


def _unknown_rooms(root: Path, law: Law) -> Iterator[Breach]:
    for entry in sorted(root.iterdir()):
        is_room = entry.suffix == ".py" or (entry.is_dir() and entry.name != "__pycache__")
        if is_room and entry.name not in law.floors:
            yield Breach("unknown room", entry.name, "give it a floor in the table, or use a known room")


def _opening(module: _Module) -> Iterator[Breach]:
    first = (ast.get_docstring(module.tree) or "").split("\n")[0].strip()
    if not first:
        yield Breach("no job", module.file, "open it with one line that says its one job")
    if module.is_init and len(module.tree.body) > 1:
        yield Breach("busy __init__", module.file, "an __init__ holds a docstring only")


def _inner_imports(module: _Module, names: set[str]) -> set[str]:
    """The modules of the same package that this one imports, anywhere in the file."""
    found, prefix = set(), f"{module.package}."
    for dotted in _imported(module):
        if dotted.startswith(prefix):
            inner = dotted.removeprefix(prefix)
            while inner and inner not in names and "." in inner:
                inner = inner.rpartition(".")[0]
            found.add(inner)
    return found - {"", module.name}


def _imported(module: _Module) -> Iterator[str]:
    """Dotted names; `from a import b` counts as a.b, because b may be a module."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = _base(module, node)
            yield from (f"{base}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Call) and _called(node) in ("import_module", "__import__"):
            yield from (str(one.value) for one in node.args[:1] if isinstance(one, ast.Constant))


def _base(module: _Module, node: ast.ImportFrom) -> str:
    if not node.level:
        return node.module or ""
    parts = module.name.split(".") if module.name else []
    up = node.level - 1 if module.is_init else node.level
    kept = parts[: len(parts) - up]
    return ".".join([module.package, *kept, *([node.module] if node.module else [])])


def _between_rooms(module: _Module, targets: set[str], law: Law) -> Iterator[Breach]:
    own = law.floors.get(module.room)
    for target in sorted(targets):
        room = _room(target, law)
        floor = law.floors.get(room)
        if room == module.room or own is None or floor is None:
            continue
        if floor > own:
            yield Breach("upward import", module.file, f"floor {own} imports {target} of floor {floor}")
        elif floor == own:
            yield Breach("sibling import", module.file, f"imports {target}, a room on the same floor {own}")


def _room(name: str, law: Law) -> str:
    first = name.partition(".")[0]
    return first if first in law.floors else f"{first}.py"


def _same_room(name: str, target: str) -> bool:
    return "." in name and "." in target and name.partition(".")[0] == target.partition(".")[0]


def _libraries(module: _Module, law: Law) -> Iterator[Breach]:
    for dotted in sorted(set(_imported(module))):
        top = dotted.partition(".")[0]
        if top in law.owners and module.room not in law.owners[top]:
            owners = ", ".join(sorted(law.owners[top]))
            yield Breach("foreign library", module.file, f"only {owners} may know {top}")
        if module.room in law.pure_rooms and not _is_within(dotted, law.pure(module.package)):
            kind = "impure standard library" if top in sys.stdlib_module_names else "third party in core"
            yield Breach(kind, module.file, f"{dotted} is not on the short list of pure libraries")


def _is_within(dotted: str, allowed: frozenset[str]) -> bool:
    return any(dotted == one or dotted.startswith(f"{one}.") for one in allowed)


def _calls(module: _Module, law: Law) -> Iterator[Breach]:
    for node in ast.walk(module.tree):
        if not isinstance(node, ast.Call):
            continue
        name, where = _called(node), f"line {node.lineno} calls {_called(node)}()"
        is_method, is_pure = isinstance(node.func, ast.Attribute), module.room in law.pure_rooms
        if is_pure and name in CLOCK_CALLS:
            yield Breach("clock in core", module.file, f"{where}; take the instant or the id as an argument")
        if is_pure and name in WORLD_CALLS and not is_method:
            yield Breach("world in core", module.file, f"{where}; core returns data and touches nothing")
        if law.senders and name == "send" and is_method and module.room not in law.senders:
            allowed = ", ".join(sorted(law.senders))
            yield Breach("foreign send", module.file, f"{where}; only {allowed} may send")


def _called(node: ast.Call) -> str:
    if isinstance(node.func, ast.Attribute):
        return node.func.attr
    return node.func.id if isinstance(node.func, ast.Name) else ""


def _cycles(graph: dict[str, set[str]]) -> Iterator[Breach]:
    """A module that reaches itself; the one that comes first in the alphabet speaks for the ring."""
    for start in sorted(graph):
        ring = _way_back(start, graph)
        if ring and start == min(ring):
            yield Breach("cycle", f"{start.replace('.', '/')}.py", " -> ".join([*ring, start]))


def _way_back(start: str, graph: dict[str, set[str]]) -> list[str]:
    waiting, seen = [[start]], set()
    while waiting:
        path = waiting.pop(0)
        for target in sorted(graph.get(path[-1], ())):
            if target == start:
                return path
            if target not in seen:
                seen.add(target)
                waiting.append([*path, target])
    return []
