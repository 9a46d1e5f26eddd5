"""Says loudly that a part of the machine is missing: a skip at home, a failure where CI=true."""

from __future__ import annotations

import os
from typing import NoReturn

import pytest


def missing(part: str, cure: str) -> NoReturn:
    """End the running test: nobody may believe that it passed."""
    text = f"{part} is missing on this machine; {cure}"
    if os.environ.get("CI", "").lower() == "true":
        pytest.fail(text, pytrace=False)
    pytest.skip(text)
