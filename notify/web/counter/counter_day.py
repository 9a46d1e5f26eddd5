"""What the page of one day at the counter says: slots by the clock, stretches without anybody folded to one line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from itertools import groupby

from notify.flows.view_pickups import Pickup, Pickups, SlotPlaces
from notify.flows.view_shelf import Shelved
from notify.web.counter import desk_words as d
from notify.web.counter.calendar_asks import question_line
from notify.web.counter.day_sheet import dial, pickup_line, shelf_line
from notify.web.counter.desk_says import span
from notify.web.say import Say


def rows(seen: Pickups, speak: Say) -> list[d.Line]:
    """The day in order of time: slots somebody chose, stretches nobody did, the hours between, and now."""
    found = sorted(_rows(seen, speak), key=lambda row: row[0])
    whole = [row for _, row in found]
    if seen.day != seen.today or not whole:
        return whole
    after = next((i for i, (at, _) in enumerate(found) if at > seen.now), len(whole))
    return [*whole[:after], _now(seen, speak), *whole[after:]]


def _rows(seen: Pickups, speak: Say) -> Iterator[tuple[datetime, d.Line]]:
    here = [*seen.pickups, *(one for one in seen.over if one.state == "kept")]
    left = {one.booking_id: one for one in here}
    for slot, stretch in groupby(seen.slots, key=lambda slot: _chosen(slot, here, seen)):
        of_it = list(stretch)
        if slot:
            for one in of_it:
                people = [p for p in here if one.start_at <= p.start_at < one.end_at]
                for known in people:
                    left.pop(known.booking_id, None)
                yield one.start_at, _slot(one, people, seen, speak)
        else:
            yield from _stretches(of_it, seen, speak)
    for _, several in groupby(sorted(left.values(), key=lambda p: p.start_at), key=lambda p: p.start_at):
        people = list(several)
        words = "not one of this day's times" if seen.is_open else "the counter is closed"
        yield people[0].start_at, _row("slot", people[0].start_at, None, words, speak, _people(people, seen, speak))


def _chosen(slot: SlotPlaces, here: list[Pickup], seen: Pickups) -> str:
    """Slots with somebody stand alone; the others go together while they are all past, or all to come."""
    if any(slot.start_at <= one.start_at < slot.end_at for one in here):
        return "chosen"
    return ""


def _stretches(slots: list[SlotPlaces], seen: Pickups, speak: Say) -> Iterator[tuple[datetime, d.Line]]:
    """Slots that follow each other without a gap, cut at now."""
    pieces: list[list[SlotPlaces]] = []
    for slot in slots:
        joins = (
            pieces and pieces[-1][-1].end_at == slot.start_at and _is_past(pieces[-1][-1], seen) == _is_past(slot, seen)
        )
        pieces[-1].append(slot) if joins else pieces.append([slot])
    for piece in pieces:
        first, last = piece[0], piece[-1]
        free = sum(slot.free for slot in piece)
        said = "nobody had a time" if _is_past(last, seen) else f"free, {d.count(free, 'place', 'places')}"
        if not _is_past(last, seen) and not free:
            said = "full: a pickup beside it takes the place"
        yield first.start_at, _row("fold", first.start_at, last.end_at, said, speak, [])


def _is_past(slot: SlotPlaces, seen: Pickups) -> bool:
    """Also the slot that runs: nobody can choose it any more."""
    return slot.start_at <= seen.now


def _slot(slot: SlotPlaces, people: list[Pickup], seen: Pickups, speak: Say) -> d.Line:
    return _row("slot", slot.start_at, None, places(slot, seen), speak, _people(people, seen, speak, slot.start_at))


def places(slot: SlotPlaces, seen: Pickups) -> str:
    """ "2 of 3 free", "full" or, once the slot has begun, ""."""
    if _is_past(slot, seen):
        return ""
    return f"{slot.free} of {slot.capacity} free" if slot.free else "full"


def _row(kind: str, start: datetime, end: datetime | None, said: str, speak: Say, people: list[d.Line]) -> d.Line:
    clock = f"{speak.time(start)} to {speak.time(end)}" if end else speak.time(start)
    return {"kind": kind, "clock": clock, "sentence": said, "people": people}


def _now(seen: Pickups, speak: Say) -> d.Line:
    """Where the day stands, in words."""
    late = sum(1 for one in seen.pickups if one.late is not None)
    coming = next((one for one in seen.pickups if one.start_at > seen.now), None)
    parts = [
        f"{d.capital(d.count(late, 'person is', 'people are'))} late." if late else "",
        f"The next is due at {speak.time(coming.start_at)}." if coming else "Nobody else is due today.",
    ]
    said = " ".join(part for part in parts if part)
    return {"kind": "now", "clock": f"Now, {speak.time(seen.now)}", "sentence": said, "people": []}


def _people(people: Iterable[Pickup], seen: Pickups, speak: Say, slot: datetime | None = None) -> list[d.Line]:
    found: list[d.Line] = []
    for one in people:
        found += (
            [kept(one, speak)] if one.state == "kept" else [*coming(one, seen, speak, slot), *questions(one, speak)]
        )
    return found


def coming(one: Pickup, seen: Pickups, speak: Say, slot: datetime | None) -> list[d.Line]:
    """Who is expected: name, devices, money, place, what their calendar said, and what to press."""
    line = pickup_line(one, speak)
    late = f", {span(timedelta(minutes=one.late))} late" if one.late is not None and seen.day == seen.today else ""
    line["sentence"] = f"{line['sentence']} {calendar(one)}".replace(" They were due and have not come.", "").rstrip()
    line["clock"] = "" if slot in (None, one.start_at) else line["clock"]
    line.update(head=f"{line['head']}{late}", mark="caution" if late else "slot", id=f"pickup-{one.booking_id}")
    line["links"], line["buttons"] = _links(one), [d.button(f"/bookings/{one.booking_id}/cancel", "Give up")]
    return [line]


def _links(one: Pickup) -> list[d.Line]:
    return [
        *([{"href": f"/visits/{one.visit_id}/handover", "label": "Hand back", "main": True}] if one.ready else []),
        *([{"href": dial(one.phone)[1], "label": "Call", "main": False}] if one.phone else []),
        {"href": f"/visits/{one.visit_id}/book", "label": "Move", "main": False},
    ]


def calendar(one: Pickup) -> str:
    """What their calendar said about the invite; nothing for whoever got none."""
    if not one.invited or one.partstat in ("declined", "delegated"):
        return d.word("calendar_said", one.partstat) if one.invited else ""
    said = d.word("calendar_said", one.partstat or "needs_action")
    return said if one.proved or one.partstat in ("", "needs_action") else f"{said} Nothing proves that it was theirs."


def questions(one: Pickup, speak: Say) -> list[d.Line]:
    """What calendars asked about this pickup that waits for somebody's decision, one tap each."""
    return [{**question_line(asked, speak, back="/pickups"), "number": "", "href": ""} for asked in one.questions]


