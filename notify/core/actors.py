"""Who does something: a person on the staff, a customer, the system's own clock, a watched source, or a script."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.roles import STAFF_ROLES, may, need, need_scope, scopes_allow

KINDS = ("staff", "customer", "system", "source", "script")


@dataclass(frozen=True, slots=True)
class Actor:
    """One doer at one shop. `id` is the person's identifier, the name of the job or source, or a script's token.

    `role` is one of the staff roles for staff; for the others it is their kind and may be left out. A script may do
    what the `scopes` of its token allow (core/roles.SCOPES); nobody else has any.
    """

    shop_id: str
    kind: str
    id: str
    role: str = ""
    scopes: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        """Raises ValueError for a kind or role that does not exist: a fault in the program."""
        if self.kind not in KINDS or not self.shop_id or not self.id:
            raise ValueError("an actor has a shop, an id and one of the kinds " + ", ".join(KINDS))
        if self.kind != "staff" and self.role in ("", self.kind):
            object.__setattr__(self, "role", self.kind)
        elif self.kind != "staff" or self.role not in STAFF_ROLES:
            raise ValueError(f"a {self.kind} actor cannot have this role")

    @property
    def staff_id(self) -> str | None:
        """Who of the staff it is; None for everybody else."""
        return self.id if self.kind == "staff" else None

    def may(self, permission: str) -> bool:
        """Whether this actor's role, or the scopes of its token, have the permission."""
        return scopes_allow(self.scopes, permission) if self.kind == "script" else may(self.role, permission)

    def need(self, permission: str) -> None:
        """Raises NotAllowed unless this actor's role, or the scopes of its token, have the permission."""
        if self.kind == "script":
            need_scope(self.scopes, permission)
        else:
            need(self.role, permission)
