"""The phases and their moves: every pair of phases and outcome against the table of the design, typed here anew."""

from __future__ import annotations

import itertools

import pytest

from notify.core import tickets
from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.core.tickets import DESK_ONLY, MOVES, OPEN_PHASES, Outcome, Phase, WaitsOn, find_move, waiting_on

# The design's table, row by row (section 2, "Phases and every allowed move"): from -> to, outcome, needs a reason.
ORACLE = {
    ("taken_in", "inspecting", ""): False,  # a technician looks for the fault
    ("taken_in", "in_line", ""): False,  # work agreed, or within the limit agreed at check-in
    ("inspecting", "in_line", ""): False,
    ("in_line", "on_bench", ""): False,  # a technician takes it
    ("on_bench", "in_line", ""): True,  # put back: part dead on arrival, part missing, question
    ("on_bench", "proving", ""): False,  # repair done, now proved
    ("on_bench", "on_shelf", "repaired"): False,  # proved
    ("proving", "on_shelf", "repaired"): False,
    ("proving", "on_bench", ""): False,  # failed the proof
    ("taken_in", "on_shelf", "unrepaired"): True,  # declined, not repairable, changed their mind
    ("inspecting", "on_shelf", "unrepaired"): True,
    ("in_line", "on_shelf", "unrepaired"): True,
    ("on_bench", "on_shelf", "unrepaired"): True,
    ("on_shelf", "in_line", ""): True,  # called back by the shop
    ("on_shelf", "handed_back", ""): False,  # handover
    ("handed_back", "on_shelf", ""): True,  # handover undone (wrong device), reason
    ("on_shelf", "left_behind", ""): True,  # closed as uncollected by a person, reason
}
PHASES = [
    "taken_in", "inspecting", "in_line", "on_bench", "proving", "on_shelf", "handed_back", "left_behind",
]  # fmt: skip


def expected(source: str, target: str, outcome: str) -> tuple[str, str] | None:
    """(outcome of the row, event's need of a reason as text) that this request must find; None for a refusal."""
    rows = [key for key in ORACLE if key[:2] == (source, target)]
    wanted = [key for key in rows if not outcome or key[2] == outcome]
    if not outcome and len(rows) > 1:
        wanted = [key for key in rows if key[2] == "repaired"]
    return (wanted[0][2], str(ORACLE[wanted[0]])) if wanted else None


def test_every_pair_of_phases_and_every_outcome_is_as_the_design_says() -> None:
    assert [phase.value for phase in Phase] == PHASES
    cells = allowed = differing = 0
    for source, target, outcome in itertools.product(PHASES, PHASES, ("", "repaired", "unrepaired")):
        cells += 1
        try:
            found = find_move(Phase(source), Phase(target), outcome=outcome)
            got = (found.outcome or "", str(bool(found.reasons)))
            allowed += 1
        except NotAllowed:
            got = None
        differing += got != expected(source, target, outcome)
    print(f"FIGURE moves cells={cells} allowed={allowed} differing={differing}")
    assert differing == 0 and len(MOVES) == len(ORACLE)


@pytest.mark.parametrize("source", PHASES)
def test_a_refusal_names_every_phase_that_is_allowed_instead(source: str) -> None:
    allowed = {target for one, target, _ in ORACLE if one == source}
    for target in set(PHASES) - allowed:
        with pytest.raises(NotAllowed) as refused:
            find_move(Phase(source), Phase(target))
        assert source in refused.value.what and target in refused.value.what
        named = set(refused.value.advice.removesuffix(".").split(": ")[-1].split(", "))
        assert named == allowed or (not allowed and "is the end" in refused.value.advice)
        assert refused.value.field == "to"


def test_a_reason_is_demanded_exactly_where_the_table_has_one_and_only_its_own_codes_count() -> None:
    for move in MOVES:
        tickets.check_reason(move, move.reasons[0] if move.reasons else "")
        if not move.reasons:
            continue
        for wrong in ("", "because", "lost"):
            with pytest.raises(Invalid) as refused:
                tickets.check_reason(move, wrong)
            assert all(code in refused.value.advice for code in move.reasons)


def test_reasons_of_the_design_are_all_there() -> None:
    unrepaired = find_move(Phase.IN_LINE, Phase.ON_SHELF).reasons
    assert {"price_declined", "not_repairable", "changed_mind"} <= set(unrepaired)
    assert {"part_dead", "part_missing", "question"} <= set(find_move(Phase.ON_BENCH, Phase.IN_LINE).reasons)
    assert "wrong_device" in find_move(Phase.HANDED_BACK, Phase.ON_SHELF).reasons


def test_a_device_goes_to_a_person_at_the_desk_only() -> None:
    assert {"handed_back", "handover_undone"} == DESK_ONLY
    assert {m.event for m in MOVES if Phase.HANDED_BACK in (m.source, m.target)} == DESK_ONLY


def test_whom_a_ticket_waits_on_is_the_customer_then_a_part_then_the_bench_then_nobody() -> None:
    working = {"taken_in", "inspecting", "in_line", "on_bench", "proving"}
    cells = 0
    for phase, questions, parts in itertools.product(PHASES, (0, 1, 3), (0, 1, 3)):
        want = "nobody"
        if phase in working:
            want = "customer" if questions else "part" if parts else "bench"
        assert waiting_on(Phase(phase), open_questions=questions, missing_parts=parts) == WaitsOn(want)
        cells += 1
    print(f"FIGURE waiting_on cells={cells} wrong=0")
    assert working | {"on_shelf"} == {p.value for p in OPEN_PHASES}


@pytest.mark.parametrize("waits", [WaitsOn.CUSTOMER, WaitsOn.PART])
def test_the_bench_refuses_what_waits_unless_started_anyway_with_a_reason(waits: WaitsOn) -> None:
    with pytest.raises(NotAllowed):
        tickets.check_may_start(waits, anyway=False, note="")
    with pytest.raises(NotAllowed):
        tickets.check_may_start(waits, anyway=False, note="a note alone is no decision")
    with pytest.raises(Invalid):
        tickets.check_may_start(waits, anyway=True, note="  ")
    tickets.check_may_start(waits, anyway=True, note="the part came by hand")
    tickets.check_may_start(WaitsOn.BENCH, anyway=False, note="")


def test_an_older_sight_of_the_ticket_is_a_conflict_and_no_sight_is_none() -> None:
    tickets.check_version(None, 4)
    tickets.check_version(4, 4)
    with pytest.raises(Conflict):
        tickets.check_version(3, 4)


def test_phases_are_read_from_words_and_an_unknown_one_lists_them_all() -> None:
    assert tickets.parse_phase(" On Bench ") is Phase.ON_BENCH
    with pytest.raises(Invalid) as refused:
        tickets.parse_phase("done")
    assert all(name in refused.value.advice for name in PHASES)
    assert {o.value for o in Outcome} == {"repaired", "unrepaired"}
