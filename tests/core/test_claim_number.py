"""Claim numbers against ISO 7064 and every single slip; tokens against real keyboard layouts."""

from __future__ import annotations

import json
import math
import random
import re
import secrets
import string
from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest

from notify.core.claim_number import (
    ALPHABET,
    TOKEN_ALPHABET,
    TOKEN_LENGTH,
    check_character,
    holds_token,
    is_token,
    new_number,
    new_part_code,
    new_token,
    parse_number,
    show_number,
)
from notify.core.errors import Invalid

KEYBOARDS = json.loads((Path(__file__).parent / "keyboards.json").read_text("utf-8"))["layouts"]
CHOSEN = sorted(set(KEYBOARDS) - {"dvorak"})


def pick_from(seed: int) -> random.Random:
    return random.Random(seed)


def fits(number: str) -> bool:
    try:
        parse_number(number)
    except Invalid:
        return False
    return True


@pytest.mark.parametrize(
    ("payload", "check", "alphabet"),
    [
        ("0794", "0", "0123456789X"),  # ISO 7064, the examples of MOD 11-2
        ("079", "X", "0123456789X"),
        ("000000021825009", "7", "0123456789X"),  # ORCID iD 0000-0002-1825-0097, its own documentation
        ("000000021694233", "X", "0123456789X"),  # ORCID iD 0000-0002-1694-233X, the same
        ("G123489654321", "Y", string.digits + string.ascii_uppercase + "*"),
        # MOD 37-2, blood donations (ISBT 128)
    ],
)
def test_the_check_character_agrees_with_published_examples(payload: str, check: str, alphabet: str) -> None:
    assert check_character(payload, alphabet=alphabet) == check


def test_the_sum_of_the_standard_is_one_for_every_number() -> None:
    pick = pick_from(1)
    for _ in range(500):
        number = new_number(pick.randrange)
        total = sum(ALPHABET.index(sign) * 2**place for place, sign in enumerate(reversed(number)))
        assert total % len(ALPHABET) == 1  # ISO 7064, pure systems: the weighted sum leaves 1


def test_every_wrong_sign_and_every_swap_of_neighbours_is_noticed() -> None:
    pick = pick_from(2)
    wrong = swapped = jumped = twins = missed = 0
    for number in [new_number(pick.randrange) for _ in range(100)]:
        for place, right in enumerate(number):
            for sign in ALPHABET.replace(right, ""):
                wrong += 1
                missed += fits(number[:place] + sign + number[place + 1 :])
        for place, (a, b) in enumerate(pairwise(number)):
            if a != b:
                swapped += 1
                missed += fits(number[:place] + b + a + number[place + 2 :])
            else:
                for sign in ALPHABET.replace(a, ""):
                    twins += 1
                    missed += fits(number[:place] + sign + sign + number[place + 2 :])
        for place in range(len(number) - 2):
            a, middle, b = tuple(number[place : place + 3])
            if a != b:
                jumped += 1
                missed += fits(number[:place] + b + middle + a + number[place + 3 :])
    print(
        f"FIGURE claim_number substitutions={wrong} neighbour_swaps={swapped} jump_swaps={jumped} "
        f"twin_errors={twins} missed={missed}"
    )
    assert wrong == 100 * 7 * 22
    assert missed == 0


def test_a_check_without_weights_would_have_been_caught_missing_swaps() -> None:
    number = new_number(pick_from(3).randrange)
    plain_sum = sum(ALPHABET.index(sign) for sign in number)
    swapped = number[1] + number[0] + number[2:]
    assert plain_sum == sum(ALPHABET.index(sign) for sign in swapped)
    assert not fits(swapped)


def test_the_alphabet_is_prime_and_holds_no_two_signs_that_look_alike() -> None:
    assert len(ALPHABET) == len(set(ALPHABET)) == 23
    assert all(len(ALPHABET) % divisor for divisor in range(2, 23))
    for group in ("0ODQ", "1IL", "2Z", "5S", "8B", "6G", "UV", "MN"):  # common practice, no source
        assert len(set(group) & set(ALPHABET)) == 1, group


def test_a_number_is_read_however_it_was_spoken_or_written() -> None:
    number = new_number(pick_from(4).randrange)
    shown = show_number(number)
    assert re.fullmatch(r"[A-Z]..-....", shown)
    for text in (shown, shown.lower(), f"  {shown} ", " ".join(number), shown.replace("-", "–"), f"{number}\n"):
        assert parse_number(text) == number
    assert show_number("K7M2X9T") == "K7M-2X9T"


