"""Adapter for phone numbers."""

from __future__ import annotations

from typing import Any

from notify.core.contacts import parse_phone
from notify.core.errors import Invalid


def e164(given: dict[str, Any], expect: dict[str, Any]) -> None:
    """A typed number is taken in its international form, perhaps with a warning, or refused."""
    try:
        phone = parse_phone(given["input"], region=given["default_region"])
    except Invalid:
        assert not expect["accept"], "refused"
        return
    assert expect["accept"], f"accepted as {phone.kind}"
    assert phone.e164 == expect["e164"]
    assert phone.possible == (expect["possible_reason"] == "IS_POSSIBLE")
    assert phone.valid == expect["valid"]
    warned = any("known to be in use" in warning for warning in phone.warnings)
    assert warned == expect["warn_not_valid"], f"warnings: {phone.warnings}"


AREAS = {"e164": e164}
