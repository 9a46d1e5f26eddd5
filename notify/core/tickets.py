"""The phases of a ticket, the one table of allowed moves, and whom a ticket waits on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum

from notify.core.errors import Changed, Invalid, NotAllowed


class Phase(StrEnum):
    """Where the device and the work stand."""

    TAKEN_IN = "taken_in"  # the device lies with us, nobody has looked yet
    INSPECTING = "inspecting"  # a technician looks for the fault
    IN_LINE = "in_line"  # the work is agreed and waits for the bench
    ON_BENCH = "on_bench"  # a technician works on it
    PROVING = "proving"  # repaired, now watched to prove that it holds
    ON_SHELF = "on_shelf"  # ready to be collected
    HANDED_BACK = "handed_back"  # with its owner again
    LEFT_BEHIND = "left_behind"  # closed by a person as never collected


class Outcome(StrEnum):
    """What became of the work; empty text while undecided."""

    REPAIRED = "repaired"
    UNREPAIRED = "unrepaired"


class WaitsOn(StrEnum):
    """Who or what has to act next; derived from facts, never stored."""

    CUSTOMER = "customer"
    PART = "part"
    BENCH = "bench"
    NOBODY = "nobody"


@dataclass(frozen=True, slots=True)
class Move:
    """One allowed step: `source` -> `target`, the event it leaves, and what it asks for.

    `reasons` lists the reason codes that are accepted; empty means that no reason is needed.
    """

    source: Phase
    target: Phase
    event: str
    outcome: Outcome | None = None
    reasons: tuple[str, ...] = ()


UNREPAIRED_REASONS = ("price_declined", "not_repairable", "changed_mind", "part_not_to_be_had")
PUT_BACK_REASONS = ("part_dead", "part_missing", "question", "other_job")
CALL_BACK_REASONS = ("fault_seen_again", "work_forgotten", "wrong_shelf", "other")
UNDO_HANDOVER_REASONS = ("wrong_device", "wrong_person", "customer_came_back", "other")
LEFT_REASONS = ("local_steps_done", "customer_gave_it_up", "other")

P = Phase
MOVES: tuple[Move, ...] = (
    Move(P.TAKEN_IN, P.INSPECTING, "inspection_began"),
    Move(P.TAKEN_IN, P.IN_LINE, "work_agreed"),
    Move(P.INSPECTING, P.IN_LINE, "work_agreed"),
    Move(P.IN_LINE, P.ON_BENCH, "bench_began"),
    Move(P.ON_BENCH, P.IN_LINE, "put_back", reasons=PUT_BACK_REASONS),
    Move(P.ON_BENCH, P.PROVING, "repair_done"),
    Move(P.ON_BENCH, P.ON_SHELF, "shelved", outcome=Outcome.REPAIRED),
    Move(P.PROVING, P.ON_SHELF, "shelved", outcome=Outcome.REPAIRED),
    Move(P.PROVING, P.ON_BENCH, "proof_failed"),
    *(
        Move(source, P.ON_SHELF, "shelved_unrepaired", outcome=Outcome.UNREPAIRED, reasons=UNREPAIRED_REASONS)
        for source in (P.TAKEN_IN, P.INSPECTING, P.IN_LINE, P.ON_BENCH)
    ),
    Move(P.ON_SHELF, P.IN_LINE, "called_back", reasons=CALL_BACK_REASONS),
    Move(P.ON_SHELF, P.HANDED_BACK, "handed_back"),
    Move(P.HANDED_BACK, P.ON_SHELF, "handover_undone", reasons=UNDO_HANDOVER_REASONS),
    Move(P.ON_SHELF, P.LEFT_BEHIND, "left_behind", reasons=LEFT_REASONS),
)
UNDO_WITHIN = timedelta(seconds=90)  # how long anybody may take a move back as a mistake
# Only the handover desk may take these: a device goes to a person, not to a button.
DESK_ONLY = frozenset({"handed_back", "handover_undone"})
# Where a way through several phases ends, and the moves that no such way takes.
_STOPS = frozenset({Phase.ON_SHELF, Phase.HANDED_BACK, Phase.LEFT_BEHIND})
_SIDEWAYS = frozenset({"put_back", "proof_failed", "called_back", "handover_undone"})
OPEN_PHASES = (P.TAKEN_IN, P.INSPECTING, P.IN_LINE, P.ON_BENCH, P.PROVING, P.ON_SHELF)
MOVE_EVENTS = frozenset(move.event for move in MOVES)


def moves_from(phase: Phase) -> tuple[Move, ...]:
    """Every move that starts in `phase`, in the order of the table."""
    return tuple(move for move in MOVES if move.source is phase)


def find_move(source: Phase, target: Phase, *, outcome: str = "") -> Move:
    """The row for source -> target; raises NotAllowed naming what is allowed instead.

    Two rows share `on_bench -> on_shelf`: `outcome` picks one, repaired when left empty.
    """
    rows = [move for move in moves_from(source) if move.target is target]
    wanted = outcome or (Outcome.REPAIRED if len(rows) > 1 else "")
    for move in rows:
        if not wanted or move.outcome == wanted:
            return move
    raise NotAllowed(
        f"A ticket cannot go from {source} to {target}" + (f" as {outcome}" if outcome else ""),
        _allowed_sentence(source),
        field="to",
    )


def path(source: Phase, target: Phase, *, outcome: str = "") -> tuple[Move, ...]:
    """The fewest moves from source to target, for systems that tell only some of the phases.

    Never through a shelf or a handover on the way, so that nothing is announced that did not happen.
    Raises NotAllowed when no such way exists.
    """
    ways: list[tuple[Move, ...]] = [(move,) for move in moves_from(source)]
    for way in ways:
        last = way[-1]
        if last.target is target and (not outcome or last.outcome == outcome):
            return way
        if last.target in _STOPS or last.event in _SIDEWAYS or len(way) > len(Phase):
            continue
        ways.extend((*way, move) for move in moves_from(last.target) if move.event not in _SIDEWAYS)
    raise NotAllowed(f"A ticket cannot go from {source} to {target}", _allowed_sentence(source), field="to")


def _allowed_sentence(source: Phase) -> str:
    targets = sorted({move.target.value for move in moves_from(source)})
    return f"From {source} it can go to: {', '.join(targets)}." if targets else f"{source} is the end."


def check_reason(move: Move, reason: str) -> None:
    """Raises Invalid unless `reason` is one of the codes that `move` accepts."""
    if move.reasons and reason not in move.reasons:
        raise Invalid(
            f"{move.event} needs a reason" if not reason else f"{reason!r} is no reason for {move.event}",
            f"Choose one of: {', '.join(move.reasons)}.",
            field="reason",
        )


def check_version(seen: int | None, actual: int) -> None:
    """Raises Changed when the page, command or script saw an older state of the ticket."""
    if seen is not None and seen != actual:
        raise Changed("Somebody changed this ticket meanwhile", "Look at it again, then decide.")


def parse_phase(text: str) -> Phase:
    """The phase named by its code word; raises Invalid listing all of them."""
    try:
        return Phase(text.strip().lower().replace(" ", "_"))
    except ValueError:
        known = ", ".join(phase.value for phase in Phase)
        raise Invalid(f"{text[:40]!r} is no phase", f"Use one of: {known}.", field="to") from None


def waiting_on(phase: Phase, *, open_questions: int, missing_parts: int) -> WaitsOn:
    """Who has to act next: the customer, then a part, then the bench, else nobody."""
    if phase not in OPEN_PHASES or phase is Phase.ON_SHELF:
        return WaitsOn.NOBODY
    if open_questions:
        return WaitsOn.CUSTOMER
    if missing_parts:
        return WaitsOn.PART
    return WaitsOn.BENCH


def check_may_start(waits: WaitsOn, *, anyway: bool, note: str) -> None:
    """The bench refuses work that waits on somebody, unless started anyway with a written reason."""
    if waits is WaitsOn.BENCH or (anyway and note.strip()):
        return
    if anyway:
        raise Invalid("Starting anyway needs a written reason", "Say why in a few words.", field="note")
    missing = "the customer's answer" if waits is WaitsOn.CUSTOMER else "a part"
    raise NotAllowed(
        f"This ticket still waits on {missing}",
        "Wait for it, or start anyway and write down why.",
        field="to",
    )
