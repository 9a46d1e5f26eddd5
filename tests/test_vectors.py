"""The vector files, area by area, through the product; and the runner's own honesty."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from tests.vectors.__main__ import main
from tests.vectors.areas_retry import tried_again
from tests.vectors.cases import FOLDER, Case, all_areas, failure, parametrise, read_cases

DONE = [
    *((area, "messaging.json") for area in ("quiet_hours", "durations", "deadlines", "e164", "sms")),
    *((area, "messaging.json") for area in ("opt_out", "confirmation", "suppression_hash")),
    *((area, "calendar.json") for area in ("outgoing", "dst", "mail", "fold", "escape", "param")),
    *((area, "calendar.json") for area in ("itip", "shape", "hostile", "mime", "cross-check")),
    ("capacity", "forecast.json"),
    *((area, "forecast.json") for area in ("posterior-predictive", "fit", "fit-censored", "lognormal-fit")),
    *((area, "forecast.json") for area in ("dirichlet-multinomial", "business-days", "business-day-count", "holidays")),
    *((area, "forecast.json") for area in ("bench-order", "bench-order-stochastic")),
    *((area, "forecast.json") for area in ("forecast-deterministic", "forecast-stochastic", "probability")),
    *((area, "forecast.json") for area in ("promise-rounding", "open-minutes", "dst")),
    *((area, "forecast.json") for area in ("calibration", "brier", "aci", "cohort", "crps", "ewma", "percentile")),
]
pytestmark = [pytest.mark.vectors, pytest.mark.usefixtures("tzdata_only")]


@pytest.mark.parametrize(("area", "file"), DONE)
def test_every_case_of_an_area_that_is_done_passes(area: str, file: str) -> None:
    cases, areas = parametrise(file, area), all_areas()
    failures = {case.id: why for case in cases if (why := failure(case, areas))}
    assert cases and not failures
    print(f"FIGURE vectors_{area} cases={len(cases)} failed={len(failures)}")


@pytest.mark.parametrize("wanted", ["J-11", "J-12"])
def test_an_answer_of_a_mail_server_is_followed_by_another_try_or_by_none_as_the_cases_say(wanted: str) -> None:
    [case] = [case for case in read_cases(FOLDER / "calendar.json") if case.id == wanted]
    assert failure(case, {"mail": tried_again}) == ""
    reply = {"451 4.3.0": "550 5.1.1", "550 5.1.1": "451 4.3.0"}[case.given["reply"]]
    assert failure(replace(case, given={"reply": reply}), {"mail": tried_again}), "the other answer would do as well"


@pytest.mark.parametrize(("area", "file"), DONE)
def test_most_cases_given_their_neighbours_expectation_fail(area: str, file: str) -> None:
    cases, areas = parametrise(file, area), all_areas()
    swapped = [
        Case(id=case.id, area=area, title="", given=case.given, expect=other.expect)
        for case, other in pairwise(cases)
        if case.expect != other.expect
    ]
    caught = sum(failure(case, areas) != "" for case in swapped)
    # Not all: two refusals for different reasons are one outcome, and some expectations hold of both.
    assert caught > len(swapped) * 0.6 or len(cases) == 1, f"{caught} of {len(swapped)}"


def test_the_runner_counts_every_case_and_fails_what_it_does_not_know(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cases = json.loads((FOLDER / "messaging.json").read_text())["cases"]
    known = next(case for case in cases if case["area"] == "quiet_hours")
    unknown = known | {"id": "x", "area": "weather"}
    file = tmp_path / "two.json"
    held = {"schema": "shelfbell-cases/1", "set": "two", "count": 2, "cases": [known, unknown]}
    file.write_text(json.dumps(held))
    assert main([str(file)]) == 1
    assert capsys.readouterr().out.splitlines()[-1] == "1 passed, 1 failed"
    assert main([str(file), "--area", "quiet_hours"]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "1 passed, 0 failed"


def test_the_runner_refuses_a_file_whose_count_is_wrong(tmp_path: Path) -> None:
    file = tmp_path / "short.json"
    file.write_text(json.dumps({"schema": "shelfbell-cases/1", "count": 3, "cases": []}))
    with pytest.raises(ValueError, match="not a whole file"):
        main([str(file)])
