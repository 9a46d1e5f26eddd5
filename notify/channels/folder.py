"""A channel that keeps each message as one durable file of a Maildir, once per Message-ID."""

from __future__ import annotations

import errno
import hashlib
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from notify.channels.base import Outgoing, Receipt, Verdict, refusal


class FolderChannel:
    """Writes to `tmp/`, syncs, renames into `new/`, syncs the folder: a crash leaves a whole file or none.

    The file name derives from the Message-ID, so that a repeated try does not make a second file, not even
    after a mail reader has moved the first one to `cur/`. Folders are made 0700, files 0600.
    """

    def __init__(self, path: Path) -> None:
        self._path = path

    def send(self, outgoing: Outgoing, /) -> Receipt:
        """See Channel.send. A folder that is full or not writable means: try later."""
        refused = refusal(outgoing)
        if refused is not None:
            return refused
        try:
            return self._keep(_file_name(outgoing.message_id), outgoing.payload)
        except OSError as error:
            name = errno.errorcode.get(error.errno or 0, "error")
            words = os.strerror(error.errno) if error.errno else "the folder cannot be used"
            return Receipt(Verdict.TRY_LATER, f"folder-{name}", f"{words}; make the mail folder writable.")

    def forget(self, message_ids: Iterable[str]) -> int:
        """Overwrites and removes the kept files of these messages; how many. Copies a reader made stay."""
        wanted = {_file_name(message_id) for message_id in message_ids}
        # In `new` a name is known: the folder may be large, and this is asked for a hundred people at a time.
        found = [self._path / "new" / name for name in wanted if (self._path / "new" / name).is_file()]
        for folder in (self._path / "cur", self._path / "tmp"):
            names = os.listdir(folder) if folder.is_dir() else ()
            found += [folder / name for name in names if name.split(":")[0].split(".")[0] in wanted]
        for file in found:
            _shred(file)
        return len(found)

    def close(self) -> None:
        """Nothing to close; there so that every channel is closed alike."""

    def _keep(self, name: str, payload: bytes) -> Receipt:
        for inner in ("tmp", "new", "cur"):
            (self._path / inner).mkdir(mode=0o700, parents=True, exist_ok=True)
        if self._is_there(name):
            # An earlier try may have been cut off between its rename and its sync.
            _sync_folder(self._path / "new")
            self._tidy(name)
            return Receipt(Verdict.ACCEPTED, "already-there")
        draft = self._write_draft(name, payload)
        try:
            draft.rename(self._path / "new" / name)
        except FileNotFoundError:
            if not self._is_there(name):  # another writer of the same message tidied our draft away?
                raise
        _sync_folder(self._path / "new")
        self._tidy(name)
        return Receipt(Verdict.ACCEPTED, "kept")

    def _is_there(self, name: str) -> bool:
        if (self._path / "new" / name).exists():
            return True
        return any(found.split(":")[0] == name for found in os.listdir(self._path / "cur"))

    def _write_draft(self, name: str, payload: bytes) -> Path:
        handle, path = tempfile.mkstemp(prefix=f"{name}.", dir=self._path / "tmp")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(payload)
                file.flush()
                os.fsync(file.fileno())
        except OSError:
            Path(path).unlink(missing_ok=True)
            raise
        return Path(path)

    def _tidy(self, name: str) -> None:
        """Remove what a crashed try of this message left in `tmp/`: it holds the customer's text."""
        for found in os.listdir(self._path / "tmp"):
            if found.startswith(f"{name}."):
                (self._path / "tmp" / found).unlink(missing_ok=True)


def _file_name(message_id: str) -> str:
    return hashlib.sha256(message_id.encode("utf-8", "surrogatepass")).hexdigest()[:40]


def _shred(file: Path) -> None:
    """Overwrites before removing. On a copy-on-write or flash disk older blocks may outlive this."""
    with file.open("r+b") as handle:
        handle.write(b"\0" * file.stat().st_size)
        handle.flush()
        os.fsync(handle.fileno())
    file.unlink()


def _sync_folder(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
