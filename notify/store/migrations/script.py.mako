"""${message}"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import notify.store.types
${imports if imports else ""}

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Goes one step forward."""
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    """There is no way back: restore a backup instead."""
    raise NotImplementedError("restore a backup instead")
