"""A channel for text messages through any gateway that takes one HTTP request a message; all of it is configuration."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from notify.channels import fields
from notify.channels.base import Outgoing, Receipt, Verdict, clean
from notify.channels.http_call import Answer, Caller, NoAnswer, NotSent
from notify.channels.sms_text import TextMessage, read_text_message
from notify.core.errors import Misconfigured

# What a refusal means where the settings do not say. RFC 9110 15.5.1 and 15.5.21: the same request again will not do;
# 15.6.3 and 15.6.5: a gateway in between does not know whether its next one took it. All others may pass.
NEVER_AGAIN = frozenset({400, 422})
NOBODY_KNOWS = frozenset({502, 504})
_PLACE = re.compile(r"\{(to|digits|text|id|callback)\}")
_VISIBLE = re.compile(r"[\x20-\x7e]+")


@dataclass(frozen=True, slots=True)
class Gateway:
    """How a gateway is spoken to; the settings [sms.http] in the program's own shapes. `headers` may hold secrets.

    `body` is JSON with places; `answers` maps its words and statuses to later, never or bad_number.
    """

    method: str
    form: str
    body: str
    headers: tuple[tuple[str, str], ...] = field(repr=False)
    callback: str
    good_statuses: Sequence[int]
    good_field: str
    good_value: str
    id_field: str
    code_field: str
    answers: Mapping[str, str]


class HttpSms:
    """Hands a text message over by one request, with the same reference in every try.

    ACCEPTED means that the gateway took it over; whether it reached the phone is told by a receipt, later. What broke
    before the request had left whole is tried again; after that nobody can know, and UNKNOWN says so.
    """

    def __init__(self, gateway: Gateway, caller: Caller) -> None:
        self._gateway, self._caller = gateway, caller
        self._body = json.loads(gateway.body)

    def send(self, outgoing: Outgoing, /) -> Receipt:
        """See Channel.send."""
        read = read_text_message(outgoing)
        if isinstance(read, Receipt):
            return read
        try:
            answer = self._caller.call(self._gateway.method, self._headers(read), self._filled_body(read))
        except NotSent as fault:
            return Receipt(Verdict.TRY_LATER, fault.code, fault.text)
        except NoAnswer as fault:
            return Receipt(Verdict.UNKNOWN, fault.code, fault.text)
        return self._receipt(answer, to=read.to)

    def close(self) -> None:
        """Nothing stays open between messages."""

    def _filled_body(self, message: TextMessage) -> bytes:
        filled = _filled(self._body, self._places(message))
        if self._gateway.form == "form":
            return urlencode(filled).encode("ascii")
        return json.dumps(filled, ensure_ascii=False).encode("utf-8")

    def _headers(self, message: TextMessage) -> dict[str, str]:
        kind = "application/x-www-form-urlencoded" if self._gateway.form == "form" else "application/json"
        places = {"id": message.identity}
        return {"Content-Type": kind} | {name: _put_in(value, places) for name, value in self._gateway.headers}

    def _places(self, message: TextMessage) -> dict[str, str]:
        return {"to": message.to, "digits": message.to[1:], "text": message.text, "id": message.identity,
                "callback": self._gateway.callback}  # fmt: skip

    def _receipt(self, answer: Answer, *, to: str) -> Receipt:
        gateway = self._gateway
        try:
            said = fields.read_fields(answer.body, form="json")
        except fields.NotReadable:
            said = None
        if self._is_taken(answer.status, said):
            name = fields.word(fields.field(said, gateway.id_field), longest=120)
            return Receipt(Verdict.ACCEPTED, f"http-{answer.status}", provider_id=name)
        code = fields.word(fields.field(said, gateway.code_field))
        half = answer.status in gateway.good_statuses and not fields.field(said, gateway.good_field)
        told = clean(f"The gateway refused: {code or answer.status}", to=to)
        match self._what_it_means(answer.status, code, half=half):
            case "bad_number":
                return Receipt(Verdict.NEVER, "address", told)
            case "never":
                return Receipt(Verdict.NEVER, f"http-{answer.status}", told)
            case "unknown":
                return Receipt(Verdict.UNKNOWN, f"http-{answer.status}", told)
        return Receipt(Verdict.TRY_LATER, f"http-{answer.status}", told)

    def _is_taken(self, status: int, said: Any) -> bool:
        gateway = self._gateway
        fits = not gateway.good_field or fields.field(said, gateway.good_field) == gateway.good_value
        return status in gateway.good_statuses and fits

    def _what_it_means(self, status: int, code: str, *, half: bool) -> str:
        """The settings first, the most exact line of them; then what HTTP itself says.

        `half`: the status is a good one, but the field that decides is missing, as in an answer cut off.
        """
        for word in filter(None, (code, str(status), f"{status // 100}xx")):
            if word in self._gateway.answers:
                return self._gateway.answers[word]
        if half or status in NOBODY_KNOWS:
            return "unknown"
        return "never" if status in NEVER_AGAIN else "later"


def sign_in_headers(kind: str, *, header: str, name: str, secret: str) -> tuple[tuple[str, str], ...]:
    """The header that signs in: `header` with the secret as its value, or Basic (RFC 7617). Raises Misconfigured."""
    if kind == "none":
        return ()
    if kind == "basic":
        both = base64.b64encode(f"{name}:{secret}".encode()).decode()
        return (("Authorization", f"Basic {both}"),)
    if not _VISIBLE.fullmatch(secret):
        raise Misconfigured(
            "The secret of the gateway cannot stand in a header", "It must be plain letters, digits and signs.",
            field="sms.http.secret_file",
        )  # fmt: skip
    return ((header, secret),)


def _filled(told: Any, places: Mapping[str, str]) -> Any:
    if isinstance(told, str):
        return _put_in(told, places)
    if isinstance(told, dict):
        return {name: _filled(one, places) for name, one in told.items()}
    return [_filled(one, places) for one in told] if isinstance(told, list) else told


def _put_in(text: str, places: Mapping[str, str]) -> str:
    """Each place once and at the same time: a text that holds "{id}" itself stays as its writer wrote it."""
    return _PLACE.sub(lambda found: places.get(found[1], ""), text)