def test_look_alikes_are_read_as_the_sign_that_was_printed() -> None:
    for payload in ("C01258", "V06M11"):
        number = payload + check_character(payload)
        for printed, typed in ("0O", "0D", "0Q", "1I", "1L", "2Z", "5S", "8B", "6G", "VU", "MN"):
            assert parse_number(number.replace(printed, typed)) == number


@pytest.mark.parametrize(
    "text", ["", "K7M", "K7M-2X9T-1", "'; --", "AEAEAEA", "K7M2X9😀", "x" * 10**6, "７７７７７７７"]
)
def test_what_cannot_be_a_number_is_refused_with_advice(text: str) -> None:
    with pytest.raises(Invalid) as refused:
        parse_number(text)
    assert refused.value.field == "number"
    assert "ticket" in refused.value.advice


def test_a_number_begins_with_a_letter_and_has_its_length() -> None:
    numbers = [new_number(secrets.randbelow) for _ in range(500)]
    assert all(number[0].isalpha() and len(number) == 7 for number in numbers)
    assert len(new_number(secrets.randbelow, length=8)) == 9


@pytest.mark.long
def test_a_token_has_128_bits_and_none_of_100000_comes_twice() -> None:
    tokens = [new_token(secrets.randbelow) for _ in range(100_000)]
    repeats = len(tokens) - len(set(tokens))
    bits = TOKEN_LENGTH * math.log2(len(set(TOKEN_ALPHABET)))
    print(f"FIGURE D6_tokens tokens={len(tokens)} repeats={repeats} bits={bits:.0f}")
    assert repeats == 0
    assert bits >= 128
    assert all(is_token(token) for token in tokens[:1000])
    # A letter left out, or one favoured, would show: every letter at every place, each about a sixteenth.
    for place in range(TOKEN_LENGTH):
        counts = Counter(token[place] for token in tokens[:20_000])
        assert min(counts[letter] for letter in TOKEN_ALPHABET) > 1000
        assert max(counts.values()) < 1500


def test_each_letter_of_a_token_comes_from_bits_of_its_own() -> None:
    asked: list[int] = []

    def draw(number: int) -> str:
        return new_token(lambda choices: asked.append(choices) or number)  # type: ignore[func-returns-value]

    nothing = draw(0)
    for place in range(TOKEN_LENGTH):
        for digit in range(1, 16):
            token = draw(digit * 16**place)
            assert [a == b for a, b in zip(token, nothing, strict=True)].count(False) == 1
    assert set(asked) == {2**128}


def typed_alike(sign: str, layouts: list[str]) -> bool:
    """Whether one key, without Shift, types this sign on all of the layouts."""
    keys = [{key for key, signs in KEYBOARDS[name].items() if signs[0] == sign} for name in layouts]
    return bool(set.intersection(*keys))


def test_every_sign_of_a_token_keeps_its_key_on_all_chosen_layouts() -> None:
    survivors = {sign for sign in string.ascii_lowercase + string.digits if typed_alike(sign, CHOSEN)}
    lost = "".join(sorted(set(string.ascii_lowercase + string.digits) - survivors))
    print(
        f"FIGURE token_layouts layouts={len(CHOSEN)} survivors={len(survivors)} lost={lost} "
        f"token_letters={len(TOKEN_ALPHABET)}"
    )
    assert len(CHOSEN) == 15
    assert set(TOKEN_ALPHABET) == survivors - set("aeiou")
    assert set(lost) == set("aqwzmyi" + string.digits)


def test_no_alphabet_could_survive_dvorak_as_well() -> None:
    assert not any(typed_alike(sign, [*CHOSEN, "dvorak"]) for sign in TOKEN_ALPHABET)


def test_a_token_scanned_into_another_field_is_seen() -> None:
    token = new_token(secrets.randbelow)
    for text in (
        token,
        token.upper(),
        f"https://shop.example.org/c/{token}",
        f"note: {token}.",
        f"shelfbell:c/{token}",
    ):
        assert holds_token(text)
    for text in ("", "the radio is dead", token[:-1], token + "b", "Rhythm " * 20):
        assert not holds_token(text)
    assert not is_token(token.upper())
    assert not is_token(token + "\n")


def test_a_part_code_is_short_and_never_taken_for_a_token() -> None:
    code = new_part_code(secrets.randbelow)
    assert len(code) == 12
    assert not holds_token(code)
