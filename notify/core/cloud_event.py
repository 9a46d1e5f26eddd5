"""CloudEvents 1.0.2 in JSON: which attributes an event must have, and what it says of itself.

Sources: the CloudEvents specification 1.0.2 (required and optional attributes, their types), its JSON format and its
HTTP binding. Names of attributes are small letters and digits.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from notify.core.errors import Invalid

VERSION = "1.0"
NEEDED = ("id", "source", "type")  # beside specversion; each a text that is not empty
CONTENT, BATCH = "application/cloudevents+json", "application/cloudevents-batch+json"
MOST = 100  # events of one batch


@dataclass(frozen=True, slots=True)
class Event:
    """One event: `whole` is its JSON object, in which `data_base64` of JSON was read and stands as `data`.

    `id` and `source` together name it for ever (specification, "id"); `time` is "" where none was told.
    """

    id: str
    source: str
    time: str
    whole: Mapping[str, Any] = field(repr=False)


def read_event(document: Any) -> Event:
    """One event in JSON. Raises Invalid, naming the attribute that is wrong, never what stands in it."""
    if not isinstance(document, dict) or document.get("specversion") != VERSION:
        raise Invalid("An event says no specversion 1.0", "Send CloudEvents 1.0.", field="specversion")
    for name in NEEDED:
        if not isinstance(document.get(name), str) or not document[name]:
            raise Invalid(f"An event has no {name}", "Every event needs one.", field=name)
    when = document.get("time")
    if when is not None and not _is_time(when):
        raise Invalid("The time of an event cannot be read", "Write it as RFC 3339 says.", field="time")
    whole = _opened(document)
    return Event(document["id"], document["source"], when or "", whole)


def is_event(document: Any) -> bool:
    """Whether a JSON document means to be an event: told by the body alone, which is signed, not by a header."""
    return isinstance(document, dict) and "specversion" in document


def write_event(
    *, event_id: str, source: str, kind: str, subject: str, time: datetime, data: Mapping[str, Any]
) -> bytes:
    """An event in structured mode: the same octets for the same event, whenever they are asked for."""
    told = {
        "specversion": VERSION, "id": event_id, "source": source, "type": kind, "time": time.isoformat(),
        "datacontenttype": "application/json", "data": dict(data),
    }  # fmt: skip
    told |= {"subject": subject} if subject else {}
    return json.dumps(told, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def _is_time(when: Any) -> bool:
    """RFC 3339 5.6: a date, a time and an offset."""
    if not isinstance(when, str):
        return False
    try:
        return "T" in when.upper() and datetime.fromisoformat(when.upper()).tzinfo is not None
    except ValueError:
        return False


def _opened(document: Mapping[str, Any]) -> Mapping[str, Any]:
    packed = document.get("data_base64")
    if packed is None:
        return document
    if "data" in document:
        raise Invalid("An event holds its data twice", "Send data or data_base64.", field="data_base64")
    try:
        data = json.loads(base64.b64decode(packed, validate=True))
    except (binascii.Error, ValueError, TypeError, RecursionError):
        raise Invalid("The data of an event is no JSON", "Send its data as JSON.", field="data_base64") from None
    return {name: value for name, value in document.items() if name != "data_base64"} | {"data": data}
