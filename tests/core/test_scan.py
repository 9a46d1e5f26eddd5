"""What a scan means: own codes only, also when the scanner's keyboard layout is not the computer's."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from notify.core.claim_number import (
    PASS_LENGTH,
    TOKEN_ALPHABET,
    new_number,
    new_part_code,
    new_pass_code,
    new_token,
    show_number,
    show_pass_code,
)
from notify.core.scan import Scan, read_scan

KEYBOARDS = json.loads((Path(__file__).parent / "keyboards.json").read_text("utf-8"))["layouts"]
PICK = random.Random(7).randrange
TOKEN = new_token(PICK)
NUMBER = new_number(PICK)
PASS = new_pass_code(PICK)
BASE = "https://bell-6.quillhaven.example.org"


def typed_through(text: str, *, scanner: str, computer: str, caps: bool = False) -> str:
    """What the computer shows when a scanner set to one layout types `text` on a computer set to another."""
    shown = ""
    for sign in text:
        key, shift = next((key, signs.index(sign)) for key, signs in KEYBOARDS[scanner].items() if sign in signs)
        plain, shifted = KEYBOARDS[computer][key]
        swap = caps and plain.isalpha() and plain.upper() == shifted
        shown += (plain, shifted)[1 - shift if swap else shift]
    return shown


def test_an_own_claim_code_gives_its_token() -> None:
    for text in (f"{BASE}/c/{TOKEN}", f"{BASE}/c/{TOKEN}\r\n", f"\t{BASE}/c/{TOKEN} ", f"{BASE}/c/{TOKEN}".upper()):
        assert read_scan(text, base_url=BASE) == Scan("claim", TOKEN)
    assert read_scan(f"shelfbell:c/{TOKEN}", base_url="") == Scan("claim", TOKEN)
    assert read_scan(f"shelfbell:c/{TOKEN}", base_url=BASE) == Scan("claim", TOKEN)


def test_an_address_with_a_folder_is_compared_whole() -> None:
    base = "http://127.0.0.1:8600/bell"
    assert read_scan(f"{base}/c/{TOKEN}", base_url=base).kind == "claim"
    assert read_scan(f"http://127.0.0.1:8600/c/{TOKEN}", base_url=base).kind == "unknown"


@pytest.mark.parametrize(
    "text",
    [
        f"https://other.example.org/c/{TOKEN}",
        f"{BASE}.other.example.net/c/{TOKEN}",
        f"https://x@bell-6.quillhaven.example.org/c/{TOKEN}",
        f"{BASE}:444/c/{TOKEN}",
        f"http{BASE[5:]}/c/{TOKEN}",
        f"httpx{BASE[5:]}/c/{TOKEN}",
        f"https://bell-6.quillhaven.example.net/c/{TOKEN}",
        f"{BASE}/c/{TOKEN}?x=1",
        f"{BASE}/c/{TOKEN}#x",
        f"{BASE}/c/{TOKEN}/",
        f"{BASE}/c/../c/{TOKEN}",
        f"{BASE}/c/{TOKEN}b",
        f"{BASE}/c/{TOKEN[:-1]}",
        f"{BASE}//c/{TOKEN}",
        f"{BASE}/c/",
        f"{BASE}/",
        BASE,
        TOKEN,
        f"/c/{TOKEN}",
        f"shelfbell://c/{TOKEN}",
        f"shelfbells:c/{TOKEN}",
        f"https://other.example.org/?{BASE}/c/{TOKEN}",
        f"{BASE}/c/{TOKEN}\n{BASE}/c/{TOKEN}",
        "tel:+447700900123",
        "WIFI:S:Tramstop;;",
        "javascript:alert(1)",
        "shelfbell:p/",
        "shelfbell:p/../x",
        "shelfbell:p/" + "b" * 65,
        "",
        " ",
        "hello",
        "'; --",
        "😀",
        "x" * 10**6,
    ],
)
def test_every_other_text_is_unknown_and_says_what_to_do(text: str) -> None:
    found = read_scan(text, base_url=BASE)
    assert (found.kind, found.value) == ("unknown", "")
    assert found.advice.endswith(".")
    assert TOKEN not in found.advice


def test_without_a_public_address_no_address_is_accepted() -> None:
    for text in (f"{BASE}/c/{TOKEN}", f"/c/{TOKEN}", f"c/{TOKEN}"):
        assert read_scan(text, base_url="").kind == "unknown"


def test_a_part_label_and_a_claim_number_are_told_apart() -> None:
    code = new_part_code(PICK)
    assert read_scan(f"shelfbell:p/{code}", base_url=BASE) == Scan("part", code)
    assert read_scan(show_number(NUMBER).lower(), base_url=BASE) == Scan("number", NUMBER)


def test_a_scanner_set_to_another_layout_than_the_computer_still_works() -> None:
    cells = read = 0
    for scanner in ("us", "de", "fr"):
        for computer in ("us", "gb", "de", "fr"):
            for caps in (False, True):
                for text in (f"{BASE}/c/{TOKEN}", f"shelfbell:c/{TOKEN}"):
                    cells += 1
                    shown = typed_through(text, scanner=scanner, computer=computer, caps=caps)
                    read += read_scan(shown, base_url=BASE) == Scan("claim", TOKEN)
    print(f"FIGURE scan_layouts cells={cells} read={read}")
    assert read == cells == 48


def test_a_pass_is_read_from_its_address_its_offline_code_and_its_letters_alone() -> None:
    for text in (f"{BASE}/p/{PASS}", f"{BASE}/p/{PASS}\r\n", f"{BASE}/P/{PASS}".upper(), f"shelfbell:d/{PASS}",
                 PASS, PASS.upper(), show_pass_code(PASS), f" {show_pass_code(PASS).replace('-', ' ')} "):  # fmt: skip
        assert read_scan(text, base_url=BASE) == Scan("pass", PASS), text
    assert len(TOKEN_ALPHABET) ** PASS_LENGTH == 2**64  # NIST SP 800-63B (draft rev. 4): below it a throttle is a must


@pytest.mark.parametrize(
    "text",
    [f"https://other.example.org/p/{PASS}", f"{BASE}/p/{PASS}b", f"{BASE}/p/{PASS[:-1]}", f"{BASE}/p/{PASS}?given=1",
     PASS[:-1], PASS + "b", "a" + PASS[1:], f"shelfbell:p/{PASS}x/", f"{BASE}/c/{PASS}"],
)  # fmt: skip
def test_what_is_no_pass_of_this_house_is_no_pass(text: str) -> None:
    found = read_scan(text, base_url=BASE)
    assert found.kind != "pass" and PASS not in found.advice


def test_a_pass_scanned_through_another_layout_is_still_a_pass() -> None:
    cells = read = 0
    for scanner in ("us", "de", "fr"):
        for computer in ("us", "gb", "de", "fr"):
            for caps in (False, True):
                for text in (f"{BASE}/p/{PASS}", f"shelfbell:d/{PASS}", PASS):
                    cells += 1
                    shown = typed_through(text, scanner=scanner, computer=computer, caps=caps)
                    read += read_scan(shown, base_url=BASE) == Scan("pass", PASS)
    print(f"FIGURE scan_layouts_pass cells={cells} read={read}")
    assert read == cells == 72


def test_another_house_is_refused_through_every_layout_too() -> None:
    for scanner in ("us", "de", "fr"):
        for computer in ("us", "de", "fr"):
            text = typed_through(f"https://other.example.org/c/{TOKEN}", scanner=scanner, computer=computer)
            assert read_scan(text, base_url=BASE).kind == "unknown"


def test_a_number_with_one_wrong_sign_is_never_put_right_by_a_layout() -> None:
    for place in range(len(NUMBER)):
        for sign in "0123456789CFHJKMPRTVWXY&é(è_çà":
            if sign != NUMBER[place]:
                slip = NUMBER[:place] + sign + NUMBER[place + 1 :]
                assert read_scan(slip, base_url=BASE).kind == "unknown"
