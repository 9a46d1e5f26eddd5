"""Reads and words the small files that hold one secret each, and refuses those that others may read."""

from __future__ import annotations

import base64
import binascii
import os
import re
import stat
import tempfile
from collections.abc import Sequence
from pathlib import Path

from notify.core.errors import Invalid, Misconfigured
from notify.core.signed_call import read_secret

KEY_BYTES = 32
LONGEST = 4096
_LINE = re.compile(r"([a-z0-9]{1,20}):([A-Za-z0-9_=-]*)")
_LEAST_DIFFERENT = 16  # 32 random bytes have about 30 different ones; fewer than 16 come from a person, not from chance
_ANEW = "Make it anew with `shelfbell init` in an empty folder; never write a key by hand."


def key_line(random: bytes, *, key_id: str = "k1") -> str:
    """The one line of a key file: an id, a colon, and 32 bytes as URL-safe base64 without padding (RFC 4648, 5)."""
    return f"{key_id}:{base64.urlsafe_b64encode(random).decode().rstrip('=')}\n"


def read_key(path: Path, *, field: str = "") -> tuple[str, bytes]:
    """The id and the 32 bytes of the first key in a file. Raises Misconfigured, naming the setting `field`."""
    return read_ring(path, field=field)[0]


def read_ring(path: Path, *, field: str = "") -> tuple[tuple[str, bytes], ...]:
    """The ids and keys of a key file, one a line: the first is the newest, the others only read what is older.

    Raises Misconfigured, naming the setting `field`, never the content.
    """
    name = field or path.name
    lines = private_text(path, name).strip().splitlines()
    keys = tuple(_key_of(line.strip(), name) for line in lines or [""])
    if len(dict(keys)) != len(keys) or len({secret for _, secret in keys}) != len(keys):
        raise Misconfigured(f"{name}: a key stands in the file twice", "Bring back its safe copy.", field=name)
    return keys


def write_ring(path: Path, keys: Sequence[tuple[str, bytes]]) -> None:
    """Puts the lines of a key file in place of those it has, whole or not at all, and safe from a loss of power.

    Raises Misconfigured when the file may not be changed; it is as it was then.
    """
    try:
        _replace(path, "".join(key_line(secret, key_id=key_id) for key_id, secret in keys))
        _keep_folder(path.resolve().parent)
    except OSError as error:
        raise Misconfigured(
            f"The key file {path.name} cannot be changed, and nothing was",
            f"Let the user who runs Shelfbell write its folder for this: {error.strerror}.",
            field=path.name,
        ) from None


def _key_of(line: str, name: str) -> tuple[str, bytes]:
    match = _LINE.fullmatch(line)
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


def _keep_folder(folder: Path) -> None:
    """A replaced name is on the disk only when its folder is (POSIX fsync of a directory)."""
    if os.name == "posix":
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def read_password(path: Path, *, field: str = "") -> str:
    """The one line of a password file. Raises Misconfigured if there is none or others may read it."""
    name = field or path.name
    text = private_text(path, name).rstrip("\r\n")
    if not text or "\n" in text or "\r" in text:
        raise Misconfigured(
            f"{name}: the file does not hold exactly one line", "Write the password on its first line.", field=name
        )
    return text


def read_signing_key(path: Path, *, field: str = "") -> bytes:
    """The secret of signed calls in a file of its own (core/signed_call). Raises Misconfigured, never quoting it."""
    name = field or path.name
    try:
        return read_secret(private_text(path, name))
    except Invalid as problem:
        cure = "Make it anew with `shelfbell source key`, and give it to the system that calls."
        raise Misconfigured(f"{name}: {problem.what[0].lower()}{problem.what[1:]}", cure, field=name) from None


def keep_signing_key(path: Path, text: str, *, old: Path | None = None) -> None:
    """Writes a secret for its owner's eyes only, whole or not at all; the one before goes to `old`, where one is named.

    The old one is written first: whenever the machine stops, every caller's key is still in one of the two.
    Raises Misconfigured when the folder cannot be written to.
    """
    try:
        if old is not None and path.exists():
            _replace(old, path.read_text("utf-8"))
        _replace(path, text)
    except OSError as error:
        raise Misconfigured(
            f"The key file {path.name} cannot be written",
            f"Make its folder, or give it to this user: {error.strerror}.",
            field=path.name,
        ) from None


def _replace(path: Path, text: str) -> None:
    path = path.resolve()  # where the name is a link, several may share the file behind it
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    number, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")  # mode 600
    try:
        with open(number, "w", encoding="utf-8") as out:
            out.write(text.rstrip("\n") + "\n")
            out.flush()
            os.fsync(number)
        os.replace(beside, path)
    except BaseException:
        os.unlink(beside)
        raise


def private_text(path: Path, name: str) -> str:
    """The text of a small file that its owner alone may read; raises Misconfigured, naming the setting `name`."""
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
