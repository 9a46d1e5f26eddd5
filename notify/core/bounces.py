"""What a delivery report says about the message and about the address: RFC 3464 actions and RFC 3463 status codes."""

from __future__ import annotations

import re
from dataclasses import dataclass

from notify.core.messages import Delivery

# RFC 3464 2.3.3, without regard to case. "expanded" is a delivery to a list: more reports may follow.
_ACTIONS: dict[str, Delivery] = {
    "failed": Delivery.FAILED,
    "delayed": Delivery.DELAYED,
    "delivered": Delivery.DELIVERED,
    "relayed": Delivery.HANDED_OVER,  # into a system that makes no reports
    "expanded": Delivery.HANDED_OVER,
}
# RFC 3463 2: class "." subject "." detail; RFC 3464 2.3.4 allows comments in brackets.
_STATUS = re.compile(r"\s*(?:\([^()]*\)\s*)?([245])\.([0-9]{1,3})\.([0-9]{1,3})(?![0-9.])")
# The type "smtp", a reply code, and an enhanced one: `smtp; 550 5.1.1 no such mailbox`.
_ANSWERED = re.compile(
    r"\s*smtp\s*;\s*(?:\S+\s+){0,3}?[245][0-9]{2}[ -]+([245])\.([0-9]{1,3})\.([0-9]{1,3})(?![0-9.])", re.IGNORECASE
)
_ABOUT_SENDER = ("5.1.7", "5.1.8")
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Judged:
    """What a report changes: the message's delivery (None: nothing), and whether the address is out of use."""

    delivery: Delivery | None
    suppress: bool


def judge(action: str, status: str) -> Judged:
    """Judge one recipient's group of a report by its Action and Status fields, comments and any case allowed.

    Only "failed" is final (RFC 3464 2.3.3), also with a status 4.x.x: then the message is dead and the address is not.
    An address is out of use after failed with 5.1.x, addressing (RFC 3463 3.2), but for 5.1.7 and 5.1.8, which are
    about our own address as the sender; and after 5.2.1, mailbox disabled (3.3). An action nobody defined changes
    nothing.
    """
    delivery = _ACTIONS.get(re.split(r"[\s(;]", action[:_LONGEST].strip(), maxsplit=1)[0].lower())
    return Judged(delivery, delivery is Delivery.FAILED and _out_of_use(read_status(status)))


def read_status(status: str, diagnostic: str = "") -> str:
    """`5.1.1 (bad mailbox)` -> `5.1.1`; "" for what is no status code.

    X.0.0 says only the class (RFC 3463 3.1), and some servers never say more: then the code in `diagnostic`, the
    answer of the last server (RFC 3464 2.3.6, RFC 2034 4), counts if it is of the same class.
    """
    code, told = _code(_STATUS.match(status[:_LONGEST])), _code(_ANSWERED.match(diagnostic[:_LONGEST]))
    return told if code[1:] == ".0.0" and told[:1] == code[0] else code


def _code(found: re.Match[str] | None) -> str:
    return ".".join(str(int(number)) for number in found.groups()) if found else ""


def _out_of_use(code: str) -> bool:
    return code == "5.2.1" or (code.startswith("5.1.") and code not in _ABOUT_SENDER)
