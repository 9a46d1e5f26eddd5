"""What the claim page shows behind a code: everything held about whoever brought the visit, and what they asked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from notify.core.retention import Rule
from notify.core.shop import Shop
from notify.flows.context import Context
from notify.flows.held_about import Held, brought_by, gather_held, same_person
from notify.flows.keeping import Fate, fate, rule_of
from notify.flows.requests_due import stands_against
from notify.flows.view_hours import Door, door_within
from notify.render.words import Language
from notify.store import people, requests
from notify.store.claims import Claim
from notify.store.requests import Request

LONGEST_LIST = 20


@dataclass(frozen=True, slots=True)
class RightsView:
    """The page as data.

    `against` are the codes of what an erasure would have to wait for now; `rule` is the one that counts for their data.
    """

    language: str
    person_id: str
    held: Held
    fate: Fate
    against: tuple[str, ...]
    rule: Rule
    requests: tuple[Request, ...]
    shop: Shop
    door: Door
    now: datetime


def view_rights(ctx: Context, claim: Claim, words: Language, contact_id: str) -> RightsView:
    """Everything, in one reading transaction; the caller has seen the code typed that went to the contact.

    Raises NotFound once they were forgotten.
    """
    with ctx.db.read(claim.shop_id) as unit:
        person_id = brought_by(unit, claim.visit_id)
        found = fate(ctx, unit, person_id)
        return RightsView(
            language=people.get_person(unit, person_id).language, person_id=person_id,
            held=gather_held(ctx, unit, person_id, *same_person(unit, person_id, contact_id)), fate=found,
            against=stands_against(found),
            rule=rule_of(ctx, unit, found.data_class),
            requests=requests.requests_of(unit, person_id)[:LONGEST_LIST], shop=ctx.shop(unit),
            door=door_within(ctx, unit, words), now=ctx.clock(),
        )  # fmt: skip


def reader_of(ctx: Context, claim: Claim) -> str:
    """Whose page it is: whoever brought the visit."""
    with ctx.db.read(claim.shop_id) as unit:
        return brought_by(unit, claim.visit_id)


def contacts_now(ctx: Context, claim: Claim) -> str:
    """Which contacts of whoever brought the visit are current, as one text: another one once any was changed."""
    with ctx.db.read(claim.shop_id) as unit:
        (person,) = people.recipients(unit, [brought_by(unit, claim.visit_id)])
        return ",".join(sorted(one.contact_id for one in person.reaches))
