"""The floors of the house are the law: their table, and proof that every kind of breach is found."""

from __future__ import annotations

import ast
import re
from dataclasses import replace
from pathlib import Path

import pytest

from tests.parts.floors import Law, breaches, sizes

NOTIFY = Path(__file__).resolve().parent.parent / "notify"

# A folder or file imports only from lower floors; those on one floor never import each other.
FLOORS = {
    "__init__.py": 0,
    "core": 0,
    "almanac": 1,
    "channels": 1,
    "config": 1,
    "forecast": 1,
    "paths.py": 1,
    "render": 1,
    "store": 1,
    "dispatch": 2,
    "flows": 2,
    "wiring.py": 3,
    "inbox": 4,
    "schedule": 4,
    "watch": 4,
    "web": 4,
    "cli": 5,
    "__main__.py": 6,
    "wsgi.py": 6,
}
# What core may use of Python itself: nothing that reads a clock, a file, a setting or a random number.
PURE_STANDARD = frozenset(
    "abc base64 binascii bisect calendar collections contextlib copy dataclasses datetime decimal difflib "
    "enum fractions functools hashlib heapq hmac html ipaddress itertools json math numbers operator re "
    "statistics string textwrap types typing unicodedata urllib.parse uuid zoneinfo".split()
)
# The short list of pure third-party libraries; each is data and arithmetic only.
PURE_LIBRARIES = frozenset({"phonenumbers", "stdnum"})
LAW = Law(
    package="notify",
    floors=FLOORS,
    pure_rooms=frozenset({"core"}),
    pure_standard=PURE_STANDARD,
    pure_libraries=PURE_LIBRARIES,
    owners={
        "sqlalchemy": frozenset({"store"}),
        "alembic": frozenset({"store"}),
        "psycopg": frozenset({"store"}),
        "pymysql": frozenset({"store"}),
        "apscheduler": frozenset({"schedule"}),
        "holidays": frozenset({"almanac"}),
    },
    senders=frozenset({"channels", "dispatch"}),
)


def test_the_house_keeps_its_floors() -> None:
    found = breaches(NOTIFY, LAW)
    assert not found, "\n" + "\n".join(f"notify/{one.file}: {one.kind}: {one.text}" for one in found)


def test_every_line_of_the_table_that_exists_is_a_room_and_core_is_at_the_bottom() -> None:
    assert (NOTIFY / "core").is_dir()
    assert [room for room, floor in FLOORS.items() if floor == 0] == ["__init__.py", "core"]


LONG = 250  # lines; DEVELOPERS.md says so


def unexplained(root: Path) -> list[str]:
    """Rooms over LONG whose docstring does not say, with that very word, why they are long."""
    sources = {file.relative_to(root).as_posix(): file.read_text("utf-8") for file in sorted(root.rglob("*.py"))}
    over = {name: source for name, source in sources.items() if source.count("\n") > LONG}
    return [name for name, source in over.items()
            if not re.search(r"\blong(er)?\b", ast.get_docstring(ast.parse(source)) or "", re.IGNORECASE)]  # fmt: skip


def test_a_room_of_more_than_250_lines_says_why_it_is_long(tmp_path: Path) -> None:
    assert unexplained(NOTIFY) == []
    lines = "x = 1\n" * LONG
    (tmp_path / "said.py").write_text(f'"""Data. Long: one line a zone."""\n{lines}')
    (tmp_path / "unsaid.py").write_text(f'"""All along data."""\n{lines}')
    assert unexplained(tmp_path) == ["unsaid.py"]


def test_sizes_of_files_and_functions_are_printed() -> None:
    files, functions = sizes(NOTIFY)
    print(
        f"FIGURE size_of_files files={len(files)} lines={sum(files)} median={_share(files, 0.5)} "
        f"p95={_share(files, 0.95)} max={files[-1]} over_250={sum(size > 250 for size in files)}"
    )
    print(
        f"FIGURE size_of_functions functions={len(functions)} median={_share(functions, 0.5)} "
        f"p95={_share(functions, 0.95)} max={functions[-1]} over_60={sum(size > 60 for size in functions)}"
    )
    assert files
    assert functions


def _share(values: list[int], share: float) -> int:
    return values[min(len(values) - 1, int(len(values) * share))]


