"""Rasterise printed pages at 203 dpi, find the QR code in the dots, wear it down, and read it twice."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import cv2
import deqr  # type: ignore[import-untyped]
import numpy as np
import pypdfium2
import zxingcpp
from numpy.typing import NDArray

Dots = NDArray[np.uint8]


def raster(pdf: bytes, *, dots_per_inch: float = 203) -> list[Dots]:
    """Each page as grey dots (0 black, 255 white), as a printer of that resolution sees it."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [np.array(page.render(scale=dots_per_inch / 72, grayscale=True).to_numpy()) for page in document]
    finally:
        document.close()


def read_zxing(page: Dots) -> str:
    """What zxing-cpp reads, "" if nothing."""
    found = zxingcpp.read_barcodes(page, formats=zxingcpp.BarcodeFormat.QRCode)
    return str(found[0].text) if found else ""


def read_opencv(page: Dots) -> str:
    """What OpenCV's detector reads, "" if nothing."""
    try:
        text, _corners, _straight = cv2.QRCodeDetector().detectAndDecode(page)
    except cv2.error:  # it raises on some ruined codes instead of giving up
        return ""
    return str(text)


def read_qrdec(page: Dots) -> str:
    """What qrdec reads (the QR decoder that ZBar uses), "" if nothing."""
    found = deqr.QRdecDecoder().decode(np.ascontiguousarray(page).copy())
    return "".join(str(entry.data) for entry in found[0].data_entries) if found else ""


READERS: Mapping[str, Callable[[Dots], str]] = {"zxing": read_zxing, "qrdec": read_qrdec, "opencv": read_opencv}


@dataclass(frozen=True, slots=True)
class Found:
    """A QR code in the dots of a page: corner and side of its dark square, modules across, dots per module."""

    x: int
    y: int
    side: int
    modules: int
    dots: int

    def cut(self, page: Dots, *, extra: int) -> Dots:
        """The code with `extra` modules around it."""
        rim = extra * self.dots
        return page[max(self.y - rim, 0) : self.y + self.side + rim, max(self.x - rim, 0) : self.x + self.side + rim]


def find(page: Dots) -> Found:
    """Measure the code in the dots alone: its edges, and the module from the 7 modules of a finder square."""
    position = zxingcpp.read_barcodes(page)[0].position
    corners = [position.top_left, position.top_right, position.bottom_left, position.bottom_right]
    left, top = min(c.x for c in corners) - 4, min(c.y for c in corners) - 4
    right, bottom = max(c.x for c in corners) + 5, max(c.y for c in corners) + 5
    dark = page[top:bottom, left:right] < 128
    rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    x, y, side = int(columns[0]), int(rows[0]), int(rows[-1] - rows[0]) + 1
    finder = int(np.argmin(dark[y + 1, x + 1 :])) + 1
    return Found(left + x, top + y, side, modules=round(side * 7 / finder), dots=round(finder / 7))


def uneven_modules(page: Dots, code: Found) -> int:
    """Modules that are not one whole square of `dots` x `dots` equal dots (0 if the print is exact)."""
    if code.modules * code.dots != code.side or code.modules % 4 != 1:
        return code.modules**2
    square = page[code.y : code.y + code.side, code.x : code.x + code.side]
    tiles = square.reshape(code.modules, code.dots, code.modules, code.dots).swapaxes(1, 2)
    low, high = tiles.min(axis=(2, 3)), tiles.max(axis=(2, 3))
    return int(((low > 64) & (low < 240) | (high > 64) & (high < 240) | (high - low > 64)).sum())


def quiet_modules(page: Dots, code: Found) -> int:
    """Whole modules of white on the narrowest side; paper ends count as white only up to the page's edge."""
    for rim in range(1, 9):
        far = rim * code.dots
        y, x = code.y - far, code.x - far
        if min(x, y) < 0:
            return rim - 1
        ring = page[y : code.y + code.side + far, x : code.x + code.side + far].copy()
        ring[far:-far, far:-far] = 255
        if ring.shape != (code.side + 2 * far,) * 2 or ring.min() < 250:
            return rim - 1
    return 8


def seen(page: Dots) -> set[str]:
    """Readers and what they read as "name text", from the picture and from one twice as large.

    Two looks, because a camera takes many pictures a second while the hand comes nearer.
    """
    nearer = np.asarray(cv2.resize(page, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), np.uint8)
    return {f"{name} {reader(look)}" for look in (page, nearer) for name, reader in READERS.items()}


def padded(code: Dots, *, rim: int) -> Dots:
    """The picture on more white paper."""
    return np.pad(code, rim, constant_values=255)


def turned(code: Dots, degrees: float) -> Dots:
    """Rotated about its middle on white paper large enough."""
    wide = padded(code, rim=code.shape[0] // 3)
    height, width = wide.shape
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 1.0)
    return np.asarray(cv2.warpAffine(wide, turn, (width, height), borderValue=255, flags=cv2.INTER_LINEAR), np.uint8)


def defocused(code: Dots, *, radius: float) -> Dots:
    """Out of focus as a lens is: every point becomes an even disc; `radius` in dots."""
    reach = int(np.ceil(radius))
    down, right = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.clip(radius + 0.5 - np.hypot(right, down), 0, 1)
    spread = cv2.filter2D(code, -1, disc / disc.sum(), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(spread, np.uint8)


def blurred(code: Dots, *, sigma: float) -> Dots:
    """Gaussian blur; `sigma` in dots."""
    return np.asarray(cv2.GaussianBlur(code, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE), np.uint8)


def faded(code: Dots, *, contrast: float) -> Dots:
    """Thermal paper gone pale: black keeps only `contrast` of its distance from white."""
    return (255 - (255 - code.astype(float)) * contrast).round().astype(np.uint8)


def soiled(code: Dots, found: Found, *, share: float, rim: int, dice: np.random.Generator, ink: int) -> Dots:
    """Round blots of `ink` (0 dirt, 255 scratches) over `share` of the code's area (up to a tenth more).

    `code` starts `rim` dots before the dark square. Blots have a radius of 0.7 to 2 modules and never
    touch the three finder squares with their white border: dirt there is beyond any error level.
    """
    side, module = found.side, found.dots
    allowed = np.ones((side, side), np.uint8)
    for y in (0, side - 8 * module):
        for x in (0, side - 8 * module):
            if not (x and y):
                allowed[y : y + 8 * module, x : x + 8 * module] = 0
    blots = np.zeros((side, side), np.uint8)
    while blots.mean() < share:
        spot = np.zeros_like(blots)
        middle = dice.integers(0, side, size=2)
        cv2.circle(spot, (int(middle[0]), int(middle[1])), round(dice.uniform(0.7, 2.0) * module), 1, -1)
        too_much = (blots | spot).mean() > share * 1.1
        if not too_much and not (spot & (1 - allowed)).any():
            blots |= spot
    worn = code.copy()
    worn[rim : rim + side, rim : rim + side][blots == 1] = ink
    return worn
