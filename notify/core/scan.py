"""Says what a scanned or typed text is: a claim link of this house, a pass, a claim number, a part label, or none."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from notify.core.claim_number import holds_token, is_pass_code, is_token, parse_number, read_pass_code
from notify.core.errors import Invalid

OWN_SCHEME = "shelfbell:"
LONGEST = 400
# Printed on packing slips and shelves of suppliers: no white space at its ends, no address, at most what a line holds.
_LINE_CODE = re.compile(r"(?![a-zA-Z][a-zA-Z0-9+.-]*:)\S(?:[\S ]{0,58}\S)?")
_PART_CODE = re.compile(r"[a-z0-9][a-z0-9-]{0,63}")

# The same 47 keys on three layouts, first plain, then with Shift; a blank stands for a dead key.
# Source: xkeyboard-config 2.35.1, symbols us(basic), de(basic), fr(oss) with the usual French marks.
_US = ("`1234567890-=qwertyuiop[]asdfghjkl;'\\zxcvbnm,./", '~!@#$%^&*()_+QWERTYUIOP{}ASDFGHJKL:"|ZXCVBNM<>?')
_DE = (" 1234567890ß qwertzuiopü+asdfghjklöä#yxcvbnm,.-", "°!\"§$%&/()=? QWERTZUIOPÜ*ASDFGHJKLÖÄ'YXCVBNM;:_")
_FR = ("²&é\"'(-è_çà)=azertyuiop $qsdfghjklmù*wxcvbn,;:!", "³1234567890°+AZERTYUIOP £QSDFGHJKLM%µWXCVBN?./§")
_LAYOUTS = (_US, _DE, _FR)


@dataclass(frozen=True, slots=True)
class Scan:
    """`kind` is claim, pass, number, part or unknown; `value` the token, number or code; `advice` if unknown.

    `codes`: the readings of a text that may be a packing slip, an order number or an article, which only the order
    lines of a shop can tell.
    """

    kind: str
    value: str = ""
    advice: str = ""
    codes: tuple[str, ...] = field(default=(), compare=False)


def read_scan(text: str, *, base_url: str) -> Scan:
    """A claim is `<base_url>/c/<token>` or `shelfbell:c/<token>`, a pass `<base_url>/p/<code>`, `shelfbell:d/<code>` or
    the bare code with or without its dashes, a part label `shelfbell:p/<code>`.

    `base_url` is the public address without a slash at its end, or "" for none. Only the own host is
    accepted, so that a sticker pasted over a code leads nowhere. A code typed by a scanner whose
    layout differs from the computer's is put right for US, German and French keyboards and Caps Lock.
    A claim number is never put right in this way: one wrong sign must stay an error. Never raises.
    """
    typed = text.strip()
    if len(typed) > LONGEST:
        return Scan("unknown", advice="This is too long for a code. Scan one code only.")
    for reading in _readings(typed):
        found = _read_code(reading, base_url)
        if found is not None:
            return found
    if code := read_pass_code(typed):
        return Scan("pass", code, codes=_line_codes(typed))
    try:
        return Scan("number", parse_number(typed), codes=_line_codes(typed))
    except Invalid as problem:
        return Scan("unknown", advice=_advice(typed, str(problem)), codes=_line_codes(typed))


def _line_codes(typed: str) -> tuple[str, ...]:
    """What the text may be as a number on a packing slip, on an order or of an article; none for a claim secret."""
    if holds_token(typed) or not _LINE_CODE.fullmatch(typed):
        return ()
    return tuple(dict.fromkeys(_readings(typed)))


def _readings(typed: str) -> Iterator[str]:
    """The text as it stands, then as each scanner layout would have meant it on each computer layout."""
    yield typed
    caps_lock = "".join(sign if sign == "ß" else sign.swapcase() for sign in typed)
    for variant in (typed, caps_lock):
        for meant in _LAYOUTS:
            for shown in _LAYOUTS:
                if meant is not shown:
                    yield variant.translate(_back(shown, meant))


def _back(shown: tuple[str, str], meant: tuple[str, str]) -> dict[int, str]:
    pairs = zip("".join(shown), "".join(meant), strict=True)
    return {ord(typed): sign for typed, sign in pairs if typed != " "}


def _read_code(reading: str, base_url: str) -> Scan | None:
    lowered = reading.lower()
    for prefix in (f"{base_url}/c/" if base_url else "", f"{OWN_SCHEME}c/"):
        if prefix and lowered.startswith(prefix.lower()) and is_token(lowered[len(prefix) :]):
            return Scan("claim", lowered[len(prefix) :])
    for prefix in (f"{base_url}/p/" if base_url else "", f"{OWN_SCHEME}d/"):
        if prefix and lowered.startswith(prefix.lower()) and is_pass_code(lowered[len(prefix) :]):
            return Scan("pass", lowered[len(prefix) :])
    prefix = f"{OWN_SCHEME}p/"
    if lowered.startswith(prefix) and _PART_CODE.fullmatch(lowered[len(prefix) :]):
        return Scan("part", lowered[len(prefix) :])
    return None


def _advice(typed: str, problem: str) -> str:
    if holds_token(typed):
        return (
            "This claim code was not printed for this address, or the scanner uses another keyboard "
            "layout than the computer. Check the ticket and the scanner, or type the claim number."
        )
    if re.match(r"[a-z][a-z0-9+.-]*:", typed, re.IGNORECASE):
        return "This code is somebody else's; nothing of it was opened. Scan the code on the claim ticket."
    return problem
