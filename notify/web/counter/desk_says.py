"""The sentences of the handover desk."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from notify.core.refusals import asks_for_check
from notify.core.tickets import Phase
from notify.flows.view_handover import Collector, HandoverView
from notify.flows.view_visit import DeviceView
from notify.web.counter import lines
from notify.web.counter.desk_words import at, capital, count
from notify.web.say import Say

_ON_TIME = timedelta(minutes=5)  # our choice: nobody calls that early or late


_LOOK = "look at something with the customer's name on it, and write down what."


def names(devices: Iterable[DeviceView]) -> str:
    """ "Harbour 3 radio, Otter camera"."""
    return ", ".join(one.device or one.number for one in devices)


def proof(seen: HandoverView, scanned: dict[str, str], speak: Say) -> str:
    """What proves the claim, or that nothing does yet."""
    if not scanned:
        return (
            "No claim code was scanned. A claim number alone does not release a device: say how you know who this is."
        )
    at = speak.time(datetime.fromisoformat(scanned["at"]))
    if scanned.get("how") == "contact_code":
        return f"The code sent to the stored contact was right, at {at}."
    if scanned.get("pass"):
        return f"The pass was scanned at {at}. It counts once."
    return f"The claim code was scanned at {at}."


def warnings(seen: HandoverView, speak: Say) -> list[dict[str, Any]]:
    """What is not as it should be, the gravest first; each {title, lines}."""
    found = []
    if seen.hold is not None:
        until = speak.when(seen.hold.until)
        found.append(_warning(
            f"An address or number of this customer was changed {at(speak, seen.hold.since)}",
            f"Until {until} a right ticket is not enough: {_LOOK}",
        ))  # fmt: skip
    codes = capital(count(seen.wrong, "wrong code was", "wrong codes were"))
    if asks_for_check(seen.wrong):
        found.append(_warning(f"{codes} shown within a day", f"A right ticket is not enough now: {_LOOK}"))
    elif seen.wrong:
        found.append(_warning(f"{codes} shown within a day", "It may be an old ticket. After three, check who it is."))
    return found


def _warning(title: str, *said: str) -> dict[str, Any]:
    return {"title": title, "lines": list(said)}


def taker(seen: HandoverView, *, scanned: bool) -> str:
    """Who stands at the counter, as far as what was shown tells; "" where staff have to choose."""
    if seen.by_pass:
        bringer = seen.collectors[0].name or "who brought it"
        return f"{seen.by_pass.name}, sent by {bringer}. Look at something with that name on it."
    if len(seen.collectors) > 1:
        return ""
    return collector(seen.collectors[0]) if scanned else f"May collect: {collector(seen.collectors[0])}."


def collector(one: Collector) -> str:
    """One of those who may collect."""
    if one.role == "bringer":
        return f"{one.name}, who brought it" if one.name else "Who brought it"
    return f"{one.name}, named as collector" if one.role == "collector" else f"{one.name}, who was given a pass"


def pass_line(one: Collector, speak: Say) -> str:
    """A pass that could be used."""
    return f"{one.name} may collect once, until {speak.when(one.until)}." if one.until else one.name


def booking(seen: HandoverView, speak: Say) -> str:
    """The pickup time, and whether they are early or late for it; "" without one."""
    if seen.booked is None:
        return ""
    start, end = seen.booked
    said = f"Pickup time: {speak.when(start)}"
    if seen.now < start - _ON_TIME:
        return f"{said}. They are {span(start - seen.now)} early."
    if seen.now > end + _ON_TIME:
        return f"{said}. They are {span(seen.now - end)} late."
    return f"{said}. They are on time."


def span(length: timedelta) -> str:
    """Such as "12 minutes", from an hour and a half on "two hours"."""
    minutes = int(length.total_seconds() // 60)
    if minutes < 90:
        return count(minutes, "minute", "minutes")
    hours = round(minutes / 60)
    return count(hours, "hour", "hours") if hours < 48 else count(hours // 24, "day", "days")


def given(device: DeviceView, speak: Say) -> dict[str, Any]:
    """One device of the visit, ready or not."""
    return {
        "id": device.id, "number": device.number, "device": device.device, "mark": device.phase.value,
        "sentence": lines.stands(device), "place": device.shelf, "accessories": list(device.accessories),
        "money": lines.money(device, speak), "owes": bool(device.left), "flag": lines.flag(device.safety),
        "cautions": lines.cautions(device.safety), "ready": device.phase.value == "on_shelf",
    }  # fmt: skip


def buttons(seen: HandoverView, speak: Say) -> tuple[list[dict[str, str]], list[dict[str, str]]]:
    """The press that hands everything ready back, paid now or as it is; then the same for single devices.

    A pass counts once and so takes everything that is ready.
    """
    ready = seen.ready
    if not ready:
        return [], []
    one = ready[0].device or ready[0].number
    what = one if len(ready) == 1 else f"all {len(ready)}"
    single = [] if len(ready) == 1 or seen.by_pass else [pair for d in ready for pair in _pair(
        d.id, f"only {d.number}, {d.device}", d.left or 0, speak)]  # fmt: skip
    value = "all" if len(ready) > 1 else ready[0].id
    return _pair(value, what, sum(d.left or 0 for d in ready), speak), single


def _pair(value: str, what: str, owed: int, speak: Say) -> list[dict[str, str]]:
    if not owed:
        return [{"value": value, "label": f"Hand back {what}"}]
    return [
        {"value": f"{value}+paid", "label": f"{speak.money(owed)} paid now, hand back {what}"},
        {"value": value, "label": f"Hand back {what}, not paid"},
    ]


def refusal(seen: HandoverView) -> dict[str, Any] | None:
    """Why nothing can go, and what to do; None when something can."""
    if seen.ready:
        return None
    sentences = [f"{one.device or one.number}: {lines.stands(one)}" for one in seen.devices]
    links = [{"label": f"{d.number} {d.device}".strip(), "href": f"/tickets/{d.id}"} for d in seen.devices]
    if all(one.phase is Phase.HANDED_BACK for one in seen.devices):
        return {
            "title": "Already handed back", "sentence": " ".join(sentences), "links": links,
            "steps": ["The page of the ticket says when it was handed back and by whom.",
                      "If somebody else stands here with this claim, find out first who took the device."],
        }  # fmt: skip
    return {
        "title": "Not yet handed back",
        "sentence": "Nothing of this visit is on the shelf. " + " ".join(sentences),
        "steps": ["Finish the repair, or put the device on the shelf unrepaired, on the page of its ticket.",
                  "Then scan the claim code again."],
        "links": links,
    }  # fmt: skip
