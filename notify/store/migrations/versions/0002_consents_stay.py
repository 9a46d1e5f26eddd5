"""The ledger of consents is append-only by the database's own rule, whoever asks and by whatever program.

Of a row only `lookup` may change (it is emptied when its person is forgotten, and follows a new index key), and a row
may go only once its person is forgotten: then the rule of keeping decides when.
"""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_STAYS = (
    "shop_id", "id", "person_id", "channel", "purpose", "allowed", "basis", "wording", "language", "how", "staff_id",
    "evidence_id", "at", "seq",
)  # fmt: skip
_KNOWN = (
    "exists (select 1 from people p where p.shop_id = old.shop_id and p.id = old.person_id and p.forgotten_at is null)"
)
_SAYS = "consents are append-only"


def upgrade() -> None:
    """Goes one step forward."""
    statements = _sqlite() if op.get_bind().dialect.name == "sqlite" else _postgresql()
    for statement in statements:
        op.get_bind().exec_driver_sql(statement)


def _sqlite() -> tuple[str, ...]:
    changed = " or ".join(f"new.{column} is not old.{column}" for column in _STAYS)
    return (
        f"create trigger consents_stay before update on consents when {changed} "
        f"begin select raise(abort, '{_SAYS}'); end",
        f"create trigger consents_go before delete on consents when {_KNOWN} begin select raise(abort, '{_SAYS}'); end",
    )


def _postgresql() -> tuple[str, ...]:
    changed = " or ".join(f"new.{column} is distinct from old.{column}" for column in _STAYS)
    return (
        "create function consents_stay() returns trigger language plpgsql as $$ begin "
        f"if tg_op = 'DELETE' then if {_KNOWN} then raise exception '{_SAYS}'; end if; return old; end if; "
        f"if {changed} then raise exception '{_SAYS}'; end if; return new; end $$",
        "create trigger consents_stay before update or delete on consents for each row "
        "execute function consents_stay()",
    )  # fmt: skip
