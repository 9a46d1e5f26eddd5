"""Who is told what: one table from event kind to notices, and the kinds that stay silent with the reason."""

from __future__ import annotations

from notify.core.notices import NOTICES

RULES: dict[str, tuple[str, ...]] = {
    "visit_opened": ("checked_in",),
    "question_asked": ("question",),
    "question_answered": ("answer_shop",),
    "answer_taken_back": ("answer_shop",),
    "question_expired": ("answer_shop",),
    "part_ordered": ("part_ordered",),
    "parts_complete": ("part_arrived", "part_arrived_shop"),
    "part_late": ("part_late_shop",),
    "data_hold_to_review": ("hold_review_shop",),
    "promise_changed": ("promise_changed",),
    "promise_threatened": ("promise_threatened_shop",),
    "shelved": ("ready",),
    "shelved_unrepaired": ("ready",),
    "called_back": ("called_back",),
    "told_too_soon": ("called_back",),
    "handover_done": ("handed_back",),
    "pickup_booked": ("pickup_confirmed", "pickup_booked_shop"),
    "pickup_moved": ("pickup_moved", "pickup_booked_shop"),
    "pickup_cancelled": ("pickup_cancelled", "pickup_given_up_shop"),
    "invite_asked_again": ("pickup_confirmed",),
    "proposal_refused": ("proposal_declined",),
    "pickup_came_near": ("pickup_reminder",),
    "pickup_missed": ("pickup_missed_note",),
    "collection_overdue": ("collection_reminder",),
    "time_to_ask": ("all_well",),
    "time_to_forget": ("forget_soon",),
    "message_given_up": ("call_needed",),
    "reply_received": ("reply_shop",),
    "stop_heard": ("stop_confirmed",),
    "start_heard": ("start_confirmed",),
    "help_heard": ("help_answer",),
    "code_asked": ("contact_code",),
    "contact_changed": ("contact_changed_old",),
    "claim_link_replaced": ("link_replaced",),
    "request_taken": ("request_news",),
    "request_extended": ("request_news",),
    "request_ended": ("request_news",),
    "lifting_told": ("request_news",),
    "request_pressing": ("request_due_shop",),
}

SILENT: dict[str, str] = {
    "checked_in": "the visit's opening tells once for all its devices",
    "inspection_began": "the claim page shows it; nobody needs to act",
    "work_agreed": "the claim page shows it; nobody needs to act",
    "bench_began": "the claim page shows it; half an hour later the device is ready",
    "put_back": "the question or the late part that follows says why",
    "repair_done": "the proof decides; ready follows",
    "proof_failed": "the promise says more, if it is threatened",
    "handed_back": "the handover tells once for all devices given back together",
    "handover_undone": "the person stands at the counter",
    "handover_refused": "the person stands at the counter; staff see it on the day sheet",
    "pass_asked": "the code itself tells",
    "pass_given": "whoever gave it sees it on the claim page, or stands at the counter",
    "pass_revoked": "whoever took it back knows it; the claim page shows it",
    "pass_used": "the handover beside it tells",
    "pass_expired": "the claim page shows it",
    "left_behind": "a person decides what is written, by the local steps",
    "corrected": "notices not yet sent are withdrawn instead",
    "question_withdrawn": "the claim page shows it; the unsent question is withdrawn",
    "part_needed": "the order says more",
    "part_arrived": "the last missing part tells for all of them",
    "part_due_changed": "the promise says more, if it is threatened",
    "part_dead": "the promise says more, if it is threatened",
    "part_arrival_undone": "what was not sent yet is withdrawn; the promise says more, if it is threatened",
    "part_reassigned": "of interest to the shop only; the promise says more, if it is threatened",
    "part_order_ended": "the promise says more, if it is threatened",
    "part_came_anyway": "nobody needs it any more",
    "part_line_noted": "of interest to the shop only",
    "part_wrong": "the question that follows says more",
    "part_taken_instead": "whoever said yes knows it; the last part tells for all of them",
    "part_sent_back": "of interest to the shop only",
    "part_not_needed": "nobody needs to act",
    "calendar_answered": "a yes needs nothing, a no frees the place and that is told",
    "calendar_settled": "what was decided tells, if anything is to be told",
    "promise_made": "said at the counter and printed on the claim ticket",
    "uncollected_step": "a person did it, or gives the notice themselves",
    "consent_given": "confirmed where it was given",
    "consent_withdrawn": "confirmed where it was withdrawn",
    "code_proved": "what it was for tells",
    "hold_lifted": "of interest to the shop only",
    "lifted": "they were told before",
    "data_hold_set": "the claim page says that data are kept longer, and in kind words why",
    "data_hold_reviewed": "of interest to the shop only",
    "data_hold_ended": "the claim page says when data go",
    "money_recorded": "said at the counter",
    "place_changed": "of interest to the shop only",
    "safety_flag_changed": "said at the counter, shown on the claim page",
    "call_logged": "the call was the message",
    "message_resent": "the message itself tells",
    "person_forgotten": "there is nobody left to tell",
}


def notices_for(kind: str) -> tuple[str, ...]:
    """The notices that an event of `kind` causes; empty for a silent one. Raises KeyError when unknown."""
    if kind in RULES:
        return RULES[kind]
    _ = SILENT[kind]
    return ()


def rings(kind: str) -> bool:
    """Whether an event of `kind` may ring the shop's own bell."""
    return any(NOTICES[name].audience == "shop" for name in notices_for(kind))
