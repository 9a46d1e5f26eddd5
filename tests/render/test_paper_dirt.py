"""How much dirt a printed code bears: the whole curve, for every size, with independent readers."""

from __future__ import annotations

import numpy as np
import pytest

from notify.render.qr import symbol
from tests.parts.paper_samples import LINK, every_size
from tests.parts.print_lab import READERS, Dots, Found, find, padded, raster, soiled

SEED = 20261125
SHARES = (0.03, 0.05, 0.07, 0.10, 0.15)
JUDGED = 0.07
TRIES, FEW = 60, 20  # at the share that is judged, and at those that only show the curve
JUDGES = ("zxing", "qrdec")


def _tries(share: float) -> int:
    return TRIES if share == JUDGED else FEW


def _read_share(page: Dots, code: Found, text: str, *, share: float) -> dict[str, float]:
    """Share of codes read by each reader with dirt (even tries) and with scratches (odd tries)."""
    dice = np.random.default_rng([SEED, round(share * 100)])
    rim = 4 * code.dots
    clean = padded(code.cut(page, extra=0), rim=rim)
    read = dict.fromkeys(READERS, 0)
    for number in range(_tries(share)):
        ink = 0 if number % 2 == 0 else 255
        worn = soiled(clean, code, share=share, rim=rim, dice=dice, ink=ink)
        assert (worn != clean).any()
        for name, reader in READERS.items():
            read[name] += reader(worn) == text
    return {name: count / _tries(share) for name, count in read.items()}


@pytest.mark.real
@pytest.mark.parametrize("size", tuple(every_size()))
def test_nine_of_ten_codes_are_read_with_dirt_on_seven_percent(size: str) -> None:
    pdf, text = every_size()[size]
    page = raster(pdf)[0]
    code = find(page)
    curve = {share: _read_share(page, code, text, share=share) for share in SHARES}
    for name in READERS:
        points = " ".join(f"at_{share * 100:.0f}={curve[share][name]:.2f}" for share in SHARES)
        print(
            f"FIGURE paper_dirt size={size} reader={name} modules={code.modules} dots={code.dots} "
            f"tries={TRIES},{FEW} seed={SEED} {points}"
        )
    assert all(curve[JUDGED][name] >= 0.9 for name in JUDGES), curve[JUDGED]


@pytest.mark.real
def test_the_dirt_measure_tells_a_weaker_code_from_ours() -> None:
    weak = symbol(LINK, level="Q")
    dark = np.kron(np.array(weak.rows, np.uint8), np.ones((8, 8), np.uint8))
    page = padded(np.asarray(255 * (1 - dark), np.uint8), rim=64)
    found = _read_share(page, find(page), LINK, share=0.07)
    assert all(found[name] < 0.9 for name in JUDGES), found
