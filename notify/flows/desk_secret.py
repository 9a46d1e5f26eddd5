"""What is shown at the handover desk: whether it is a right secret of this visit; a wrong one is written down."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.actors import Actor
from notify.core.errors import Counted, Invalid, NotFound
from notify.core.refusals import WHY
from notify.core.scan import Scan
from notify.flows.check_in import token_hash
from notify.flows.context import Context
from notify.flows.passes import is_open
from notify.flows.record import record
from notify.store import passes, tickets, visits
from notify.store.database import Unit
from notify.store.passes import Pass


class WrongSecret(Counted):
    """A secret that does not release this visit's devices, written down; `why` is a code of core/refusals.WHY."""

    def __init__(self, why: str, visit_id: str) -> None:
        super().__init__(*WHY[why], field="scan")
        self.why, self.visit_id = why, visit_id


@dataclass(frozen=True, slots=True)
class Right:
    """A secret that counts: `how` is claim_ticket or pass; `used` the pass, which counts once."""

    how: str
    used: Pass | None = None


def right_secret(ctx: Context, unit: Unit, actor: Actor, visit_id: str, *, token: str, pass_code: str) -> Right:
    """Judges one secret for one visit. A wrong one is written down and raises WrongSecret.

    Call it first in a transaction: with the wrong try would be kept whatever was written before.
    """
    if pass_code:
        found = passes.find_by_code(unit, pass_code)
        why, right = _why_not(ctx, found, visit_id), Right("pass", found)
    else:
        why, right = _why_not_claim(unit, token, visit_id), Right("claim_ticket")
    if why:
        record(ctx, unit, actor, "handover_refused", visit_id=visit_id, codes={"why": why})
        raise WrongSecret(why, visit_id)
    return right


def _why_not_claim(unit: Unit, token: str, visit_id: str) -> str:
    try:
        scanned = tickets.find_by_token_hash(unit, token_hash(token))
    except NotFound:
        return "unknown"
    return "" if scanned.visit_id == visit_id else "foreign"


def _why_not(ctx: Context, found: Pass | None, visit_id: str) -> str:
    if found is None:
        return "unknown"
    if found.visit_id != visit_id:
        return "foreign"
    if is_open(found, ctx.clock()):
        return ""
    return f"pass_{found.state}" if found.state in ("used", "revoked") else "pass_expired"


def try_secret(ctx: Context, actor: Actor, visit_id: str, shown: Scan) -> None:
    """What was scanned at the desk of a visit; raises WrongSecret for a wrong secret, which is written down.

    What has not the form of a secret (a claim number, a slip of the fingers) raises Invalid and is not counted.
    """
    actor.need("hand_back")
    if shown.kind not in ("claim", "pass"):
        raise Invalid("This is neither a claim ticket nor a pass", _not_a_secret(shown), field="scan")
    token, code = (shown.value, "") if shown.kind == "claim" else ("", shown.value)
    with ctx.db.write(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        right_secret(ctx, unit, actor, visit_id, token=token, pass_code=code)


def _not_a_secret(shown: Scan) -> str:
    if shown.kind == "number":
        return "A claim number is no secret: it stands on the label too. Scan the code on the ticket."
    return shown.advice or "Scan the code on the claim ticket, or type the letters of the pass."


def find_pass_visit(ctx: Context, actor: Actor, code: str) -> str:
    """The visit of a pass that was scanned anywhere in the shop; raises NotFound for none.

    One that counts no more is written down at its visit and raises WrongSecret.
    """
    actor.need("hand_back")
    with ctx.db.read(actor.shop_id) as unit:
        found = passes.find_by_code(unit, code)
    if found is None:
        raise NotFound("This pass is not known here", "Read it once more, or check who it is.")
    try_secret(ctx, actor, found.visit_id, Scan("pass", code))
    return found.visit_id
