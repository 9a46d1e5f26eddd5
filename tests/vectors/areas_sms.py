"""Adapter for the cost of text messages."""

from __future__ import annotations

from typing import Any

from notify.render.sms import count

_ENCODING = {"gsm7": "GSM-7", "ucs2": "UCS-2"}


def sms(given: dict[str, Any], expect: dict[str, Any]) -> None:
    """Encoding, units and parts, with both kinds of reference number."""
    counted = count(given["text"])
    assert counted.encoding == _ENCODING[expect["encoding"]]
    assert (counted.units, counted.parts) == (expect["units"], expect["segments"])
    if expect["segment_units"] is not None:  # left out of the cases with hundreds of parts
        assert list(counted.part_units) == expect["segment_units"]
    assert counted.sendable == expect["sendable"]
    first = counted.first_offending
    assert (f"U+{ord(first):04X}" if first else None) == expect["first_non_gsm"]
    assert count(given["text"], wide_reference=True).parts == expect["segments_if_16bit_reference"]


AREAS = {"sms": sms}
