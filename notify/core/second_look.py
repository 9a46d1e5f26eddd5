"""The second look: is a message still true and wanted, just before it leaves?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.messages import MessageState
from notify.core.notices import ANSWER, NOTICES, TO_NAMED, WHEN_SET_ASIDE
from notify.core.overtakes import Said, is_said
from notify.core.planner import Facts, Reach, Recipient, best_reach, unusable, why_no_reach
from notify.core.tickets import OPEN_PHASES, Phase

# Reasons for which a message waits without holding up what comes after it. The first three by core/quiet.Decent.how.
QUIET_REASONS = {"shop": "quiet_hours", "everywhere": "quiet_elsewhere", "mostly": "quiet_mostly"}
WAITS_FOR_NEWER = "waits_for_newer"
STANDS_ASIDE = frozenset({*QUIET_REASONS.values(), WAITS_FOR_NEWER})
# How long after the other message's time one looks again whether it was told: a call may take staff a day.
LOOK_AFTER = {MessageState.WAITING: timedelta(minutes=1), MessageState.TO_CALL: timedelta(minutes=30)}


@dataclass(frozen=True, slots=True)
class Now:
    """Today's facts about what a message speaks of.

    `phases` are those of the tickets it is about (the whole visit for visit notices). The question,
    booking and part fields are empty text or 0 when the message is not about one. `tried` are the channels
    on which other messages already try to say the same to the same person. `overtaken` is the message that
    makes this one needless. `has_booking`: a pickup of the visit stands.
    `came_back`: a device of the visit is with us, also under another ticket.
    `named` is the one contact that a notice of TO_NAMED may go to, None once it is gone; `code_open` whether the code
    that it tells still opens something. `quiet_until` and `quiet_how` are core/quiet's answer, None for who needs no
    quiet.
    """

    at: datetime
    phases: tuple[Phase, ...]
    question_state: str = ""
    part_state: str = ""
    booking_state: str = ""
    booking_revision: int = 0
    told_revision: int = 0
    has_booking: bool = False
    overtaken: Said | None = None
    never_heard: bool = False
    told_already: bool = False
    quiet_until: datetime | None = None
    quiet_how: str = "shop"
    promise_current: bool = True
    tried: frozenset[str] = frozenset()
    came_back: bool = False
    named: Reach | None = None
    code_open: bool = True


@dataclass(frozen=True, slots=True)
class Send:
    """Go: by this channel to this contact."""

    channel: str
    contact_id: str


@dataclass(frozen=True, slots=True)
class Wait:
    """Not now; look again at `until`."""

    until: datetime
    reason: str


@dataclass(frozen=True, slots=True)
class Drop:
    """Not any more, with the reason code."""

    reason: str


Verdict = Send | Wait | Drop


def untrue(notice: str, now: Now) -> str:
    """The reason code why what `notice` says is no longer so; empty when it still holds."""
    phases = now.phases
    match notice:
        case "ready" | "collection_reminder" if Phase.ON_SHELF not in phases:
            return "no_longer_on_shelf"
        case "pickup_missed_note":
            return _missed_untrue(now)
        case "checked_in" | "question" if not _open(phases):
            return "moved_on"
        case "question" if now.question_state != "open":
            return "question_closed"
        case "ready" if now.told_already:
            return "told_already"
        case "called_back" if Phase.ON_SHELF in phases or not _open(phases):
            return "moved_on"
        case "called_back" if now.never_heard:
            return "never_heard"
        case "part_ordered" | "part_arrived" | "promise_changed" if not _in_work(phases):
            return "moved_on"
        case "part_ordered" | "part_late_shop" if now.part_state not in ("", "ordered"):
            return "part_moved_on"
        case "part_arrived" | "part_arrived_shop" if now.part_state not in ("", "arrived"):
            return "part_moved_on"
        case "promise_threatened_shop" | "part_late_shop" if not _in_work(phases):
            return "moved_on"
        case "promise_changed" | "promise_threatened_shop" if not now.promise_current:
            return "newer_promise"
        case "handed_back" | "all_well" if Phase.HANDED_BACK not in phases:
            return "handover_undone"
        case "all_well" if now.came_back or _open(phases):
            return "back_with_us"
        case "forget_soon" if _open(phases):
            return "back_with_us"
        case "pickup_confirmed" | "pickup_moved" | "pickup_reminder" | "pickup_booked_shop" | "proposal_declined":
            return _booking_untrue(now)
        case "contact_code" if not now.code_open:
            return "code_over"
        case "pickup_cancelled" if now.booking_state == "booked":
            return "booked_again"
    return ""


def _missed_untrue(now: Now) -> str:
    """Somebody who came after all, or has a new time, is not told that they were missed."""
    if Phase.ON_SHELF not in now.phases:
        return "no_longer_on_shelf"
    if Phase.HANDED_BACK in now.phases:
        return "somebody_came"
    return "booked_again" if now.has_booking else ""


def _booking_untrue(now: Now) -> str:
    if now.booking_state != "booked":
        return "booking_closed"
    if now.booking_revision != now.told_revision:
        return "booking_changed"
    return ""


def _open(phases: tuple[Phase, ...]) -> bool:
    return any(phase in OPEN_PHASES for phase in phases)


def _in_work(phases: tuple[Phase, ...]) -> bool:
    return any(phase in OPEN_PHASES and phase is not Phase.ON_SHELF for phase in phases)


def look(
    notice: str, *, channel: str, expires_at: datetime, person: Recipient | None, facts: Facts, now: Now
) -> Verdict:
    """Send, wait or drop. `person` is None for the shop itself; channel `call` never waits for quiet hours."""
    if now.at >= expires_at:
        return Drop("expired")
    if reason := untrue(notice, now):
        return Drop(reason)
    if person is None:
        return _to_shop(channel, facts, now)
    if person.forgotten:
        return Drop("forgotten")
    if person.set_aside and notice not in WHEN_SET_ASIDE:
        return Drop("set_aside")
    if now.overtaken is not None:
        return _gives_way(notice, now.overtaken, now)
    if NOTICES[notice].purpose in TO_NAMED:
        return _to_named(notice, facts, now)
    if channel == "call":
        return Send("call", "")
    return _to_person(notice, channel, expires_at, person, facts, now)


def _gives_way(notice: str, other: Said, now: Now) -> Verdict:
    """Dropped once the other message is told; until then it waits, for that one may yet be withdrawn."""
    if is_said(other):
        return Drop("joined_to_newer" if other.notice == notice else "overtaken")
    return Wait(max(now.at, other.due_at) + LOOK_AFTER[MessageState(other.state)], WAITS_FOR_NEWER)


def _to_shop(channel: str, facts: Facts, now: Now) -> Verdict:
    """By the way it was planned for while that still rings; else by another one that nobody tries already."""
    same = [ring for ring in facts.rings if ring.channel == channel]
    others = [ring for ring in facts.rings if ring.channel not in now.tried]
    for ring in (*same, *others):
        return Send(ring.channel, ring.staff_id)
    return Drop("told_another_way" if now.tried else "no_shop_channel")


def _to_named(notice: str, facts: Facts, now: Now) -> Verdict:
    """To the very contact that was named, or to nobody: no other one may learn of it."""
    if now.named is None:
        return Drop("contact_replaced")
    why = unusable(NOTICES[notice], now.named, facts)
    return Drop(why) if why else Send(now.named.channel, now.named.contact_id)


def _to_person(notice: str, channel: str, expires_at: datetime, person: Recipient, facts: Facts, now: Now) -> Verdict:
    kind = NOTICES[notice]
    reach = best_reach(kind, person, facts, without=frozenset({"email", "sms"} - {channel}) | now.tried)
    if reach is None and kind.purpose != ANSWER:  # an answer goes back by the channel it answers, or not at all
        reach = best_reach(kind, person, facts, without=now.tried)
    if reach is None and "call" in now.tried:
        return Drop("told_another_way")
    if reach is None:
        return Send("call", "") if kind.call else Drop(why_no_reach(kind, person, facts))
    if now.quiet_until is None or now.quiet_until <= now.at:
        return Send(reach.channel, reach.contact_id)
    if now.quiet_until < expires_at:
        return Wait(now.quiet_until, QUIET_REASONS[now.quiet_how])
    # No decent hour is left before it is of no use: staff may phone when their shop opens.
    return Send("call", "") if kind.call and "call" not in now.tried else Drop("no_decent_hour")
