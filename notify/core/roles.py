"""Who may do what: one table of roles and permissions, and what the scopes of a script's token allow."""

from __future__ import annotations

from collections.abc import Iterable

from notify.core.errors import NotAllowed

STAFF_ROLES = ("counter", "technician", "owner")

# Every permission with the words that stand in a refusal: "You may not …".
PERMISSIONS: dict[str, str] = {
    "look": "look at tickets",
    "check_in": "check devices in",
    "move": "move tickets from phase to phase",
    "start_anyway": "start a repair that still waits for something",
    "ask": "put a question to a customer",
    "answer": "enter a customer's answer",
    "order_part": "order parts",
    "receive_part": "book deliveries in",
    "book": "book, move or cancel pickups",
    "hand_back": "hand devices back",
    "undo_handover": "undo a handover",
    "give_pass": "let somebody else collect",
    "ask_code": "have a code sent to a stored contact",
    "see_contact": "see how customers are reached",
    "change_contact": "change how customers are reached",
    "log_call": "log calls to customers",
    "resend": "send a message once more",
    "reissue": "replace a lost claim ticket",
    "correct": "correct a phase after the time for undoing has passed",
    "leave_behind": "close a device as uncollected",
    "report": "see the reports",
    "export": "export what is held about a person",
    "forget": "have a person forgotten",
    "take_request": "take in what somebody asks about their own data",
    "settle_request": "answer what somebody asks about their own data",
    "hold": "keep a person's data beyond its time",
    "staff": "manage who works here",
    "settings": "change the shop's settings",
}

_COUNTER = frozenset(
    {
        "look",
        "check_in",
        "move",
        "answer",
        "order_part",
        "receive_part",
        "book",
        "hand_back",
        "give_pass",
        "ask_code",
        "see_contact",
        "change_contact",
        "log_call",
        "resend",
        "reissue",
        "take_request",
    }
)
# Roles of staff, and under their own names the doers that are no staff. In a shop of one to three people the
# technician serves at the counter as well; only the owner does what cannot be taken back.
ROLES: dict[str, frozenset[str]] = {
    "counter": _COUNTER,
    "technician": _COUNTER | {"ask", "start_anyway", "undo_handover", "report"},
    "owner": frozenset(PERMISSIONS),
    "customer": frozenset({"answer", "book", "ask_code", "give_pass", "take_request"}),
    "source": frozenset({"check_in", "move", "order_part", "receive_part"}),
    "system": frozenset({"look", "forget", "book"}),
}
# What a token may be given, with the words that stand on its page, and what its script may do then. Nothing that cannot
# be taken back, and nothing that staff must see with their own eyes, such as handing back.
SCOPES: dict[str, tuple[str, frozenset[str]]] = {
    "tickets:read": ("read tickets and visits", frozenset({"look"})),
    "tickets:write": (
        "check devices in, move tickets, ask, note answers, promises and prices",
        frozenset({"look", "check_in", "move", "start_anyway", "ask", "answer"}),
    ),
    "parts:read": ("read parts", frozenset({"look"})),
    "parts:write": ("need, order and book in parts", frozenset({"look", "order_part", "receive_part"})),
    "bookings:read": ("read pickups and free times", frozenset({"look"})),
    "bookings:write": ("book, move and cancel pickups", frozenset({"look", "book"})),
    "messages:read": ("read which messages left and which wait", frozenset({"look"})),
    "messages:write": ("send messages once more", frozenset({"look", "resend"})),
    "events:read": ("read what happened, in order", frozenset({"look"})),
    "contacts:read": ("see names, addresses, notes and the words of messages", frozenset({"look", "see_contact"})),
}


def may(role: str, permission: str) -> bool:
    """Whether the role has the permission; an unknown role has none; ValueError for no permission of the table."""
    if permission not in PERMISSIONS:
        raise ValueError(f"there is no permission {permission!r}; the table is notify.core.roles.PERMISSIONS")
    return permission in ROLES.get(role, frozenset())


def need(role: str, permission: str) -> None:
    """Raises NotAllowed, naming what is not allowed and who may do it, unless the role has the permission."""
    if may(role, permission):
        return
    others = [name for name in STAFF_ROLES if may(name, permission)]
    advice = f"Ask someone with the role {' or '.join(others)}."
    raise NotAllowed(f"You may not {PERMISSIONS[permission]}", advice)


def scopes_allow(scopes: Iterable[str], permission: str) -> bool:
    """Whether any of the scopes carries the permission; ValueError for no permission of the table."""
    if permission not in PERMISSIONS:
        raise ValueError(f"there is no permission {permission!r}; the table is notify.core.roles.PERMISSIONS")
    return any(permission in SCOPES[scope][1] for scope in scopes if scope in SCOPES)


def need_scope(scopes: Iterable[str], permission: str) -> None:
    """Raises NotAllowed, naming the scopes that would do, unless one of these carries the permission."""
    if scopes_allow(scopes, permission):
        return
    others = [name for name in SCOPES if scopes_allow((name,), permission)]
    advice = f"It needs a token with the scope {' or '.join(others)}." if others else "A person has to do it."
    raise NotAllowed(f"This token may not {PERMISSIONS[permission]}", advice)
