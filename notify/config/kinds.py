"""Kinds of settings: each reads one TOML value into what the program uses, or says how to write it. Long: all kinds."""

from __future__ import annotations

import codecs
import ipaddress
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import time
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from notify.core.contacts import parse_email

DATABASES = ("sqlite", "postgresql+psycopg")
OTHER_DATABASES = (*DATABASES, "mariadb+pymysql", "mysql+pymysql")  # those that a source may lie in
_TOKEN = "b" * 32  # stands for a pickup's token while the rest of the pattern is judged


@dataclass(frozen=True, slots=True)
class Kind:
    """`read` turns a TOML value into the setting or raises ValueError; `cure` says how to write it.

    No message ever repeats a value: a password may have slipped into the wrong line.
    """

    name: str
    cure: str
    read: Callable[[object], Any]


def _text_of(value: object) -> str:
    if not isinstance(value, str) or any(ord(sign) < 32 or ord(sign) == 127 for sign in value):
        raise ValueError
    return value.strip()


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise ValueError
    return value


def number(least: int, most: int) -> Kind:
    """A whole number from `least` to `most`."""

    def read(value: object) -> int:
        if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
            raise ValueError
        return value

    return Kind("number", f"Write a whole number from {least} to {most}, without quotes.", read)


def choice(*words: str) -> Kind:
    """One of the given words."""

    def read(value: object) -> str:
        if value not in words:
            raise ValueError
        return str(value)

    return Kind("choice", "Write one of: " + ", ".join(f'"{word}"' for word in words) + ".", read)


def _path(value: object) -> Path | None:
    text = _text_of(value)
    return Path(text).expanduser() if text else None


def _needed_path(value: object) -> Path:
    path = _path(value)
    if path is None:
        raise ValueError
    return path


def _host(value: object) -> str:
    text = _text_of(value).lower()
    if text and not re.fullmatch(r"[a-z0-9.:-]+", text):
        raise ValueError
    return text


def _hosts(value: object) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise ValueError
    found = tuple(_host(one) for one in value)
    if not all("." in one or ":" in one or one == "localhost" for one in found):  # a word alone is hardly meant
        raise ValueError
    return found


def _bind(value: object) -> str:
    text = _text_of(value).lower()
    return text if text == "localhost" else str(ipaddress.ip_address(text))


def _public_url(value: object) -> str:
    text = _text_of(value).rstrip("/")
    if not text:
        return ""
    parts = urlsplit(text)
    _ = parts.port  # raises ValueError if it is none
    if parts.scheme not in ("http", "https") or not re.fullmatch(r"[a-z0-9.-]+|[0-9a-f:]+", parts.hostname or ""):
        raise ValueError
    if parts.query or parts.fragment or "@" in parts.netloc or not re.fullmatch(r"[A-Za-z0-9/._-]*", parts.path):
        raise ValueError
    return f"{parts.scheme}://{parts.netloc.lower()}{parts.path}"


def _database(value: object) -> str:
    text = _text_of(value)
    if not text:
        return ""
    scheme, _, rest = text.partition("://")
    scheme = "postgresql+psycopg" if scheme == "postgresql" else scheme
    # Three slashes and a path without a root would depend on the folder that the command was started in.
    if scheme not in DATABASES or not rest or (scheme == "sqlite" and not rest.startswith("//")):
        raise ValueError
    return f"{scheme}://{rest}"


def _other_database(value: object) -> str:
    text = _text_of(value)
    if not text:
        return ""
    scheme, _, rest = text.partition("://")
    scheme = {"postgresql": "postgresql+psycopg", "mariadb": "mariadb+pymysql", "mysql": "mysql+pymysql"}.get(
        scheme, scheme
    )
    if scheme not in OTHER_DATABASES or not rest or (scheme == "sqlite" and not rest.startswith("//")):
        raise ValueError
    return f"{scheme}://{rest}"


def _address(value: object) -> str:
    text = _text_of(value)
    return parse_email(text) if text else ""


def _pattern(placeholder: str, filled: str) -> Callable[[object], str]:
    def read(value: object) -> str:
        text = _text_of(value)
        rest = text.replace(placeholder, "")
        if text and (text.count(placeholder) != 1 or any(sign in rest for sign in "+{}")):
            raise ValueError
        if text:
            parse_email(text.replace(placeholder, filled))
        return text

    return read


