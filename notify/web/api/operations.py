"""What the API can do, in one table: method, address, scope, what it takes and gives. Long: served and described so."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from notify.core.message_groups import GROUPS
from notify.core.notices import NOTICES
from notify.core.parts import PartState
from notify.core.questions import ANSWERS
from notify.core.tickets import Outcome, Phase, WaitsOn
from notify.flows.promises import WHY
from notify.flows.resend import REASONS
from notify.web.api.shapes import AMOUNT, BOOL, DAY, INSTANT, WALL, Shape, one_of, ref, text, thing

API = "/api/"
ROOT = f"{API}v1"
MOST = 100  # things of one page
_VARIABLE = re.compile(r"<([a-z_]+)>")


@dataclass(frozen=True, slots=True, eq=False)
class Operation:
    """One method at one address (as Flask writes it, below ROOT).

    `scope` is "" for any token, `public` needs none. `body` and `gives` are shapes; `query` are the parameters that may
    stand in the address. With `matches` the call names the state of the ticket that it was decided on (If-Match).
    """

    name: str
    method: str
    path: str
    scope: str
    summary: str
    gives: str
    query: Mapping[str, Shape] = field(default_factory=dict)
    body: Shape | None = None
    status: int = 200
    matches: bool = False
    tagged: bool = False
    public: bool = False

    @property
    def rule(self) -> str:
        """The whole address as Flask writes it."""
        return ROOT + self.path

    @property
    def variables(self) -> tuple[str, ...]:
        """The places in the address."""
        return tuple(_VARIABLE.findall(self.path))


_LIMIT: Shape = {"type": "integer", "minimum": 1, "maximum": MOST, "default": MOST}
_AFTER: Shape = text(60, pattern="^[0-9a-z-]*$", description="The `next` of the page before")
_SEQ_AFTER: Shape = {"type": "integer", "minimum": 1, "maximum": 2**31 - 1, "description": "The `next` before"}
_SEQ: Shape = {"type": "integer", "minimum": 0, "maximum": 2**31 - 1, "default": 0}

OPERATIONS: tuple[Operation, ...] = (
    Operation("openapi", "GET", "/openapi.json", "", "This description", "", public=True),
    Operation("problem", "GET", "/problems/<problem>", "", "What a kind of problem means", "ProblemKind", public=True),
    Operation("me", "GET", "/me", "", "The token that asks, and its shop", "Me"),
    # tickets
    Operation(
        "list_tickets",
        "GET",
        "/tickets",
        "tickets:read",
        "Tickets, page by page, in an order that never changes",
        "Tickets",
        {
            "phase": one_of(tuple(Phase)),
            "waits_on": one_of(tuple(WaitsOn)),
            "number": text(20, least=1),
            "limit": _LIMIT,
            "after": _AFTER,
        },
    ),
    Operation(
        "show_ticket",
        "GET",
        "/tickets/<ticket_id>",
        "tickets:read",
        "One ticket, whole; its ETag is for If-Match",
        "WholeTicket",
        tagged=True,
    ),
    Operation(
        "check_in",
        "POST",
        "/visits",
        "tickets:write",
        "Check devices in; the customer is told as they allowed",
        "TakenIn",
        body=ref("NewVisit"),
        status=201,
    ),
    Operation(
        "move_ticket",
        "POST",
        "/tickets/<ticket_id>/move",
        "tickets:write",
        "Move a ticket to another phase",
        "Moved",
        body=thing(
            {"to": one_of(tuple(Phase))},
            {
                "reason": text(40),
                "outcome": one_of(tuple(Outcome)),
                "note": text(4000),
                "anyway": BOOL,
                "at": INSTANT,
            },
        ),
        matches=True,
    ),
    Operation(
        "undo_move",
        "POST",
        "/tickets/<ticket_id>/undo",
        "tickets:write",
        "Take the last move back, soon after it",
        "Moved",
        body=thing({"event": {"type": "string", "format": "uuid"}}),
    ),
    Operation(
        "promise",
        "POST",
        "/tickets/<ticket_id>/promise",
        "tickets:write",
        "Tell another ready time",
        "Done",
        body=thing({"at": INSTANT}, {"why": one_of(WHY)}),
        matches=True,
    ),
    Operation(
        "place",
        "POST",
        "/tickets/<ticket_id>/place",
        "tickets:write",
        "Note where the device lies",
        "Done",
        body=thing({"shelf": text(20)}),
        matches=True,
    ),
    Operation(
        "money",
        "POST",
        "/tickets/<ticket_id>/money",
        "tickets:write",
        "Note a price, a deposit, or that it is paid",
        "Done",
        body={**thing({}, {"price_agreed": AMOUNT, "deposit": AMOUNT, "paid": BOOL}), "minProperties": 1},
        matches=True,
    ),
    Operation(
        "note",
        "POST",
        "/tickets/<ticket_id>/notes",
        "tickets:write",
        "Add a note for staff",
        "Done",
        body=thing({"text": text(4000, least=1)}),
        status=201,
    ),
    Operation(
        "show_people",
        "GET",
        "/visits/<visit_id>/people",
        "contacts:read",
        "Who is in a visit and how they are reached",
        "People",
    ),
    # questions
    Operation(
        "ask",
        "POST",
        "/tickets/<ticket_id>/questions",
        "tickets:write",
        "Ask the customer",
        "Asked",
        body=thing(
            {"kind": one_of(tuple(ANSWERS)), "wording": text(1000, least=1)},
            {
                "price": AMOUNT,
                "part": {"type": "string", "format": "uuid"},
                "until": INSTANT,
            },
        ),
        status=201,
    ),
    Operation(
        "answer",
        "POST",
        "/questions/<question_id>/answer",
        "tickets:write",
        "Note an answer, and who gave it",
        "Answered",
        body=thing(
            {
                "answer": one_of(tuple(dict.fromkeys(word for words in ANSWERS.values() for word in words))),
                "said_by": text(120, least=1),
            }
        ),
    ),
    Operation(
        "withdraw_question",
        "POST",
        "/questions/<question_id>/withdraw",
        "tickets:write",
        "Withdraw a question",
        "Answered",
    ),
    # parts
    Operation(
        "list_parts",
        "GET",
        "/parts",
        "parts:read",
        "Parts in a state, missing ones if none is named; page by page",
        "Parts",
        {"state": one_of(tuple(PartState)), "limit": _LIMIT, "after": _AFTER},
    ),
    Operation(
        "need_part",
        "POST",
        "/tickets/<ticket_id>/parts",
        "parts:write",
        "Note a missing part; order it with a supplier",
        "PartDone",
        body=thing({"name": text(120, least=1)}, {"supplier": text(80), "due": INSTANT}),
        status=201,
    ),
    Operation(
        "order_part",
        "POST",
        "/parts/<part_id>/order",
        "parts:write",
        "Note that a part was ordered",
        "PartOrdered",
        body=thing({"supplier": text(80, least=1)}, {"due": INSTANT}),
    ),
    Operation(
        "change_due",
        "POST",
        "/parts/<part_id>/due",
        "parts:write",
        "Note another delivery time",
        "PartDone",
        body=thing({"due": INSTANT}),
    ),
    Operation("part_arrived", "POST", "/parts/<part_id>/arrived", "parts:write", "Book a part in", "PartArrived"),
    Operation(
        "part_dead",
        "POST",
        "/parts/<part_id>/dead",
        "parts:write",
        "Note that a part does not work; the answer names the one needed instead",
        "PartDone",
    ),
    Operation(
        "part_not_needed",
        "POST",
        "/parts/<part_id>/not-needed",
        "parts:write",
        "Note that a part is not wanted",
        "PartDone",
    ),
    # bookings
    Operation(
        "list_slots", "GET", "/visits/<visit_id>/slots", "bookings:read", "Free pickup times of a visit", "Slots"
    ),
    Operation(
        "list_bookings",
        "GET",
        "/bookings",
        "bookings:read",
        "The pickups of a day, today if none is named",
        "Bookings",
        {"day": DAY},
    ),
    Operation(
        "book",
        "POST",
        "/visits/<visit_id>/booking",
        "bookings:write",
        "Book a time, or move the booking there",
        "Booking",
        body=thing({"start": WALL}, {"fold": {"type": "integer", "enum": [0, 1]}}),
    ),
    Operation(
        "cancel_booking", "DELETE", "/visits/<visit_id>/booking", "bookings:write", "Give the booking up", "Booking"
    ),
    # messages
    Operation(
        "list_messages",
        "GET",
        "/messages",
        "messages:read",
        "Messages, the newest first, page by page",
        "Messages",
        {
            "state": one_of(tuple(GROUPS)),
            "notice": one_of(tuple(NOTICES)),
            "channel": one_of(("email", "sms", "call")),
            "number": text(20, least=1),
            "limit": _LIMIT,
            "after": _SEQ_AFTER,
        },
    ),
    Operation(
        "show_message",
        "GET",
        "/messages/<message_id>",
        "messages:read",
        "One message; its words only with the scope contacts:read",
        "WholeMessage",
    ),
    Operation(
        "resend",
        "POST",
        "/messages/<message_id>/resend",
        "messages:write",
        "Send a message once more",
        "Resent",
        body=thing({"reason": one_of(REASONS)}),
        status=201,
    ),
    # other systems
    Operation(
        "list_sources",
        "GET",
        "/sources",
        "tickets:read",
        "How each source does, and the changes of it that wait for a person",
        "Sources",
        {"source": text(60, least=1, pattern="^[a-z0-9_-]+$"), "limit": _LIMIT},
    ),
    # what happened
    Operation(
        "list_events",
        "GET",
        "/events",
        "events:read",
        "What happened after a number, in order",
        "Events",
        {"since": _SEQ, "limit": _LIMIT},
    ),
)


def rules() -> dict[str, tuple[frozenset[str], bool]]:
    """Address -> its methods, and whether it needs no token."""
    found: dict[str, tuple[frozenset[str], bool]] = {}
    for one in OPERATIONS:
        methods, public = found.get(one.rule, (frozenset(), one.public))
        found[one.rule] = (methods | {one.method}, public and one.public)
    return found


def operation_at(rule: str, method: str) -> Operation | None:
    """The operation behind a rule and method; HEAD is GET without its body."""
    asked = "GET" if method == "HEAD" else method
    return next((one for one in OPERATIONS if one.rule == rule and one.method == asked), None)
