"""What has happened so far, as sentences with times: one table from event to sentence, and what is left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.events import Event
from notify.core.notices import CONSENT_PURPOSES
from notify.core.tickets import MOVE_EVENTS
from notify.render.moments import Moments
from notify.render.words import Language

# Event kind -> words of [story]. Kinds that need more than a fixed sentence stand in _SPECIAL below.
TOLD: dict[str, str] = {
    "checked_in": "taken_in",
    "inspection_began": "inspecting",
    "work_agreed": "in_line",
    "bench_began": "on_bench",
    "put_back": "back_in_line",
    "repair_done": "proving",
    "proof_failed": "proof_failed",
    "shelved": "on_shelf_repaired",
    "shelved_unrepaired": "on_shelf_unrepaired",
    "called_back": "called_back",
    "handed_back": "handed_back",
    "handover_undone": "handover_undone",
    "left_behind": "left_behind",
    "corrected": "corrected",
    "question_asked": "question_asked",
    "answer_taken_back": "question_taken_back",
    "question_withdrawn": "question_withdrawn",
    "question_expired": "question_expired",
    "part_needed": "part_needed",
    "part_ordered": "part_ordered",
    "part_due_changed": "part_due_changed",
    "part_arrived": "part_arrived",
    "part_dead": "part_dead",
    "part_not_needed": "part_not_needed",
    "part_wrong": "part_wrong",
    "part_taken_instead": "part_taken_instead",
    "part_arrival_undone": "part_arrival_undone",
    "pickup_missed": "missed",
    "contact_changed": "contact_changed",
    "consent_withdrawn": "stopped",
    "consent_given": "allowed",
    "claim_link_replaced": "new_ticket",
    "pass_revoked": "pass_revoked",
    "pass_used": "pass_used",
    "pass_expired": "pass_expired",
}
# What a customer is not told here, and why.
UNTOLD: dict[str, str] = {
    "visit_opened": "each device's own check-in says it",
    "parts_complete": "the arrival of the last part says it",
    "part_reassigned": "which of several equal pieces it gets is the shop's business",
    "part_came_anyway": "nobody needs it any more",
    "part_line_noted": "of interest to the shop only",
    "part_late": "a new time is told if the promise does not hold",
    "part_order_ended": "the next order says it",
    "part_sent_back": "of interest to the shop only",
    "handover_done": "each device's own handing back says it",
    "handover_refused": "it may have been somebody else at the counter",
    "pass_asked": "who may collect says it",
    "told_too_soon": "the correction beside it says it",
    "invite_asked_again": "the invite itself says it",
    "calendar_answered": "they said it themselves; a no is told by the time that is free again",
    "calendar_settled": "what was decided says it",
    "proposal_refused": "the message says it; the pickup is as it was",
    "promise_threatened": "it may yet be kept, and a new time is told if not",
    "pickup_came_near": "a reminder is no step of the repair",
    "collection_overdue": "a reminder is no step of the repair",
    "uncollected_step": "whoever must know is told by a person",
    "time_to_ask": "the message itself asks",
    "time_to_forget": "the message itself says it",
    "money_recorded": "amounts are not for whoever finds the claim ticket",
    "place_changed": "of interest to the shop only",
    "safety_flag_changed": "the cautions of the page say it",
    "message_given_up": "how we may reach you says it",
    "message_resent": "the message itself says it",
    "reply_received": "whoever wrote it knows it, and a finder of the claim ticket need not",
    "stop_heard": "the use that was stopped stands beside it",
    "start_heard": "the use that was allowed stands beside it",
    "code_asked": "the message itself says it",
    "code_proved": "whoever typed it knows it",
    "hold_lifted": "it was said at the counter",
    "data_hold_set": "what we know about them says it, in kind words",
    "data_hold_reviewed": "of interest to the shop only",
    "data_hold_ended": "what we know about them says it",
    "data_hold_to_review": "of interest to the shop only",
    "help_heard": "the answer went to whoever asked",
    "request_taken": "what a finder of the claim ticket need not know; the page behind the code says it",
    "request_extended": "as above",
    "request_ended": "as above",
    "lifting_told": "as above",
    "lifted": "as above",
    "request_pressing": "of interest to the shop only",
    "person_forgotten": "nobody is left to read it",
}
_BY_WHOM = {
    "pickup_booked": "booked", "pickup_moved": "moved", "pickup_cancelled": "cancelled", "pass_given": "pass_given",
}  # fmt: skip
_ASKING = {"consent_withdrawn": "stopped_asking", "consent_given": "allowed_asking"}
_BY_ITSELF = frozenset({"pass_revoked", "pass_expired"})  # with a why: a pass ended because it was of no use any more
_CALLS = {"told": "called", "nobody_there": "not_reached"}


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the story."""

    when: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Known:
    """What the story needs besides its events. `answers`: answer code -> its words. `undo_within`: a move taken
    back so soon was never told to anybody and is left out together with its correction."""

    answers: Mapping[str, str]
    promise_at: datetime | None
    undo_within: timedelta


