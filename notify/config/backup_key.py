"""The key of backups: an age identity in a file (age-encryption.org/v1), and its public half, the recipient."""

from __future__ import annotations

from pathlib import Path

from pyrage import x25519  # type: ignore[import-untyped]

from notify.config.key_files import private_text
from notify.core.errors import Misconfigured

_ANEW = "Bring back its safe copy, or make one anew with `age-keygen`: then old backups stay shut."


def new_identity() -> str:
    """The text of a new identity file, as `age-keygen` writes it. Its chance is that of the age library itself."""
    made = x25519.Identity.generate()
    return f"# public key: {made.to_public()}\n{made}\n"


def read_identity(path: Path, *, field: str = "backup.key_file") -> str:
    """The secret line of an identity file. Raises Misconfigured, naming the setting, never the content."""
    lines = [line.strip() for line in private_text(path, field).splitlines()]
    found = [line for line in lines if line and not line.startswith("#")]
    try:
        [secret] = found
        return str(x25519.Identity.from_str(secret))
    except Exception:
        raise Misconfigured(f"{field}: the file {path.name} holds no age identity", _ANEW, field=field) from None


def public_half(identity: str) -> str:
    """The recipient (age1...) that belongs to an identity."""
    return str(x25519.Identity.from_str(identity).to_public())
