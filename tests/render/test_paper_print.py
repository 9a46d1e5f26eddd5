"""What the printer makes of a page: whole dots, white around the code, and readers that can read it."""

from __future__ import annotations

import numpy as np
import pytest

from notify.render.paper import MM_PER_DOT, PAPERS
from tests.parts.paper_samples import SAMPLES, every_size, ticket
from tests.parts.print_lab import (
    READERS,
    Dots,
    blurred,
    defocused,
    faded,
    find,
    padded,
    quiet_modules,
    raster,
    seen,
    turned,
    uneven_modules,
)

SIZES = tuple(every_size())
# A phone is held, a label is stuck and a ticket is fed at an angle; 45 degrees is the worst for any grid.
ANGLES = (3, 17, 45, 90, 133, 180)


@pytest.fixture(scope="module")
def pages() -> dict[str, tuple[Dots, str]]:
    return {name: (raster(pdf)[0], text) for name, (pdf, text) in every_size().items()}


@pytest.mark.long
@pytest.mark.parametrize("size", SIZES)
def test_every_printed_size_is_read_by_three_readers(pages: dict[str, tuple[Dots, str]], size: str) -> None:
    page, text = pages[size]
    assert {name: read(page) for name, read in READERS.items()} == dict.fromkeys(READERS, text)


@pytest.mark.parametrize("size", SIZES)
def test_modules_are_whole_dots_in_four_modules_of_white(pages: dict[str, tuple[Dots, str]], size: str) -> None:
    page, _text = pages[size]
    code = find(page)
    assert uneven_modules(page, code) == 0
    # ISO/IEC 18004: the quiet zone is 4 modules wide on every side.
    assert quiet_modules(page, code) >= 4
    assert code.dots >= 5


def test_a_printer_of_another_resolution_is_noticed_by_the_measure_of_whole_dots() -> None:
    page = raster(ticket("roll80"), dots_per_inch=196)[0]
    assert uneven_modules(page, find(page)) > 100


def test_ink_in_the_quiet_zone_is_noticed_by_the_measure_of_white(
    pages: dict[str, tuple[Dots, str]],
) -> None:
    page = pages["roll80"][0].copy()
    code = find(page)
    page[code.y - 4 * code.dots + 1, code.x + 40] = 0
    assert quiet_modules(page, code) == 3


@pytest.mark.parametrize(("paper", "width", "printed"), [("roll80", 80, 72), ("roll58", 58, 48)])
def test_rolls_are_as_wide_as_the_paper_and_print_within_the_head(paper: str, width: int, printed: int) -> None:
    page = raster(ticket(paper))[0]
    inked = np.flatnonzero((page < 200).any(axis=0))
    assert abs(page.shape[1] * MM_PER_DOT - width) < 0.2
    # 72 mm and 48 mm heads have 576 and 384 dots (8 a millimetre).
    assert inked[-1] - inked[0] + 1 <= printed * 8
    assert inked[0] == PAPERS[paper].margin


def test_a_roll_is_as_long_as_its_content_and_no_longer() -> None:
    for sample in SAMPLES.values():
        page = raster(ticket("roll80", sample))[0]
        inked = np.flatnonzero((page < 200).any(axis=1))
        assert page.shape[0] - inked[-1] < 60


def test_an_everyday_ticket_fits_one_a6_page() -> None:
    (page,) = raster(ticket("a6"))
    assert abs(page.shape[0] * MM_PER_DOT - 148) < 0.2
    assert abs(page.shape[1] * MM_PER_DOT - 105) < 0.2


def _worn(code: Dots, dots: int) -> dict[str, Dots]:
    """Each wear alone, and the three together; "smeared" goes beyond what is promised."""
    wear = {f"turned_{angle}": turned(code, angle) for angle in ANGLES}
    wear["defocused"] = defocused(code, radius=0.5 * dots)
    wear["faded"] = faded(code, contrast=0.25)
    wear["all"] = faded(defocused(turned(code, 17), radius=0.5 * dots), contrast=0.25)
    wear["smeared"] = blurred(code, sigma=0.5 * dots)
    return wear


@pytest.mark.real
def test_every_size_survives_rotation_blur_and_thermal_fade(pages: dict[str, tuple[Dots, str]]) -> None:
    readers_of: dict[tuple[str, str], set[str]] = {}
    for size, (page, text) in pages.items():
        code = find(page)
        clean = padded(code.cut(page, extra=0), rim=4 * code.dots)
        for wear, picture in _worn(clean, code.dots).items():
            looks = seen(picture)
            readers_of[size, wear] = {name for name in READERS if f"{name} {text}" in looks}
    smeared = [len(found) >= 2 for (_size, wear), found in readers_of.items() if wear == "smeared"]
    promised = {key: found for key, found in readers_of.items() if key[1] != "smeared"}
    read = {name: sum(name in found for found in promised.values()) for name in READERS}
    print(
        f"FIGURE paper_wear sizes={len(pages)} pictures={len(promised)} blur_radius_modules=0.5 contrast=0.25 "
        f"read_by_two={sum(len(found) >= 2 for found in promised.values())} read_zxing={read['zxing']} "
        f"read_qrdec={read['qrdec']} read_opencv={read['opencv']} "
        f"gauss_sigma_half_a_module_read_by_two={sum(smeared)}/{len(smeared)}"
    )
    # Each picture is read by two independent readers: zxing, and qrdec or OpenCV's.
    assert not {key: found for key, found in promised.items() if "zxing" not in found or len(found) < 2}


def test_wear_beyond_reading_is_not_read(pages: dict[str, tuple[Dots, str]]) -> None:
    page, text = pages["roll80"]
    code = find(page)
    ruined = blurred(padded(code.cut(page, extra=0), rim=4 * code.dots), sigma=1.5 * code.dots)
    assert not any(text in look for look in seen(ruined))