# Each planted tree breaks one rule: file -> source. The first line stands in for the job line.
JOB = '"""Does its one job."""\n'
PLANTED = {
    "unknown room": {"helpers/odds.py": JOB},
    "unknown room: one file": {"utils.py": JOB},
    "no job": {"core/a.py": "x = 1\n"},
    "no job: a blank docstring": {"core/a.py": '"""\n\n"""\n'},
    "busy __init__": {"core/__init__.py": JOB + "from notify.core import a\n", "core/a.py": JOB},
    "upward import": {"core/a.py": JOB + "from notify.flows.book import book\n", "flows/book.py": JOB},
    "upward import: relative": {"store/a.py": JOB + "from ..web import page\n", "web/page.py": JOB},
    "upward import: inside a function": {
        "flows/a.py": JOB + "def f():\n    import notify.wiring\n",
        "wiring.py": JOB,
    },
    "upward import: by name": {
        "flows/a.py": JOB + "import importlib\nimportlib.import_module('notify.cli.main')\n",
        "cli/main.py": JOB,
    },
    "sibling import": {"render/a.py": JOB + "from notify.store import schema\n", "store/schema.py": JOB},
    "sibling import: a file": {"store/a.py": JOB + "from notify.paths import f\n", "paths.py": JOB},
    "cycle": {
        "store/a.py": JOB + "from notify.store import b\n",
        "store/b.py": JOB + "from notify.store.c import x\n",
        "store/c.py": JOB + "def f():\n    from . import a\n",
    },
    "third party in core": {"core/a.py": JOB + "import pydantic\n"},
    "impure standard library": {"core/a.py": JOB + "from pathlib import Path\n"},
    "impure standard library: randomness": {"core/a.py": JOB + "import secrets\n"},
    "impure standard library: beside a pure part": {"core/a.py": JOB + "import urllib.request\n"},
    "clock in core": {"core/a.py": JOB + "from datetime import UTC, datetime\nat = datetime.now(UTC)\n"},
    "clock in core: a random id": {"core/a.py": JOB + "from uuid import uuid4\nid_ = uuid4()\n"},
    "world in core": {"core/a.py": JOB + "def f(name):\n    return open(name)\n"},
    "foreign library": {"flows/a.py": JOB + "from sqlalchemy import select\n"},
    "foreign library: the scheduler": {"web/a.py": JOB + "import apscheduler.schedulers\n"},
    "foreign send": {"flows/a.py": JOB + "def f(channel, message):\n    channel.send(message)\n"},
}


def plant(folder: Path, files: dict[str, str]) -> Path:
    """Write a small package and return its folder."""
    for name, source in {"__init__.py": JOB, **files}.items():
        file = folder / "notify" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(source)
    return folder / "notify"


@pytest.mark.parametrize("case", PLANTED)
def test_a_planted_breach_is_found_and_nothing_else_is(case: str, tmp_path: Path) -> None:
    found = breaches(plant(tmp_path, PLANTED[case]), LAW)
    kind = case.partition(":")[0]
    assert {one.kind for one in found} == {kind}


def test_a_tree_that_keeps_every_rule_has_no_breach(tmp_path: Path) -> None:
    good = {
        "core/a.py": JOB + "import phonenumbers\nfrom urllib.parse import quote\nimport stdnum.iso7064\n",
        "core/b.py": JOB + "import datetime\nfrom notify.core import a\ndef f(at): return at.time()\n",
        "store/b.py": JOB + "import sqlalchemy\nfrom notify.core.a import quote\nfrom . import c\n",
        "store/c.py": JOB,
        "dispatch/deliver.py": JOB + "from notify.store.b import c\ndef f(channel, x): channel.send(x)\n",
        "wiring.py": JOB + "from notify.flows import f\n",
        "flows/f.py": JOB + "from notify.paths import templates_folder\n",
        "paths.py": JOB,
        "__main__.py": JOB + "from notify.cli.main import main\n",
        "cli/main.py": JOB + "from notify import wiring\nimport os\nprint(os.name)\n",
    }
    assert breaches(plant(tmp_path, good), LAW) == []


def test_without_its_line_in_the_table_a_room_would_be_refused() -> None:
    forgetful = replace(LAW, floors={room: floor for room, floor in FLOORS.items() if room != "core"})
    assert ("unknown room", "core") in {(one.kind, one.file) for one in breaches(NOTIFY, forgetful)}
