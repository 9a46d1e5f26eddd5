"""Whether a zip archive is whole and no larger than it says, before anybody opens it.

A file of some kilobytes may unpack to terabytes.
"""

from __future__ import annotations

import struct
import zipfile
import zlib
from typing import BinaryIO

from notify.watch.lines import too_large, wrong

MOST_ENTRIES = 2_000
MOST_TIMES = 200  # how much larger an entry may be than packed; sheets pack ten to a hundred times (measured)
FREE = 1 << 20  # octets below which that does not matter
_LOCAL = struct.Struct("<4s5H3I2H")
_PART = 1 << 16


def is_whole(file: BinaryIO) -> bool:
    """Whether its directory, which is written last, is there."""
    file.seek(0)
    try:
        with zipfile.ZipFile(file) as archive:
            return bool(archive.infolist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return False


def check_sizes(file: BinaryIO, *, most_octets: int) -> None:
    """Raises SourceTrouble when it would unpack to more than `most_octets`, or to more than its directory says.

    The directory is asked first. Then each entry is unpacked without being kept, since a directory may lie.
    """
    file.seek(0)
    try:
        with zipfile.ZipFile(file) as archive:
            entries = archive.infolist()
            if len(entries) > MOST_ENTRIES or sum(one.file_size for one in entries) > most_octets:
                raise _bomb()
            if any(one.file_size > max(FREE, one.compress_size * MOST_TIMES) for one in entries):
                raise _bomb()
            for entry in entries:
                _unpack(file, entry)
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, zlib.error, struct.error):
        raise wrong("It is no whole workbook", "Save it again as XLSX.") from None


def _unpack(file: BinaryIO, entry: zipfile.ZipInfo) -> None:
    if entry.flag_bits & 1:
        raise wrong("It is locked with a password", "Save it without one.")
    if entry.compress_type == zipfile.ZIP_STORED:
        if entry.file_size != entry.compress_size:
            raise _bomb()
        return
    if entry.compress_type != zipfile.ZIP_DEFLATED:
        raise wrong("It is packed in an unusual way", "Save it again as XLSX.")
    file.seek(entry.header_offset)
    header = _LOCAL.unpack(file.read(_LOCAL.size))
    file.seek(header[9] + header[10], 1)
    _inflate(file, entry)


def _inflate(file: BinaryIO, entry: zipfile.ZipInfo) -> None:
    inflater, left, made = zlib.decompressobj(-zlib.MAX_WBITS), entry.compress_size, 0
    while left and not inflater.eof:
        part = file.read(min(_PART, left))
        if not part:
            raise zipfile.BadZipFile
        left -= len(part)
        while part and not inflater.eof:
            made += len(inflater.decompress(part, _PART))
            part = inflater.unconsumed_tail
            if made > entry.file_size:
                raise _bomb()
    if made + len(inflater.flush()) != entry.file_size:
        raise _bomb()


def _bomb() -> Exception:
    return too_large("It would unpack to far more than its size", "Save the sheet alone in a new workbook, or as CSV.")
