"""`python -m tests.vectors FILE [--area NAME]`: every case through the product; exit 1 if one fails."""

from __future__ import annotations

import argparse
import sys
import zoneinfo
from pathlib import Path

from tests.vectors.cases import all_areas, failure, read_cases


def main(arguments: list[str]) -> int:
    """Print each failing case and, last, `N passed, N failed`, which adds up to the cases asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.vectors", description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("--area", help="only the cases of this area")
    asked = parser.parse_args(arguments)
    zoneinfo.reset_tzpath(to=[])  # as start-up does: the tzdata package only
    cases = [case for case in read_cases(asked.file) if asked.area in (None, case.area)]
    if not cases:
        parser.error(f"{asked.file.name} has no cases of the area {asked.area}")
    areas = all_areas()
    failed = 0
    for case in cases:
        if why := failure(case, areas):
            failed += 1
            print(f"FAILED {case.area} {case.id}: {why}")
    print(f"{len(cases) - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
