"""Pads and true times by command: printed, entered, made void; any other word after `print` is a claim number."""

from __future__ import annotations

import stat
from datetime import UTC, datetime, timedelta

import pytest

from tests.cli.conftest import Shop

pytestmark = pytest.mark.long


def _now() -> str:
    return datetime.now(UTC).isoformat()


def test_a_pad_is_printed_entered_and_made_void_by_command(shop: Shop) -> None:
    folder = shop.installation.config.parent
    made = shop.ok("print", "pad", str(folder / "pad.pdf"), "--tickets", "3", "--paper", "roll80", "--json").data
    assert len(made["numbers"]) == 3 and (folder / "pad.pdf").read_bytes().startswith(b"%PDF")
    assert stat.S_IMODE((folder / "pad.pdf").stat().st_mode) == 0o600
    assert shop("print", "pad", str(folder / "pad.pdf")).code == 5  # never over a file that is there
    number = shop.check_in("--pad", made["numbers"][0])
    assert number == made["numbers"][0]
    assert shop.ok("print", number, str(folder / "claim.pdf")).out == f"Written: {folder / 'claim.pdf'} (roll80).\n"
    assert shop.ok("pad", "void", made["numbers"][1]).out == "1 blank ticket made void.\n"
    again = shop.ok("print", "pad", str(folder / "again.pdf"), "--again", "--json").data
    assert again["numbers"] == [made["numbers"][2]] and again["pad"] == made["pad"]
    (pad,) = shop.ok("pad", "list", "--json").data
    assert (pad["left"], pad["entered"], pad["void"]) == ([made["numbers"][2]], [number], [made["numbers"][1]])
    assert shop("pad", "void").code == 2 and shop("pad", "void", "--pad", "zzz").code == 4
    late = shop("check-in", "--device", "Radio", "--class", "radio", "--taken-in", "2020-01-01T09:00", "--json")
    assert late.code == 2 and "more than 30 days ago" in late.err


def test_steps_and_a_handover_on_paper_are_entered_with_their_times(shop: Shop) -> None:
    number = shop.check_in()
    shop.ok("ticket", "move", number, "in_line", "--at", _now())
    early = (datetime.now(UTC) - timedelta(days=1)).isoformat()
    refused = shop("ticket", "move", number, "on_bench", "--at", early)
    assert refused.code == 2 and "later time" in refused.err
    shop.ok("ticket", "move", number, "on_bench")
    shop.ok("ticket", "move", number, "on_shelf")
    assert shop("handover", "give", number, "--at", _now()).code == 3
    said = shop.ok("handover", "give", number, "--at", _now(), "--checked", "Ada saw the claim ticket")
    assert said.out == f"Handed back: {number}.\n"


def test_the_day_sheet_is_printed_for_the_next_open_day_or_the_one_that_is_named(shop: Shop) -> None:
    folder = shop.installation.config.parent
    shop.check_in()
    said = shop.ok("print", "day-sheet", str(folder / "day.pdf"), "--json").data
    assert said["day"] > f"{datetime.now(UTC):%Y-%m-%d}" and (folder / "day.pdf").read_bytes().startswith(b"%PDF")
    assert (
        shop.ok("print", "day-sheet", str(folder / "t.pdf"), "--day", "2026-11-30", "--json").data["day"]
        == "2026-11-30"
    )
    assert shop("print", "day-sheet", str(folder / "x.pdf"), "--day", "someday").code == 2
