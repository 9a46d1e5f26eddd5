"""Judges a phone number and an e-mail address as typed: exactly one of each, or a clear refusal."""

from __future__ import annotations

import re
from dataclasses import dataclass

import phonenumbers
from phonenumbers import (
    NumberParseException,
    PhoneNumber,
    PhoneNumberFormat,
    PhoneNumberType,
    ValidationResult,
)

from notify.core.errors import Invalid

LONGEST_LOCAL = 64  # RFC 5321, 4.5.3.1.1
LONGEST_ADDRESS = 254  # RFC 5321, 4.5.3.1.3: a path of 256 octets, less its two angle brackets
LONGEST_LABEL = 63  # RFC 1035, 2.3.4
LONGEST_PHONE_TEXT = 60

_HOW_TO_WRITE = "Write it with + and the country code, for example +44 7700 900123."
_ONE_NUMBER = "Write one number and nothing else in this field."
_NOT_POSSIBLE = {
    ValidationResult.IS_POSSIBLE_LOCAL_ONLY: ("The phone number lacks its area code", "Add the area code."),
    ValidationResult.TOO_SHORT: ("The phone number is too short", "Look for a missing digit."),
    ValidationResult.TOO_LONG: ("The phone number is too long", "Look for one too many. " + _HOW_TO_WRITE),
    ValidationResult.INVALID_LENGTH: ("The phone number has too many or too few digits", "Read it back."),
    ValidationResult.INVALID_COUNTRY_CODE: ("The phone number has an unknown country code", _HOW_TO_WRITE),
}
_TEXT_KINDS = ("mobile", "fixed_line_or_mobile", "personal_number", "voip", "unknown")
_KIND_WARNINGS = {
    "fixed_line": "This is a landline: text messages may not arrive. Ask for a mobile or an e-mail.",
    "toll_free": "This is a freephone number: text messages will not arrive.",
    "premium_rate": "This number may cost a lot to call. Ask whether it is right.",
    "shared_cost": "This number may cost more than usual to call.",
    "pager": "This is a pager: text messages may not arrive.",
    "uan": "This is a company's number: ask who will answer it.",
    "voicemail": "This number reaches a voice mailbox only.",
}
_NOT_VALID = "No such number is known to be in use. Read it back to the customer, digit by digit."
_NANP = 1  # letters on the keypad stand for digits only where that is the habit: country code 1

_ATOM = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+"  # RFC 5322, 3.2.3: atext
_LOCAL = re.compile(rf"{_ATOM}(?:\.{_ATOM})*")
_LABEL = re.compile(r"[a-z0-9](?:[a-z0-9-]*[a-z0-9])?")  # RFC 1123, 2.1: letters, digits, inner hyphens


@dataclass(frozen=True, slots=True)
class Phone:
    """A number that can be dialled: `e164` with its plus, `kind` in libphonenumber's words, `warnings` staff.

    `valid` is False for numbers that no operator has (all numbers set aside for drama, too): a
    warning, never a refusal.
    """

    e164: str
    possible: bool
    valid: bool
    kind: str
    warnings: tuple[str, ...]

    @property
    def may_get_texts(self) -> bool:
        """Whether a text message has a chance; many countries cannot tell a mobile from a landline."""
        return self.kind in _TEXT_KINDS


def parse_phone(text: str, *, region: str | None) -> Phone:
    """One phone number, read as dialled in `region` (ISO 3166, two letters; None: + is needed).

    Rule: libphonenumber's verdict must be IS_POSSIBLE, without extension (ITU-T E.164: at most 15
    digits). Raises Invalid with field "phone"; the message never repeats what was typed.
    """
    typed = _phone_text(text)
    try:
        number = phonenumbers.parse(typed, region.upper() if region else None)
    except NumberParseException as error:
        raise _unreadable(error, region) from None
    _refuse_impossible(typed, number)
    kind = PhoneNumberType.to_string(phonenumbers.number_type(number)).lower()
    valid = phonenumbers.is_valid_number(number)
    warnings = ((_KIND_WARNINGS[kind],) if kind in _KIND_WARNINGS else ()) + (() if valid else (_NOT_VALID,))
    e164 = phonenumbers.format_number(number, PhoneNumberFormat.E164)
    return Phone(e164=e164, possible=True, valid=valid, kind=kind, warnings=warnings)


def check_region(text: str) -> str:
    """Two letters that libphonenumber knows as a country, in capitals. Raises Invalid with field "region"."""
    region = text.strip().upper()
    if region not in phonenumbers.SUPPORTED_REGIONS:
        raise Invalid(f"{region[:20]!r} is no country", "Use the two letters of ISO 3166, such as GB.", field="region")
    return region


