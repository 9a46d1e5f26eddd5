"""Reads an .ics with ical.js: a parser in another language that shares nothing with ours."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

from tests.parts.missing import missing

TESTS = Path(__file__).parents[1]


def by_ical_js(wire: bytes) -> Any:
    """What ical.js understood of an .ics."""
    node = shutil.which("node")
    if node is None or not (TESTS / "node_modules" / "ical.js").is_dir():
        missing("ical.js", "run `npm ci --prefix tests`")
    done = subprocess.run([node, TESTS / "ical_reader.mjs"], input=wire, capture_output=True, timeout=60, check=True)
    return json.loads(done.stdout)
