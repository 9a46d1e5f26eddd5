"""Events: facts about a ticket or visit in the past tense, made of identifiers and codes only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

Codes = Mapping[str, str | int]

# Every kind that is not a move (those stand in core/tickets.MOVES), with its one-line meaning.
OTHER_EVENTS: dict[str, str] = {
    "visit_opened": "somebody handed in one or more devices",
    "checked_in": "a device was taken in and got its claim ticket",
    "corrected": "a move was undone; codes say which event",
    "told_too_soon": "somebody was told to collect a device that went back to the bench as a mistake",
    "question_asked": "the customer was asked something only they can answer",
    "question_answered": "the customer, or staff for them, answered",
    "answer_taken_back": "a yes was taken back before the part was ordered",
    "question_withdrawn": "the shop no longer needs the answer",
    "question_expired": "nobody answered in time",
    "part_needed": "a part is missing",
    "part_ordered": "a part was ordered from a supplier",
    "part_due_changed": "a supplier's delivery date moved",
    "part_arrived": "a part came in",
    "parts_complete": "the last missing part came in: the ticket is free for the bench",
    "part_arrival_undone": "a part was booked in by mistake and is not here; codes say which event",
    "part_reassigned": "a part that would fit several tickets went to the one that needs it most, or that staff chose",
    "part_came_anyway": "a part came in that nobody needs any more",
    "part_line_noted": "an article, order number, packing slip or cost of a part was noted",
    "part_late": "a parcel has not come by its usual hour; codes say whose, and how many parts are in it",
    "part_order_ended": "an order came to nothing; the part has to be ordered again",
    "part_dead": "a part was dead on arrival",
    "part_wrong": "another part came than was ordered",
    "part_taken_instead": "the other part that came is used after all",
    "part_sent_back": "a part went back to its supplier",
    "part_not_needed": "a part is no longer needed",
    "promise_made": "a first ready time was told",
    "promise_changed": "another ready time was told",
    "promise_threatened": "the time that was told will hardly be kept; codes say how likely it is, and why",
    "pickup_booked": "a pickup slot was booked for a visit",
    "pickup_moved": "a booking went to another slot",
    "pickup_cancelled": "a booking was given up",
    "pickup_missed": "nobody came to a booked slot",
    "invite_asked_again": "a calendar asked for its invite once more, and gets it",
    "calendar_answered": "a customer's calendar said yes, perhaps or no to a pickup",
    "calendar_settled": "staff decided about what a calendar answered",
    "proposal_refused": "the time that a calendar asked for does not suit; the pickup stays",
    "pickup_came_near": "a booked slot begins in a few hours",
    "collection_overdue": "a device has stood on the shelf for one of the shop's reminder days",
    "uncollected_step": "a person noted a step about a device that nobody collected; codes say which and when",
    "time_to_ask": "a device went home some days ago, and somebody agreed to be asked whether all is well",
    "time_to_forget": "somebody's time is over in some days, and they are told it this once",
    "handover_done": "one or more devices of a visit were given back together",
    "handover_refused": "a wrong secret was shown at the desk; codes say which kind",
    "pass_asked": "the customer named somebody to collect for them, and a code went to the stored contact",
    "pass_given": "a pass was opened: by the customer with that code, or by staff for them",
    "pass_revoked": "a pass was taken back, or there was nothing left to collect with it",
    "pass_used": "somebody collected with a pass",
    "pass_expired": "a pass ran out",
    "consent_given": "a person allowed a use of a channel",
    "consent_withdrawn": "a person stopped a use of a channel",
    "contact_changed": "an address or number was corrected",
    "code_asked": "a code was sent to a stored contact, to prove that whoever asks reads it",
    "code_proved": "the code was typed",
    "hold_lifted": "staff made sure who it is after an address or number had been changed",
    "data_hold_set": "a reason was noted to keep somebody's data beyond their time; codes say which",
    "data_hold_reviewed": "somebody looked again, and the reason still holds; codes say until when",
    "data_hold_ended": "the reason to keep somebody's data beyond their time is gone",
    "data_hold_to_review": "the day has come on which somebody looks again at a reason to keep data",
    "claim_link_replaced": "the claim link was revoked and a new one issued",
    "money_recorded": "a price, deposit or payment was recorded",
    "place_changed": "the device went to another shelf place",
    "safety_flag_changed": "a safety flag was set or cleared",
    "message_given_up": "a message could not be delivered by any channel",
    "reply_received": "somebody wrote back what a person should read",
    "stop_heard": "somebody wrote that messages are to stop, and they did",
    "start_heard": "somebody wrote that messages may come again, and they may",
    "help_heard": "somebody wrote back for help",
    "message_resent": "staff had a message sent once more",
    "call_logged": "staff called and noted how it went",
    "request_taken": "somebody asked something by law about their own data",
    "request_extended": "answering what somebody asked about their own data takes longer",
    "lifting_told": "somebody was told that their data will not be set aside any longer",
    "lifted": "somebody's data are not set aside any longer",
    "request_ended": "what somebody asked about their own data was done, refused or taken back",
    "request_pressing": "the last day for what somebody asked about their own data is near, or over; codes say which",
    "person_forgotten": "the person's data were erased",
}


@dataclass(frozen=True, slots=True)
class Event:
    """One fact. `at` is when it happened, `ticket_id` is empty for events of a whole visit."""

    id: str
    kind: str
    at: datetime
    visit_id: str
    ticket_id: str = ""
    actor_kind: str = "system"
    actor_id: str = ""
    codes: Codes = field(default_factory=dict)
