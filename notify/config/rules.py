"""Rules that join several settings and need no look at the machine: what is refused before anything starts."""

from __future__ import annotations

import os
from collections.abc import Iterator
from urllib.parse import parse_qsl, urlsplit

from notify.config.backup_rules import BACKUP_RULES
from notify.config.gateway_rules import GATEWAY_RULES, Rule, Values, host_of
from notify.config.inbox_rules import INBOX_RULES
from notify.config.kinds import is_loopback, is_private
from notify.core.errors import Misconfigured

# RFC 2606 and RFC 6761: names that never reach anybody.
RESERVED = (".example", ".test", ".invalid", ".localhost", "example.com", "example.net", "example.org")


def _sends(values: Values) -> bool:
    return bool(values["mail.transport"] == "smtp")


def _remote(values: Values) -> bool:
    return _sends(values) and not is_loopback(values["mail.host"])


def _reserved(address: str) -> bool:
    domain = address.rpartition("@")[2]
    return any(domain == name.lstrip(".") or domain.endswith("." + name.lstrip(".")) for name in RESERVED)


def _proxied(values: Values) -> bool:
    return bool(values["web.behind_tls"] and values["web.trusted_proxies"])


def _plain_and_open(values: Values) -> bool:
    if is_loopback(values["web.bind"]) or _proxied(values):
        return False
    return not (values["web.plain_lan"] and is_private(values["web.bind"]))


def _plain_public(values: Values) -> bool:
    url = values["web.public_url"]
    return url.startswith("http://") and not is_loopback(host_of(url))


RULES: tuple[Rule, ...] = (
    Rule(
        ("web.debug", "web.bind", "web.public_url"),
        lambda v: v["web.debug"] and not (is_loopback(v["web.bind"]) and not v["web.public_url"]),
        "web.debug is on where others can reach the pages, and would show them the program's inside",
        "Set web.debug = false, or bind to 127.0.0.1 with no web.public_url.",
    ),
    Rule(
        ("web.bind", "web.behind_tls", "web.trusted_proxies", "web.plain_lan"),
        _plain_and_open,
        "web.bind lets other machines in over plain http, where passwords can be read on the way",
        'Set web.bind = "127.0.0.1"; or put a proxy with TLS in front and set web.behind_tls = true and '
        "web.trusted_proxies = 1; or, inside the shop only, bind to this machine's own address there and set "
        "web.plain_lan = true.",
    ),
    Rule(
        ("web.trusted_proxies", "web.behind_tls"),
        lambda v: v["web.behind_tls"] and not v["web.trusted_proxies"],
        "web.trusted_proxies is 0 although web.behind_tls says that a proxy stands in front",
        "Write how many proxies there are, usually 1.",
    ),
    Rule(
        ("web.public_url",),
        _plain_public,
        "web.public_url is plain http, so claim links could be read on the way",
        'Write an address that begins with "https://".',
    ),
    Rule(
        ("web.behind_tls", "web.public_url"),
        lambda v: v["web.public_url"].startswith("https://") and not v["web.behind_tls"],
        "web.behind_tls is false although web.public_url is https",
        "Set web.behind_tls = true.",
    ),
    Rule(
        ("mail.host", "mail.transport"),
        lambda v: _sends(v) and not v["mail.host"],
        "mail.host is empty although e-mail is to be sent",
        "Write the name of your SMTP server.",
    ),
    Rule(
        ("mail.security", "mail.host", "mail.transport"),
        lambda v: bool(v["mail.host"]) and _remote(v) and v["mail.security"] == "none",
        "mail.security is none although the SMTP server is another machine",
        'Set mail.security = "starttls" (port 587) or "tls" (port 465).',
    ),
    Rule(
        ("mail.password_file", "mail.username"),
        lambda v: bool(v["mail.username"]) and not v["mail.password_file"],
        "mail.password_file is empty although mail.username is set",
        "Name the file that holds the password on one line.",
    ),
    Rule(
        ("mail.sender_address", "mail.transport"),
        lambda v: not v["mail.sender_address"],
        "mail.sender_address is empty",
        "Write the address that e-mails come from.",
    ),
    Rule(
        ("mail.sender_address", "mail.host", "mail.transport"),
        lambda v: bool(v["mail.host"]) and _remote(v) and _reserved(v["mail.sender_address"]),
        "mail.sender_address is an example and belongs to nobody",
        "Write an address of your own.",
    ),
    *GATEWAY_RULES,
    *INBOX_RULES,
    *BACKUP_RULES,
    Rule(
        ("keys.index_key_file", "keys.master_key_file"),
        lambda v: v["keys.index_key_file"] == v["keys.master_key_file"],
        "keys.index_key_file is the same file as keys.master_key_file",
        "Give each key a file of its own.",
    ),
    Rule(
        ("web.secret_file", "keys.master_key_file", "keys.index_key_file"),
        lambda v: v["web.secret_file"] in (v["keys.master_key_file"], v["keys.index_key_file"]),
        "web.secret_file is the same file as another key",
        "Give each key a file of its own.",
    ),
    Rule(
        ("database.keys_url", "database.url"),
        lambda v: bool(v["database.url"]) and is_same_database(v["database.url"], v["database.keys_url"]),
        "database.keys_url is the main database, so that its backups would hold the keys too",
        "Name another database or leave it empty.",
    ),
)


def is_same_database(one: str, other: str) -> bool:
    """Whether two addresses lead to one database, whoever signs in and however the host and the port are spelt."""
    return _database(one) == _database(other)


def _database(url: str) -> tuple[str, str, int, str]:
    parts = urlsplit(url)
    if parts.scheme.startswith("sqlite"):
        return "sqlite", "", 0, os.path.normpath(parts.path)
    asked = dict(parse_qsl(parts.query))
    host = asked.get("host") or parts.hostname or ""
    here = host.startswith("/") or host in ("", "localhost", "127.0.0.1", "::1")
    return "server", "" if here else host, parts.port or int(asked.get("port") or 5432), parts.path


def broken_rules(values: Values, *, unread: frozenset[str]) -> Iterator[Misconfigured]:
    """One error for each rule that the values break; a rule about a setting that could not be read is left out."""
    for rule in RULES:
        if not unread.intersection(rule.keys) and rule.broken(values):
            yield Misconfigured(rule.what, rule.cure, field=rule.keys[0])
