"""Claim numbers, which are spoken and not secret, and claim tokens, which are scanned and secret."""

from __future__ import annotations

import re
from collections.abc import Callable

from stdnum.iso7064 import mod_37_2

from notify.core.errors import Invalid

# Digits and the consonants that look like no digit: no B (8), D O Q (0), G (6), I L (1), S (5), U (V), Z (2),
# and no N, which sounds like M. Without vowels no number is a word, and none reads as 12E5 in a spreadsheet.
# 23 signs, a prime: then ISO 7064's pure system with radix 2 misses no wrong sign and no swap of neighbours.
ALPHABET = "0123456789CFHJKMPRTVWXY"
_LETTERS = ALPHABET[10:]
_LOOK_ALIKE = str.maketrans("BDGILNOQSUZ", "80611M005V2")
_LEFT_OUT = re.compile(r"[\s\-\u2010-\u2015._/]+")
LENGTH = 6

# What a scanner types goes through two keyboard layouts, its own and the computer's. These 16 letters lie
# on the same key, without Shift, on the US, British, German, Swiss, French, Belgian, Italian, Spanish,
# Portuguese, Nordic, Polish, Czech, Hungarian and Turkish layouts (xkeyboard-config 2.35.1): a q w z m
# wander on AZERTY, y z on QWERTZ, i on the Turkish one, and digits need Shift on AZERTY and in Czech. Vowels
# are left out as well, so that a token is never a word; 16 letters are 4 bits each. On Dvorak hardly any
# letter keeps its place: there the scanner must be set to the layout in use.
TOKEN_ALPHABET = "bcdfghjklnprstvx"  # noqa: S105 - an alphabet, not a secret
TOKEN_LENGTH = 32  # 32 letters of 4 bits: 128 bits (OWASP ASVS 5.0.0, 11.5.1)
PART_CODE_LENGTH = 12
# A pass is shorter, for it may be read out and typed: 16 letters of 4 bits are 64 bits. From there on NIST SP 800-63B
# (draft of revision 4) asks for no throttle; there is one all the same. It ends by use and within weeks.
PASS_LENGTH = 16
_TOKEN = re.compile(f"[{TOKEN_ALPHABET}]{{{TOKEN_LENGTH}}}")
_PASS = re.compile(f"[{TOKEN_ALPHABET}]{{{PASS_LENGTH}}}")
_TOKEN_INSIDE = re.compile(f"(?<![a-z])(?:{_TOKEN.pattern}|{_PASS.pattern})(?![a-z])", re.IGNORECASE)

Pick = Callable[[int], int]  # pick(n) -> one of 0 … n-1, such as secrets.randbelow


def check_character(payload: str, *, alphabet: str = ALPHABET) -> str:
    """The check character of ISO 7064, pure system with radix 2, modulus len(alphabet)."""
    return str(mod_37_2.calc_check_digit(payload, alphabet=alphabet))


def new_number(pick: Pick, *, length: int = LENGTH) -> str:
    """A new claim number: `length` signs and a check character.

    The first sign is a letter, so that no program takes it for a number and drops its zeros. Length 6
    has 83 million payloads; the store refuses one that is taken.
    """
    first = _LETTERS[pick(len(_LETTERS))]
    payload = first + "".join(ALPHABET[pick(len(ALPHABET))] for _ in range(length - 1))
    return payload + check_character(payload)


def parse_number(text: str, *, length: int = LENGTH) -> str:
    """The claim number in its one form: spaces and dashes dropped, upper case, look-alikes folded.

    Raises Invalid (field "number") for a wrong length, a sign that no claim number has, or a check
    character that does not fit.
    """
    number = _LEFT_OUT.sub("", text[:100]).upper().translate(_LOOK_ALIKE)
    if len(number) != length + 1:
        raise _wrong(f"A claim number has {length + 1} letters and digits")
    if any(sign not in ALPHABET for sign in number):
        raise _wrong("A sign in the claim number is never used in one")
    if check_character(number[:-1]) != number[-1]:
        raise _wrong("The claim number does not fit its check character: a sign is wrong or two are swapped")
    return number


def show_number(number: str) -> str:
    """ "K7M2X9T" -> "K7M-2X9T": in two groups, as it is printed and spoken."""
    middle = len(number) // 2
    return f"{number[:middle]}-{number[middle:]}"


def new_token(pick: Pick) -> str:
    """A new secret for a claim link: 32 lower-case letters, 128 bits if `pick` is secrets.randbelow."""
    return _letters(pick, TOKEN_LENGTH)


def new_part_code(pick: Pick) -> str:
    """A new code for a part's label: 12 letters, 48 bits; it finds the part and opens nothing."""
    return _letters(pick, PART_CODE_LENGTH)


def new_pass_code(pick: Pick) -> str:
    """A new code for a pass: 16 letters, 64 bits; with it somebody named by the customer collects, once."""
    return _letters(pick, PASS_LENGTH)


def is_pass_code(text: str) -> bool:
    """Whether `text` has the exact form of a pass code; says nothing about whether it is one."""
    return _PASS.fullmatch(text) is not None


def read_pass_code(typed: str) -> str:
    """The code in its one form, lower case without blanks and dashes; "" when it has not the form of one."""
    code = _LEFT_OUT.sub("", typed[:100]).lower()
    return code if is_pass_code(code) else ""


def show_pass_code(code: str) -> str:
    """ "bcdfghjklnprstvx" -> "bcdf-ghjk-lnpr-stvx": in groups, as it is printed and read out."""
    return "-".join(code[at : at + 4] for at in range(0, len(code), 4))


def is_token(text: str) -> bool:
    """Whether `text` has the exact form of a claim token; says nothing about whether it is one."""
    return _TOKEN.fullmatch(text) is not None


def holds_token(text: str) -> bool:
    """Whether a claim token or a pass code stands anywhere in `text`: for fields that must refuse one scanned in."""
    return _TOKEN_INSIDE.search(text) is not None


def hide_tokens(text: str) -> str:
    """The text with every claim token and pass code in it replaced by dots: for showing staff what was sent."""
    return _TOKEN_INSIDE.sub("••••", text)


def _letters(pick: Pick, count: int) -> str:
    drawn, base = pick(len(TOKEN_ALPHABET) ** count), len(TOKEN_ALPHABET)  # one draw in base 16
    return "".join(TOKEN_ALPHABET[drawn // base**place % base] for place in range(count))


def _wrong(what: str) -> Invalid:
    return Invalid(what, "Read it from the ticket once more, or scan the code.", field="number")
