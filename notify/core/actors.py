"""Who does something: a person on the staff, a customer, the system's own clock, or a watched source."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.roles import STAFF_ROLES, need

KINDS = ("staff", "customer", "system", "source")


@dataclass(frozen=True, slots=True)
class Actor:
    """One doer at one shop. `id` is the person's identifier, or the name of the job or source.

    `role` is one of the staff roles for staff; for the others it is their kind and may be left out.
    """

    shop_id: str
    kind: str
    id: str
    role: str = ""

    def __post_init__(self) -> None:
        """Raises ValueError for a kind or role that does not exist: a fault in the program."""
        if self.kind not in KINDS or not self.shop_id or not self.id:
            raise ValueError("an actor has a shop, an id and one of the kinds " + ", ".join(KINDS))
        if self.kind != "staff" and self.role in ("", self.kind):
            object.__setattr__(self, "role", self.kind)
        elif self.kind != "staff" or self.role not in STAFF_ROLES:
            raise ValueError(f"a {self.kind} actor cannot have this role")

    def need(self, permission: str) -> None:
        """Raises NotAllowed unless this actor's role has the permission."""
        need(self.role, permission)
