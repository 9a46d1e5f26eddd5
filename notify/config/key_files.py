"""Reads and words the small files that hold one secret each, and refuses those that others may read."""

from __future__ import annotations

import base64
import binascii
import os
import re
import stat
from pathlib import Path

from notify.core.errors import Misconfigured

KEY_BYTES = 32
LONGEST = 4096
_LINE = re.compile(r"([a-z0-9]{1,20}):([A-Za-z0-9_=-]*)")
_LEAST_DIFFERENT = 16  # 32 random bytes have about 30 different ones; fewer than 16 come from a person, not from chance
_ANEW = "Make it anew with `shelfbell init` in an empty folder; never write a key by hand."


def key_line(random: bytes, *, key_id: str = "k1") -> str:
    """The one line of a key file: an id, a colon, and 32 bytes as URL-safe base64 without padding (RFC 4648, 5)."""
    return f"{key_id}:{base64.urlsafe_b64encode(random).decode().rstrip('=')}\n"


def read_key(path: Path, *, field: str = "") -> tuple[str, bytes]:
    """The id and the 32 bytes of a key file. Raises Misconfigured, naming the setting `field`, never the content."""
    name = field or path.name
    match = _LINE.fullmatch(_private_text(path, name).strip())
    if not match:
        raise Misconfigured(f"{name}: the file holds no key", _ANEW, field=name)
    try:
        secret = base64.urlsafe_b64decode(match.group(2).rstrip("=") + "=" * (-len(match.group(2).rstrip("=")) % 4))
    except (binascii.Error, ValueError):
        raise Misconfigured(f"{name}: the key is damaged", "Bring back its safe copy.", field=name) from None
    if len(secret) != KEY_BYTES:
        raise Misconfigured(f"{name}: the key has {len(secret)} bytes and needs {KEY_BYTES}", _ANEW, field=name)
    if len(set(secret)) < _LEAST_DIFFERENT:
        raise Misconfigured(f"{name}: the key is a pattern, not random", _ANEW, field=name)
    return match.group(1), secret


def read_password(path: Path, *, field: str = "") -> str:
    """The one line of a password file. Raises Misconfigured if there is none or others may read it."""
    name = field or path.name
    text = _private_text(path, name).rstrip("\r\n")
    if not text or "\n" in text or "\r" in text:
        raise Misconfigured(
            f"{name}: the file does not hold exactly one line", "Write the password on its first line.", field=name
        )
    return text


def _private_text(path: Path, name: str) -> str:
    try:
        with path.open("rb") as file:
            if os.name == "posix" and stat.S_IMODE(os.fstat(file.fileno()).st_mode) & 0o077:
                raise Misconfigured(
                    f"{name}: other users of this machine may read the file {path.name}",
                    f"Run: chmod 600 {path.name}",
                    field=name,
                )
            return file.read(LONGEST).decode("utf-8")
    except FileNotFoundError:
        raise Misconfigured(
            f"{name}: the file {path.name} does not exist", "Run `shelfbell init`, or write the right path.", field=name
        ) from None
    except (OSError, UnicodeDecodeError):
        raise Misconfigured(
            f"{name}: the file {path.name} cannot be read",
            "It must be a text file that belongs to the user who runs Shelfbell.",
            field=name,
        ) from None
