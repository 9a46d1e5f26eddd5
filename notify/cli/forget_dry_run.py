"""What `shelfbell forget --dry-run` prints: for each person, by claim numbers, what would go, what stays, why, when."""

from __future__ import annotations

from collections.abc import Iterator

from notify.cli.desk import Desk
from notify.core.retention import EXCEPTIONS, NOT_ADVICE
from notify.flows import view_keeping
from notify.flows.view_keeping import KINDS, PersonFate

_STAYS = {
    "job_record": "the story of the repair, without a person",
    "consent_record": "the proof of what they agreed to",
    "request_record": "what they asked about their data",
    "access_log": "who looked at their contacts",
    "erasure_record": "that somebody was forgotten",
}


def would_forget(desk: Desk, *, everyone: bool) -> None:
    """Prints it; nothing is changed and nobody named."""
    found = view_keeping.view_fates(desk.ctx, desk.actor, everyone=everyone)
    due, kept = (sum(1 for one in found if one.fate.state == state) for state in ("due", "kept"))
    goes = f"{due} {'person' if due == 1 else 'people'}" if due else "Nobody"
    stays = f"{kept} stay" if kept > 1 else f"{kept or 'nobody'} stays"
    said = f"{goes} would be forgotten, {stays} although their time is over."
    lines = [line for one in found for line in _lines(desk, one)]
    desk.show({"due": due, "kept": kept, "people": found}, said, *lines, NOT_ADVICE)


def would_forget_one(desk: Desk, person_id: str) -> tuple[PersonFate, list[str]]:
    """What it means to forget this person now: what speaks against it, what goes and what stays."""
    one = view_keeping.view_fate(desk.ctx, desk.actor, person_id)
    against = [EXCEPTIONS[code] for code in one.fate.reasons]
    if one.fate.state == "open":
        against.insert(0, "a device of theirs is still here, or a pass of theirs can be used")
    warned = [f"  mind: {' and '.join(against)}"] if against else []
    return one, [*warned, *_goes_and_stays(one)]


def _lines(desk: Desk, one: PersonFate) -> Iterator[str]:
    fate = one.fate
    name = " ".join(one.numbers) or "(no ticket)"
    why = " and ".join(EXCEPTIONS[code] for code in fate.reasons)
    again = f"; look again on {one.look_again_on}" if one.look_again_on else ""
    yield {
        "due": f"{name}: goes tonight, over since {fate.goes_on}",
        "kept": f"{name}: stays although over since {fate.goes_on}: {why}{again}",
        "running": f"{name}: goes on {fate.goes_on}" + (f", but for now it would stay: {why}{again}" if why else ""),
    }.get(fate.state, f"{name}: {fate.state}")
    if one.asked_from and fate.state != "due":
        when = f"the first night after {desk.when(one.asked_from)}"
        yield f"  asked to be forgotten: {f'once nothing keeps them, not before {when}' if why else f'goes in {when}'}"
    yield from _goes_and_stays(one)


def _goes_and_stays(one: PersonFate) -> Iterator[str]:
    goes = ", ".join(_counted(table, count) for table, count in one.goes.items())
    yield f"  goes: {goes or 'nothing is left to go'}"
    stays = (f"{_STAYS[stay.data_class]}{f' until {stay.until}' if stay.until else ''}" for stay in one.stays)
    yield f"  stays: {', '.join(stays)}"


def _counted(table: str, count: int) -> str:
    one, many = KINDS.get(table, (f"row of {table}", f"rows of {table}"))
    return f"{count} {one if count == 1 else many}"
