"""Reads the body of a signed call: CloudEvents or plain JSON in, one change a thing told out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from notify.channels import fields
from notify.config.settings import Watch
from notify.core.cloud_event import MOST, VERSION, is_event, read_event
from notify.core.errors import Invalid
from notify.core.sources import Change
from notify.flows.take_call import Told

BINARY = "ce-specversion"
_NO_EVENT = "Send one event of CloudEvents 1.0, or a list of them."


def read_call(watch: Watch, raw: bytes, headers: Mapping[str, str]) -> Sequence[Told]:
    """What a call tells, in its order; nothing for an empty list. Raises Invalid, quoting nothing of it.

    Which of the ways of CloudEvents is meant is told by the body, since a signature does not cover the other headers.
    In binary mode (HTTP binding 3.1) the attributes are such headers: that they are there is asked for, but nothing
    that stands in them counts. So the data alone can be named by columns there, as "/data/...".
    """
    try:
        document = fields.read_fields(raw, form="json")
    except fields.NotReadable:
        raise Invalid("The body is no JSON", "Write it as RFC 8259 says.") from None
    things = document if isinstance(document, list) else [document]
    if len(things) > MOST:
        raise Invalid(f"The call tells more than {MOST} things", "Send them in several calls.")
    told = _events(document, things, headers) if watch.form == "cloudevents" else _plain(things)
    return [
        Told(Change(line, _cells(watch, whole, time)), mark)
        for line, (whole, time, mark) in enumerate(told, start=1)
    ]  # fmt: skip


def _events(document: Any, things: Sequence[Any], headers: Mapping[str, str]) -> Iterator[tuple[Any, str, str]]:
    if isinstance(document, list) or is_event(document):
        for event in map(read_event, things):
            yield event.whole, event.time, f"{event.source}\0{event.id}"
        return
    if headers.get(BINARY) != VERSION or not all(headers.get(f"ce-{name}") for name in ("id", "source", "type")):
        raise Invalid("The body is no event", _NO_EVENT)
    yield {"data": document}, "", ""


def _plain(things: Sequence[Any]) -> Iterator[tuple[Any, str, str]]:
    for thing in things:
        if not isinstance(thing, dict):
            raise Invalid("The body is no JSON object, nor a list of them", "Send one object for each thing told.")
        yield thing, "", ""


def _cells(watch: Watch, whole: Any, time: str) -> dict[str, str]:
    """Cells by our words; the event's own time counts where no column names another."""
    found = {word: fields.field(whole, where).replace("\0", "").strip() for word, where in watch.columns}
    if time and "changed_at" not in found:
        found["changed_at"] = time
    return {word: text for word, text in found.items() if text}
