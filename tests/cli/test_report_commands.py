"""The reports and their pictures as commands."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Any

import pytest

pytestmark = pytest.mark.long


def test_the_report_is_told_in_sentences_in_tables_and_in_json(shop: Any) -> None:
    shop.check_in()
    said = shop.ok("forecast", "report").out
    assert "WHAT" in said and "Waits for the bench" in said and "On average 0.0 waited for the bench" in said
    data = shop.ok("forecast", "report", "--json").data
    assert data["time"]["devices"] == 1 and set(data["time"]["sums"]) <= {"line"}
    assert data["bench"]["jobs"] == 1 and len(data["bench"]["days"]) == 7
    assert {"room", "mean", "low", "high"} == set(data["bench"]["days"][0]["taken"])
    shop.ok("part", "need", shop.check_in(), "potentiometer")
    assert shop.ok("forecast", "report", "--json").data["bench"]["without"] == {"not_ordered": 1}


def test_every_picture_becomes_a_file_of_its_own_and_no_file_is_written_over_unasked(shop: Any) -> None:
    folder = shop.installation.config.parent
    for name in ("bench", "promises", "pit", "drift", "time"):
        said = shop.ok("forecast", "picture", name, "--out", f"{name}.svg").out
        assert said.startswith(f"Written to {name}.svg.")
        assert ET.fromstring((folder / f"{name}.svg").read_bytes()).tag.endswith("svg")
    again = shop("forecast", "picture", "time", "--out", "time.svg", "--json")
    assert again.code == 5 and "time.svg is already there" in again.err
    shop.ok("forecast", "picture", "time", "--out", "time.svg", "--overwrite", "--dark")
    assert shop("forecast", "picture", "weather", "--out", "x.svg").code == 2
    assert shop("forecast", "picture", "time", "--out", "nowhere/x.svg").code == 2
