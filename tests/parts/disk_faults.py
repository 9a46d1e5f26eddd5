"""Makes this process's own reads, writes, syncs and opens fail now and then, underneath Python and SQLite (libfiu).

The process must have been started with `PRELOAD` in LD_PRELOAD. Nothing fails before `begin` and after `end`.
"""

from __future__ import annotations

import ctypes
import errno
import random
from collections import Counter
from pathlib import Path

PRELOAD = Path("/usr/lib/fiu/fiu_posix_preload.so")
POINTS = (b"posix/io/rw/*", b"posix/io/sync/*", b"posix/io/oc/open")
KINDS = (errno.EIO, errno.ENOSPC)

# external_cb_t of fiu-control.h: whether to fail now; the third argument is where the error number goes.
_Decide = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.c_char_p, ctypes.POINTER(ctypes.c_int), ctypes.POINTER(ctypes.c_void_p),
    ctypes.POINTER(ctypes.c_uint),
)  # fmt: skip


class DiskFaults:
    """Fails each call with `share` (0..1), by a seed; `injected` counts by the name of the call."""

    def __init__(self, *, seed: int, share: float) -> None:
        self.injected: Counter[str] = Counter()
        self.asked = 0
        self._chance, self._share = random.Random(seed), share
        self._library = ctypes.CDLL("libfiu.so.0")
        self._decide = _Decide(self._fail)  # kept: the library calls it for as long as it is enabled

    def begin(self) -> None:
        """From here on calls may fail."""
        for point in POINTS:
            code = self._library.fiu_enable_external(point, 1, None, 0, self._decide)
            if code:
                raise RuntimeError(f"libfiu did not take {point!r}")

    def end(self) -> None:
        """The disk is well again."""
        for point in POINTS:
            self._library.fiu_disable(point)

    def _fail(self, name: bytes, _number: object, info: ctypes._Pointer[ctypes.c_void_p], _flags: object) -> int:
        self.asked += 1
        if self._chance.random() >= self._share:
            return 0
        self.injected[name.decode()] += 1
        info[0] = self._chance.choice(KINDS)  # a number in a pointer's place
        return 1