def show_phone(e164: str) -> str:
    """ "+447700900123" -> "+44 7700 900123", as people read it aloud; what is no number stays as it is."""
    try:
        number = phonenumbers.parse(e164, None)
    except NumberParseException:
        return e164
    return str(phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.INTERNATIONAL))


def _phone_text(text: str) -> str:
    typed = text.strip(" \u00a0")
    if not typed:
        raise _wrong_phone("The phone number is empty", _HOW_TO_WRITE)
    if len(typed) > LONGEST_PHONE_TEXT or any(ord(c) < 32 or ord(c) == 127 for c in typed):
        raise _wrong_phone("This is not a phone number", _ONE_NUMBER)
    if typed[:4].lower() == "tel:":
        typed = typed[4:]
    # The library skips leading words and stops at some separators; then a second number would be lost unseen.
    if not re.match(r"[\d+＋(]", typed) or len(re.findall("[+＋]", typed)) > 1 or re.search("[;,&]", typed):
        raise _wrong_phone("This is not one phone number", _ONE_NUMBER + " " + _HOW_TO_WRITE)
    return typed


def _unreadable(error: NumberParseException, region: str | None) -> Invalid:
    if error.error_type == NumberParseException.INVALID_COUNTRY_CODE:
        return _wrong_phone("The phone number has no country code that is known", _HOW_TO_WRITE)
    if error.error_type == NumberParseException.TOO_LONG:
        return _wrong_phone(*_NOT_POSSIBLE[ValidationResult.TOO_LONG])
    if error.error_type == NumberParseException.TOO_SHORT_NSN:
        return _wrong_phone(*_NOT_POSSIBLE[ValidationResult.TOO_SHORT])
    return _wrong_phone("This is not a phone number", _ONE_NUMBER + " " + _HOW_TO_WRITE)


def _refuse_impossible(typed: str, number: PhoneNumber) -> None:
    if number.extension:
        raise _wrong_phone("The phone number has an extension", "Give a number that is reached directly.")
    if any(c.isalpha() for c in typed) and number.country_code != _NANP:
        raise _wrong_phone("The phone number has letters in it", _ONE_NUMBER)
    reason = phonenumbers.is_possible_number_with_reason(number)
    if reason != ValidationResult.IS_POSSIBLE:
        raise _wrong_phone(*_NOT_POSSIBLE[reason])


def _wrong_phone(what: str, advice: str) -> Invalid:
    return Invalid(what, advice, field="phone")


def parse_email(text: str) -> str:
    """Exactly one addr-spec as a dot-atom at a domain name, ASCII only; the domain comes back in lower case.

    Sources: RFC 5322 3.4.1 without its obsolete, quoted and commented forms; RFC 5321 4.5.3.1 for
    lengths; RFC 1123 2.1 for names. Raises Invalid with field "email"; never repeats what was typed.
    """
    typed = text.strip(" ")
    _refuse_foreign_signs(typed)
    local, at, domain = typed.partition("@")
    if not at or not local or not domain or "@" in domain:
        raise _wrong_email("An e-mail address has exactly one @, with something on both sides")
    if len(typed) > LONGEST_ADDRESS or len(local) > LONGEST_LOCAL:
        raise _wrong_email(
            f"The e-mail address is too long: {LONGEST_LOCAL} signs may stand before the @, {LONGEST_ADDRESS} in all"
        )
    if not _LOCAL.fullmatch(local):
        raise _wrong_email("The part before the @ has a sign, or a dot in a place, that is not possible")
    return f"{local}@{_domain(domain.lower())}"


def _refuse_foreign_signs(typed: str) -> None:
    if not typed:
        raise _wrong_email("The e-mail address is empty")
    if any(ord(c) < 32 or ord(c) == 127 for c in typed):
        raise _wrong_email("The e-mail address has a line break or a hidden sign in it")
    if not typed.isascii():
        raise Invalid(
            "The e-mail address has letters outside a-z, which not every mail system takes",
            "Ask for another address; a domain with such letters also has a form with xn--.",
            field="email",
        )
    if re.search(r"[,;]", typed) or typed.count("@") > 1:
        raise _wrong_email("This looks like more than one e-mail address")
    if re.search(r"[\s\"<>()\[\]\\:]", typed):
        raise _wrong_email("The e-mail address has a space, a name, quotes or brackets around it")


def _domain(domain: str) -> str:
    labels = domain.split(".")
    if len(labels) < 2 or labels[-1] == "":
        raise _wrong_email("The part after the @ is not a whole domain name")
    if any(len(label) > LONGEST_LABEL or not _LABEL.fullmatch(label) for label in labels):
        raise _wrong_email("The part after the @ has a sign, or a dot in a place, that is not possible")
    if labels[-1].isdigit():
        raise _wrong_email("The part after the @ is a number, not a domain name")
    return domain


def _wrong_email(what: str) -> Invalid:
    return Invalid(what, "Write one address and nothing else, for example pat@example.org.", field="email")
