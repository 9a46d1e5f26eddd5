"""Arguments that nobody types by hand: a sentence and the right exit code, never a fault and never a hang."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Shop

STRANGE = ("\udcff\udcfe", "' or 1=1 --", "../../etc/passwd", "%", "\u202e", "\x1b[31m", "x" * 5000, "-", "")


@pytest.mark.long
@pytest.mark.parametrize("text", STRANGE, ids=range(len(STRANGE)))
def test_strange_words_in_any_place_are_refused_in_a_sentence(text: str, shop: Shop) -> None:
    number = shop.check_in()
    for words in (
        ("ticket", "show", text), ("ticket", "move", number, text), ("--as", text or "x", "ticket", "list"),
        ("--shop", text or "x", "ticket", "list"), ("message", "show", text or "x"),
        ("pickup", "book", number, text), ("question", "ask", number, text, "Stop?"), ("shop", "set", f"{text}=1"),
        ("shop", "set", f"zone={text}"), ("shop", "set", f"keep_period={text}"), ("shop", "closed", text or "x"),
        ("print", number, "ticket.pdf", "--paper", text), ("--config", text or "x", "ticket", "list"), (text or "x",),
    ):  # fmt: skip
        said = shop(*words)
        assert said.code in (2, 3, 4, 5, 6), (words, said.code, said.err)
        assert said.err and "Traceback" not in said.err and "fault" not in said.err


def test_words_that_are_no_text_are_kept_without_them_or_refused(shop: Shop) -> None:
    number = shop.check_in("--fault", "hums \udcff")
    assert shop("ticket", "note", number, "\udcff seen").code in (0, 2)
    assert shop.ok("ticket", "show", number).out.encode("utf-8")


def test_a_settings_file_without_end_is_refused_at_once(shop: Shop, tmp_path: Path) -> None:
    endless = Path("/dev/zero")
    if not endless.exists():
        endless = tmp_path / "large.toml"
        endless.write_bytes(b"#" * 5_000_000)
    said = shop("--config", str(endless), "ticket", "list")
    assert said.code == 6 and "cannot be read" in said.err