def kept(one: Pickup, speak: Say) -> d.Line:
    """Who came."""
    names = d.joined(d.device(line) for line in one.taken) or "nothing that is still known"
    at = speak.time(one.ended_at) if one.ended_at else ""
    first = one.taken[0] if one.taken else None
    return d.sheet_line(
        d.person(one.person), f"Came, and collected {names} at {at}.", mark="handed_back", past=True,
        number=first.number if first else "", href=f"/tickets/{first.ticket_id}" if first else "",
    )  # fmt: skip


def gone(seen: Pickups, speak: Say) -> list[d.Line]:
    """Who did not come, and who gave their time up."""
    found = []
    for one in seen.over:
        if one.state in ("missed", "cancelled"):
            line = pickup_line(one, speak)
            names = d.joined(d.device(device) for device in (*one.ready, *one.waiting, *one.taken)) or "nothing here"
            said = "Did not come." if one.state == "missed" else "The time was given up."
            found.append({**line, "sentence": f"{said} {d.capital(names)}.", "past": True, "flag": "", "place": ""})
    return found


def walk_in(one: Shelved, speak: Say) -> d.Line:
    """What is ready without a time: whoever asks for it may come at once."""
    handover = {"href": f"/visits/{one.ticket.visit_id}/handover", "label": "Hand back", "main": False}
    return {**shelf_line(one, speak), "links": [handover]}