def _time(value: object) -> time:
    if isinstance(value, str) and re.fullmatch(r"\d\d:\d\d", value):
        value = time.fromisoformat(value)
    if not isinstance(value, time) or value.second or value.microsecond:
        raise ValueError
    return value


def _zone(value: object) -> str:
    text = _text_of(value)
    try:
        ZoneInfo(text)
    except (LookupError, OSError):  # a zone that is not known, or the name of a folder of zones
        raise ValueError from None
    return text


def _encoding(value: object) -> str:
    text = _text_of(value)
    if text == "auto":
        return text
    try:
        "a".encode(text)  # codecs that are not for text refuse here
        return codecs.lookup(text).name
    except LookupError:
        raise ValueError from None


def _delimiter(value: object) -> str:
    if value not in ("auto", ",", ";", "\t", "|"):
        raise ValueError
    return str(value)


def words(allowed: Callable[[str], bool], cure: str, *, of_keys: bool) -> Kind:
    """A small table of text to text, as a tuple of pairs; its keys or its values must be allowed words."""

    def read(value: object) -> tuple[tuple[str, str], ...]:
        if not isinstance(value, dict):
            raise ValueError
        pairs = tuple((_text_of(key), _text_of(word)) for key, word in value.items())
        if any(not key or not word or not allowed(key if of_keys else word) for key, word in pairs):
            raise ValueError
        return pairs

    return Kind("table", cure, read)


TEXT = Kind("text", "Write text in quotes, on one line.", _text_of)
FLAG = Kind("flag", "Write true or false, without quotes.", _flag)
PORT = number(1, 65535)
PATH = Kind("path", "Write the path of a file or folder in quotes.", _path)
NEEDED_PATH = Kind("path", "Write the path of a file or folder in quotes; it may not be empty.", _needed_path)
HOST = Kind("host", 'Write a host name or an IP address in quotes, such as "mail.example.org".', _host)
HOSTS = Kind("hosts", 'Write a list of hosts, with a port or without, such as ["till.test:8700"].', _hosts)
BIND = Kind("bind", 'Write an IP address of this machine in quotes, such as "127.0.0.1".', _bind)
PUBLIC_URL = Kind(
    "public_url",
    'Write "https://" and the host, such as "https://bell.example.org", without a question '
    'mark at its end; or "" for none.',
    _public_url,
)
DATABASE = Kind(
    "database",
    'Write "sqlite:////" and a full path, or "postgresql://user@host/name"; or "" for the file in the data folder.',
    _database,
)
OTHER_DATABASE = Kind(
    "database",
    'Write "sqlite:////" and a full path, "postgresql://user@host/name", "mariadb://user@host/name" or "mysql://...".',
    _other_database,
)
ADDRESS = Kind("address", 'Write one e-mail address in quotes, such as "counter@example.org".', _address)
SMS_TEMPLATE = Kind(
    "template",
    'Write the gateway\'s address with {digits} once and no plus sign, such as "{digits}@sms.example.org".',
    _pattern("{digits}", "4" * 15),
)
MAILBOX = Kind(
    "mailbox",
    'Write an address with {token} once and no plus sign, such as "pickup-{token}@example.org"; '
    "some calendars drop a plus sign.",
    _pattern("{token}", _TOKEN),
)
BOUNCE = Kind(
    "mailbox",
    'Write an address with {token} once and no plus sign, such as "bounce-{token}@example.org", '
    "with at most 22 letters before the @ besides the token.",
    _pattern("{token}", "a" * 42),
)
TIME = Kind("time", 'Write a time of day in quotes, such as "21:00".', _time)
ZONE = Kind("zone", 'Write a time zone of the IANA list in quotes, such as "Europe/Berlin".', _zone)
ENCODING = Kind("encoding", 'Write a text encoding in quotes, such as "utf-8" or "cp1252"; or "auto".', _encoding)
DELIMITER = Kind("delimiter", 'Write one of: ",", ";", "|" or "\\t"; or "auto".', _delimiter)


def is_loopback(host: str) -> bool:
    """Whether the host name or address means this machine only."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost" or host.endswith(".localhost")  # RFC 6761, 6.3


def is_private(host: str) -> bool:
    """Whether the host is an address of a shop's own network (RFC 1918, RFC 4193), not every address at once."""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return False
    address = getattr(address, "ipv4_mapped", None) or address
    return address.is_private and not address.is_unspecified and not address.is_loopback
