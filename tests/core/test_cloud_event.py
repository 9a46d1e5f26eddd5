"""Events in JSON: another implementation of CloudEvents reads what we write, and we what it writes."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from cloudevents.core.bindings.http import HTTPMessage, from_structured, to_structured  # PyPI cloudevents
from cloudevents.core.formats.json import JSONFormat
from cloudevents.core.v1.event import CloudEvent
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.cloud_event import CONTENT, is_event, read_event, write_event
from notify.core.errors import Invalid

AT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
GOOD = {"specversion": "1.0", "id": "7", "source": "/bench", "type": "org.example.moved", "data": {"job": "K7M"}}


def test_the_other_implementation_reads_what_we_write() -> None:
    octets = write_event(event_id="e-1", source="/shops/1", kind="org.example.moved", subject="K7M-2X9T", time=AT,
                         data={"phase": "on_bench", "word": "ü€"})  # fmt: skip
    read = from_structured(HTTPMessage({"content-type": CONTENT}, octets), JSONFormat(), CloudEvent)
    assert (read.get_id(), read.get_source(), read.get_type(), read.get_subject()) == (
        "e-1", "/shops/1", "org.example.moved", "K7M-2X9T"
    )  # fmt: skip
    assert (read.get_specversion(), read.get_time(), read.get_data()) == (
        "1.0", AT, {"phase": "on_bench", "word": "ü€"}
    )  # fmt: skip


@settings(max_examples=40)
@given(data=st.one_of(st.dictionaries(st.text(max_size=8), st.text(max_size=20), max_size=4), st.integers(),
                      st.binary(max_size=40).map(lambda octets: json.dumps(octets.hex()).encode())))  # fmt: skip
def test_we_read_what_the_other_implementation_writes(data: Any) -> None:
    told = {"id": "9", "source": "/a b", "type": "t", "time": AT, "subject": "s"}
    made = to_structured(CloudEvent(attributes=told, data=data), JSONFormat())
    event = read_event(json.loads(made.body))
    assert (event.id, event.source, datetime.fromisoformat(event.time)) == ("9", "/a b", AT)
    assert event.whole["data"] == (json.loads(data) if isinstance(data, bytes) else data)


def test_the_same_event_is_the_same_octets() -> None:
    made = [write_event(event_id="e", source="/s", kind="k", subject="", time=AT, data=data)
            for data in ({"a": 1, "b": 2}, {"b": 2, "a": 1})]  # fmt: skip
    assert made[0] == made[1] and b"subject" not in made[0]


# Specification 1.0.2, "Required attributes": each MUST be present and a non-empty string.
@pytest.mark.parametrize("changed", [
    {"specversion": "0.3"}, {"specversion": 1.0}, {"id": ""}, {"id": 7}, {"source": ""}, {"source": None}, {"type": ""},
    {"type": []}, {"time": "yesterday"}, {"time": "2026-11-25"}, {"time": "2026-11-25T09:30:00"}, {"time": 5},
    {"data_base64": "e30="}, {"data": None, "data_base64": "!"},
])  # fmt: skip
def test_an_event_without_what_it_must_have_is_refused_by_name(changed: dict[str, Any]) -> None:
    with pytest.raises(Invalid) as refused:
        read_event(GOOD | changed)
    assert refused.value.field in ("specversion", "id", "source", "type", "time", "data_base64")
    assert "K7M" not in str(refused.value)


@pytest.mark.parametrize("document", [None, 1, "x", [], [GOOD], {}, {"data": {}}])
def test_what_is_no_object_is_no_event(document: Any) -> None:
    assert not is_event(document)
    with pytest.raises(Invalid):
        read_event(document)


def test_packed_data_that_is_no_json_is_refused() -> None:
    packed = {name: value for name, value in GOOD.items() if name != "data"}
    assert read_event(packed | {"data_base64": "eyJqb2IiOiJLN00ifQ=="}).whole["data"] == {"job": "K7M"}
    for odd in ("/////w==", "e30", 7, ["e30="]):
        with pytest.raises(Invalid):
            read_event(packed | {"data_base64": odd})
