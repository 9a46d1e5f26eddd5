"""Reads a vector file and puts its cases through the product, by the table of areas that adapters fill."""

from __future__ import annotations

import importlib
import json
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tests.vectors

FOLDER = Path(__file__).parent
SCHEMA = "shelfbell-cases/1"
Adapter = Callable[[dict[str, Any], dict[str, Any]], None]


@dataclass(frozen=True, slots=True)
class Case:
    """One case of a vector file."""

    id: str
    area: str
    title: str
    given: dict[str, Any]
    expect: dict[str, Any]


class NotBuilt(AssertionError):
    """The product has no function yet that this case could go through; it counts as failed."""


def read_cases(path: Path) -> list[Case]:
    """All cases of the file. Raises ValueError if the file is of another schema or its count is wrong."""
    held = json.loads(path.read_text(encoding="utf-8"))
    if held.get("schema") != SCHEMA or held.get("count") != len(held["cases"]):
        raise ValueError(f"{path.name} is not a whole file of schema {SCHEMA}")
    return [
        Case(id=c["id"], area=c["area"], title=c.get("title", ""), given=c["given"], expect=c["expect"])
        for c in held["cases"]
    ]


def all_areas() -> dict[str, Adapter]:
    """Area name to adapter, gathered from the AREAS table of every module areas_*.py here."""
    table: dict[str, Adapter] = {}
    for module in pkgutil.iter_modules(tests.vectors.__path__):
        if module.name.startswith("areas_"):
            areas = importlib.import_module(f"tests.vectors.{module.name}").AREAS
            if twice := table.keys() & areas.keys():
                raise ValueError(f"two adapters for the area {', '.join(twice)}")
            table |= areas
    return table


def failure(case: Case, areas: dict[str, Adapter]) -> str:
    """Why the case fails, or "" if it passes; an area without an adapter is a failure."""
    adapter = areas.get(case.area)
    if adapter is None:
        return "no adapter for this area"
    try:
        adapter(case.given, case.expect)
    except Exception as wrong:  # whatever the product raises, the next case must run
        first = (str(wrong) or repr(wrong)).splitlines()[0]
        return f"{type(wrong).__name__}: {first}"[:200]
    return ""


def parametrise(file: str, area: str) -> list[Case]:
    """The cases of one area of a file in this folder, for pytest."""
    return [case for case in read_cases(FOLDER / file) if case.area == area]
