"""Adapter for the hashes of those who want nothing more; the numbers are read by our own parser first."""

from __future__ import annotations

import re
from typing import Any

from notify.core.contacts import parse_email, parse_phone
from notify.core.suppression import suppression_hash

_REGION = re.compile(r" \(([A-Z]{2})\)$")


def suppressed(given: dict[str, Any], expect: dict[str, Any]) -> None:
    """What was typed becomes the normal form that is given, and that the hash."""
    typed, region = _REGION.sub("", given["input"]), _REGION.search(given["input"])
    is_mail = "@" in typed
    normal = parse_email(typed) if is_mail else parse_phone(typed, region=region[1] if region else "GB").e164
    assert normal == given["normalised"]
    assert suppression_hash(bytes.fromhex(given["key_hex"]), normal) == expect["hmac_sha256"]


AREAS = {"suppression_hash": suppressed}
