"""Files that commands write, for whoever runs them only."""

from __future__ import annotations

from pathlib import Path

from notify.core.errors import Conflict, Invalid


def need_free(file: Path, *, overwrite: bool) -> None:
    """Raises Conflict when it is there: before anything is done that only makes sense with the file written."""
    if file.exists() and not overwrite:
        raise Conflict(f"{file.name} is already there", "Name another file, or add --overwrite.", field="file")


def write_private(file: Path, data: bytes, *, overwrite: bool) -> None:
    """Writes a file that its owner alone can read. Raises Conflict when it is there, Invalid when it cannot be."""
    need_free(file, overwrite=overwrite)
    try:
        file.touch(mode=0o600)
        file.write_bytes(data)
    except OSError as error:
        raise Invalid(f"{file.name} cannot be written ({error.strerror})", "Name another file.", field="file") from None