def tell(story: Sequence[Event], known: Known, words: Language, moments: Moments) -> tuple[Step, ...]:
    """The story of a ticket, newest first; `story` in order of time."""
    left_out = _slips(story, known.undo_within)
    promises = _promises(story, known.promise_at)
    steps = []
    for event in story:
        if event.id in left_out:
            continue
        sentence = _sentence(event, promises.get(event.id), known, words, moments)
        if sentence:
            steps.append(Step(moments.stamp(event.at), sentence))
    return tuple(reversed(steps))


def _sentence(event: Event, promised: datetime | None, known: Known, words: Language, moments: Moments) -> str:
    if event.kind in _ASKING and "purpose" in event.codes:
        return words[f"story.{_ASKING[event.kind]}"] if event.codes["purpose"] in CONSENT_PURPOSES else ""
    if event.kind in _BY_ITSELF and "why" in event.codes:
        return ""
    if event.kind in TOLD:
        return words[f"story.{TOLD[event.kind]}"]
    if event.kind in _BY_WHOM:
        by_calendar = event.kind == "pickup_cancelled" and event.codes.get("how") == "calendar"
        by_whom = "_calendar" if by_calendar else "" if event.actor_kind == "customer" else "_staff"
        return words[f"story.{_BY_WHOM[event.kind]}{by_whom}"]
    if event.kind in ("promise_made", "promise_changed"):
        key = "promise" if event.kind == "promise_made" else "promise_changed"
        return words(f"story.{key}", when=moments.by(promised)) if promised else ""
    if event.kind == "question_answered":
        said = known.answers.get(str(event.codes.get("answer", "")), "")
        by_customer = event.actor_kind == "customer"
        return words("story.question_answered" + ("" if by_customer else "_staff"), answer=said) if said else ""
    if event.kind == "call_logged":
        key = _CALLS.get(str(event.codes.get("result", "")), "")
        return words[f"story.{key}"] if key else ""
    return ""


def _slips(story: Sequence[Event], within: timedelta) -> set[str]:
    """Moves taken back at once, with the corrections that took them back."""
    moved = {event.id: event for event in story if event.kind in MOVE_EVENTS}
    out: set[str] = set()
    for event in story:
        undone = moved.get(str(event.codes.get("undoes", ""))) if event.kind == "corrected" else None
        if undone is not None and event.at - undone.at <= within:
            out |= {event.id, undone.id}
    return out


def _promises(story: Sequence[Event], stands: datetime | None) -> dict[str, datetime]:
    """Event -> the time it promised. One made at check-in carries none: it is what the next change replaced."""
    out: dict[str, datetime] = {}
    following: datetime | None = stands
    for event in reversed(story):
        if event.kind not in ("promise_made", "promise_changed"):
            continue
        told = str(event.codes.get("new", ""))
        moment = datetime.fromisoformat(told) if told else following
        if moment is not None:
            out[event.id] = moment
        old = str(event.codes.get("old", ""))
        following = datetime.fromisoformat(old) if old else None
    return out
