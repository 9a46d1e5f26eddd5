"""What a rule is, and the rules about gateways for text messages and what they send here."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from notify.config.kinds import is_loopback, is_private

Values = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Rule:
    """Refuses when `broken` says so; the first of `keys` is the one to change. All of them must have been read."""

    keys: tuple[str, ...]
    broken: Callable[[Values], bool]
    what: str
    cure: str


def host_of(url: str) -> str:
    """The host in an address, without brackets and port; "" for none."""
    return urlsplit(url).hostname or ""


def _by_http(values: Values) -> bool:
    return bool(values["sms.transport"] == "http")


def _plain_http(values: Values) -> bool:
    """Plain http carries numbers and texts for everybody on the way to read; only this machine itself is spared."""
    here = values["sms.http.this_machine"] and is_loopback(host_of(values["sms.http.address"]))
    return bool(values["sms.http.address"]) and not values["sms.http.address"].startswith("https://") and not here


def _own_network(values: Values) -> bool:
    host = host_of(values["sms.http.address"])
    return not values["sms.http.this_machine"] and (is_loopback(host) or is_private(host))


def _not_here(values: Values) -> bool:
    return values["sms.http.this_machine"] and not is_loopback(host_of(values["sms.http.address"]))


def _not_flat(values: Values) -> bool:
    fields = json.loads(values["sms.http.body"] or "{}").values()
    return values["sms.http.form"] == "form" and any(not isinstance(one, str) for one in fields)


GATEWAY_RULES: tuple[Rule, ...] = (
    Rule(
        ("sms.template", "sms.transport"),
        lambda v: v["sms.transport"] == "mailgate" and not v["sms.template"],
        "sms.template is empty although sms.transport is mailgate",
        'Write your gateway\'s address, such as "{digits}@sms.example.org"; or set sms.transport = "off".',
    ),
    Rule(
        ("sms.http.address", "sms.transport"),
        lambda v: _by_http(v) and not v["sms.http.address"],
        "sms.http.address is empty although sms.transport is http",
        'Write the address your gateway gave you; or set sms.transport = "off".',
    ),
    Rule(
        ("sms.http.address", "sms.http.this_machine"),
        _plain_http,
        "sms.http.address is plain http, so numbers and texts could be read on the way",
        'Write an address that begins with "https://".',
    ),
    Rule(
        ("sms.http.address", "sms.http.this_machine"),
        _own_network,
        "sms.http.address is inside this machine or the shop's own network, where no gateway is called",
        "Write the gateway's public address; or set sms.http.this_machine = true for one on this machine.",
    ),
    Rule(
        ("sms.http.this_machine", "sms.http.address"),
        _not_here,
        "sms.http.this_machine is true although sms.http.address is another machine",
        'Set it to false, or write an address such as "http://127.0.0.1:8700/send".',
    ),
    Rule(
        ("sms.http.body", "sms.transport"),
        lambda v: _by_http(v) and not v["sms.http.body"],
        "sms.http.body is empty although sms.transport is http",
        'Write what your gateway wants, such as \'{"to": "{to}", "text": "{text}", "ref": "{id}"}\'.',
    ),
    Rule(
        ("sms.http.body", "sms.http.form"),
        _not_flat,
        "sms.http.body has groups or numbers in it, which a form cannot carry",
        'Write every value in quotes, or set sms.http.form = "json".',
    ),
    Rule(
        ("sms.http.secret_file", "sms.http.sign_in"),
        lambda v: v["sms.http.sign_in"] != "none" and not v["sms.http.secret_file"],
        "sms.http.secret_file is empty although sms.http.sign_in is set",
        "Name the file that holds the secret on one line.",
    ),
    Rule(
        ("sms.http.sign_in_name", "sms.http.sign_in"),
        lambda v: (
            v["sms.http.sign_in"] == "basic" and (not v["sms.http.sign_in_name"] or ":" in v["sms.http.sign_in_name"])
        ),
        "sms.http.sign_in_name is empty or has a colon in it although sms.http.sign_in is basic",
        "Write the name at the gateway (RFC 7617 allows no colon).",
    ),
    Rule(
        ("sms.http.sign_in_header", "sms.http.sign_in"),
        lambda v: v["sms.http.sign_in"] == "header" and not v["sms.http.sign_in_header"],
        "sms.http.sign_in_header is empty although sms.http.sign_in is header",
        'Write the name of the header, such as "Authorization".',
    ),
    Rule(
        ("sms.hook.secret_file", "sms.hook.proof"),
        lambda v: v["sms.hook.proof"] != "off" and not v["sms.hook.secret_file"],
        "sms.hook.secret_file is empty although sms.hook.proof is set",
        "Name the file that holds the secret on one line.",
    ),
    Rule(
        ("sms.hook.header", "sms.hook.proof"),
        lambda v: v["sms.hook.proof"] in ("header", "hmac") and not v["sms.hook.header"],
        "sms.hook.header is empty although the proof stands in a header",
        'Write its name, such as "X-Signature".',
    ),
    Rule(
        ("sms.hook.name", "sms.hook.proof"),
        lambda v: v["sms.hook.proof"] == "basic" and not v["sms.hook.name"],
        "sms.hook.name is empty although sms.hook.proof is basic",
        "Write the name that the gateway signs in with.",
    ),
    Rule(
        ("sms.hook.receipt", "sms.hook.inbound", "sms.hook.proof"),
        lambda v: v["sms.hook.proof"] != "off" and not v["sms.hook.receipt"] and not v["sms.hook.inbound"],
        "sms.hook.receipt and sms.hook.inbound are both empty, so nothing that comes could be read",
        'Write which fields are which, such as {id = "/id", state = "/state"}; or set sms.hook.proof = "off".',
    ),
    Rule(
        ("sms.modem.device", "sms.transport"),
        lambda v: v["sms.transport"] == "modem" and not v["sms.modem.device"],
        "sms.modem.device is empty although sms.transport is modem",
        'Write the modem\'s port, such as "/dev/ttyUSB0".',
    ),
)
