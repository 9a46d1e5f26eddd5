"""Every form in which a text may lie in raw bytes, and a count of how often any of them does."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import mmap
import quopri
import re
import urllib.parse
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import text as said


def forms(text: str) -> dict[str, bytes]:
    """Name of an encoding -> how the text looks in it. Unsalted hashes count: a phone number is soon guessed."""
    plain = text.encode()
    out = {
        "utf-8": plain,
        "lower case": text.lower().encode(),
        "upper case": text.upper().encode(),
        "utf-16-le": text.encode("utf-16-le"),
        "utf-16-be": text.encode("utf-16-be"),
        "utf-32-le": text.encode("utf-32-le"),
        "utf-32-be": text.encode("utf-32-be"),
        "hex": plain.hex().encode(),
        "HEX": plain.hex().upper().encode(),
        "url": urllib.parse.quote(text, safe="").encode(),
        "url plus": urllib.parse.quote_plus(text).encode(),
        "quoted-printable": quopri.encodestring(plain).strip(),
        "html": html.escape(text).encode(),
        "json": json.dumps(text)[1:-1].encode(),
        "reversed": text[::-1].encode(),
    }
    out |= {f"base64 at {n}": _inside_base64(plain, n) for n in range(3)}
    for name in ("md5", "sha1", "sha256"):
        digest = hashlib.new(name, plain, usedforsecurity=False)
        out |= {f"{name} hex": digest.hexdigest().encode(), f"{name} raw": digest.digest()}
    return out


def _inside_base64(plain: bytes, offset: int) -> bytes:
    """The letters that base64 of any text with `plain` at this offset (mod 3) has for certain."""
    whole = base64.b64encode(b"\0" * offset + plain)
    first, last = -(-offset * 8 // 6), (offset + len(plain)) * 8 // 6
    return whole[first:last]


def phone_forms(e164: str, *, country: int = 2) -> list[str]:
    """How people write one number: E.164, digits, with 00, national, spaced."""
    code, rest = e164[1 : 1 + country], e164[1 + country :]
    return [
        e164,
        code + rest,
        f"00{code}{rest}",
        f"0{rest}",
        f"0{rest[:4]} {rest[4:]}",
        f"+{code} {rest[:4]} {rest[4:]}",
    ]


def patterns(texts: Iterable[str]) -> dict[tuple[str, str], bytes]:
    """(text, encoding) -> bytes, for every text, each different bytes once."""
    found: dict[bytes, tuple[str, str]] = {}
    for text in texts:
        for name, form in forms(text).items():
            found.setdefault(form, (text, name))
    return {key: form for form, key in found.items()}


def files_below(*folders: Path) -> Iterator[Path]:
    """Every file of these folders."""
    for folder in folders:
        yield from (file for file in folder.rglob("*") if file.is_file())


def hits(files: Iterable[Path], wanted: dict[tuple[str, str], bytes]) -> list[tuple[str, str, str]]:
    """(file name, text, encoding) for every pattern found in a file."""
    out = []
    for file in files:
        data = file.read_bytes()
        out += [(file.name, *key) for key, form in wanted.items() if form in data]
    return out


def count_marks(files: Iterable[Path], mark: bytes) -> int:
    """How often a mark stands in these files, as it is or in hexadecimal; for files too large to be read whole."""
    either = re.compile(re.escape(mark) + b"|" + mark.hex().encode())
    found = 0
    for file in files:
        if file.stat().st_size:
            with file.open("rb") as handle, mmap.mmap(handle.fileno(), 0, access=mmap.ACCESS_READ) as whole:
                found += sum(1 for _ in either.finditer(whole))
    return found


def heap(database: Any) -> list[Path]:
    """The files of a PostgreSQL database's own tables and indexes, with everything written into them."""
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(said("checkpoint"))
        folder = Path(connection.execute(said("show data_directory")).scalar_one())
        number = connection.execute(said("select oid from pg_database where datname = current_database()"))
        return list(files_below(folder / "base" / str(number.scalar_one())))
