"""Phone numbers by the vector cases; e-mail addresses beside a second parser that must see the same one."""

from __future__ import annotations

import json
from email.headerregistry import HeaderRegistry
from email.utils import getaddresses
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.contacts import parse_email, parse_phone
from notify.core.errors import Invalid

VECTORS = Path(__file__).parents[1] / "vectors" / "messaging.json"
E164 = [case for case in json.loads(VECTORS.read_text("utf-8"))["cases"] if case["area"] == "e164"]


@pytest.mark.parametrize("case", E164, ids=lambda case: case["id"])
def test_each_published_phone_case_is_judged_as_expected(case: dict[str, Any]) -> None:
    text, region = case["given"]["input"], case["given"]["default_region"]
    expect = case["expect"]
    if not expect["accept"]:
        with pytest.raises(Invalid) as refused:
            parse_phone(text, region=region)
        assert refused.value.field == "phone"
        assert refused.value.advice
        return
    phone = parse_phone(text, region=region)
    assert (phone.e164, phone.valid, phone.possible) == (expect["e164"], expect["valid"], True)
    assert any("known to be in use" in warning for warning in phone.warnings) is expect["warn_not_valid"]


def test_all_thirty_phone_cases_are_there() -> None:
    accepted = sum(case["expect"]["accept"] for case in E164)
    print(f"FIGURE e164 cases={len(E164)} accepted={accepted} refused={len(E164) - accepted}")
    assert len(E164) == 30


@pytest.mark.parametrize(
    "text",
    [
        "07700 900123 or 07700 900124",
        "+447700900123/+447700900124",
        "+447700900123 +447700900124",
        "07700900123,07700900124",
        "07700900123;ext=5",
        "Pat 07700 900123",
        "07700 900123 Pat",
        "07700900123\n",
        "07700 900123\r\nBcc: x",
        "1" * 400,
        "٠" * 61,
        "+44 7700 900123 & 124",
        "07700 900123\x00",
    ],
)
def test_a_field_that_may_hold_more_than_one_number_is_refused(text: str) -> None:
    with pytest.raises(Invalid) as refused:
        parse_phone(text, region="GB")
    assert "7700" not in refused.value.what


def test_a_name_behind_a_number_is_not_read_as_keypad_letters() -> None:
    with pytest.raises(Invalid, match="letters"):
        parse_phone("0171 2345 Pat", region="DE")
    assert parse_phone("1-202-JKL-0123", region="US").e164 == "+12025550123"


def test_a_landline_is_taken_with_a_warning_about_texts() -> None:
    phone = parse_phone("+44 20 7946 0958", region=None)
    assert phone.kind == "fixed_line"
    assert not phone.may_get_texts
    assert "landline" in phone.warnings[0]
    assert parse_phone("07700 900123", region="gb").may_get_texts


GOOD = {
    "pat@example.org": "pat@example.org",
    " Pat.Quill@EXAMPLE.Org ": "Pat.Quill@example.org",
    "a@b.example.com": "a@b.example.com",
    "o'neill+radio=1@example.net": "o'neill+radio=1@example.net",
    "x" * 64 + "@example.org": "x" * 64 + "@example.org",
    "pat@xn--bcher-kva.example": "pat@xn--bcher-kva.example",
    "pat@9.example": "pat@9.example",
}
BAD = [
    "",
    " ",
    "pat",
    "@example.org",
    "pat@",
    "pat@@example.org",
    "pat@example",
    "pat@localhost",
    "pat@example.org.",
    ".pat@example.org",
    "pat.@example.org",
    "p..at@example.org",
    "pat@.example.org",
    "pat@example..org",
    "pat@-example.org",
    "pat@example-.org",
    "pat@exa_mple.org",
    "pat@[192.0.2.1]",
    "pat@192.0.2.1",
    "Pat <pat@example.org>",
    "<pat@example.org>",
    '"pat"@example.org',
    '"p@t"@example.org',
    "pat(x)@example.org",
    "pat@example.org, sam@example.org",
    "pat@example.org;sam@example.org",
    "pat@example.org,",
    "pat @example.org",
    "pat@example.org sam@example.org",
    "pat@exam ple.org",
    "pat@example.org\nBcc: sam@example.org",
    "pat@example.org\r\n",
    "\tpat@example.org",
    "pat\x00@example.org",
    "pat@example.org\x7f",
    "päm@example.org",
    "pat@exämple.org",
    "pat＠example.org",
    "pat@example.org\u200b",
    "pat@example\u3002org",
    "x" * 65 + "@example.org",
    "pat@" + "a" * 64 + ".org",
    "pat@" + ".".join(["abcdefghij"] * 23) + ".org",
    "pat:x@example.org",
    "p\\at@example.org",
    "mailto:pat@example.org",
]


@pytest.mark.parametrize(("text", "expected"), GOOD.items())
def test_one_plain_address_is_taken_and_its_domain_is_lowered(text: str, expected: str) -> None:
    assert parse_email(text) == expected


@pytest.mark.parametrize("text", BAD)
def test_what_is_not_exactly_one_address_is_refused(text: str) -> None:
    with pytest.raises(Invalid) as refused:
        parse_email(text)
    assert refused.value.field == "email"
    assert "pat@example.org" not in refused.value.what


def test_an_address_with_other_letters_is_refused_with_advice() -> None:
    with pytest.raises(Invalid, match="xn--"):
        parse_email("päm@example.org")


def test_lengths_end_where_the_mail_standard_ends() -> None:
    longest = "x" * 64 + "@" + ".".join(["a" * 63, "b" * 63, "c" * 57, "org"])
    assert len(longest) == 254
    assert parse_email(longest) == longest
    with pytest.raises(Invalid, match="254"):
        parse_email(longest.replace(".org", "c.org"))


@settings(max_examples=300, deadline=None)
@given(
    st.text(alphabet="pa1@.,;<>\"'()[]\\: -+_=ü\n\r\x00", max_size=24).map(lambda t: t + "@example.org")
    | st.text(alphabet="pa1@.,;<> -", max_size=24)
)
def test_whatever_is_taken_is_one_address_to_the_standard_library_too(text: str) -> None:
    try:
        address = parse_email(text)
    except Invalid:
        return
    header = HeaderRegistry()("To", address)
    assert [one.addr_spec for one in getattr(header, "addresses")] == [address]  # noqa: B009 - made at run time
    assert [found for _, found in getaddresses([address])] == [address]
    assert parse_email(address) == address
