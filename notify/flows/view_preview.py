"""Any message as its reader would see it, filled with invented facts: nothing is read of customers, nothing is sent."""

from __future__ import annotations

from notify.core.actors import Actor
from notify.core.contacts import show_phone
from notify.core.errors import Invalid
from notify.core.languages import LANGUAGES
from notify.core.notices import NOTICES
from notify.core.shop import Shop
from notify.flows.context import Context
from notify.render.preview import Preview, Wordings, fill
from notify.render.samples import SampleShop, Variant


def preview(
    ctx: Context, actor: Actor, wordings: Wordings, *, notice: str, language: str = "", variant: Variant | None = None
) -> Preview:
    """The message with this shop's own name, phone and address. `language` empty: the shop's.

    Raises Invalid for a notice or language that there is none of, Misconfigured for a text that cannot be filled.
    """
    actor.need("look")
    if notice not in NOTICES:
        raise Invalid(f"{notice[:40]!r} is no message", f"There are {', '.join(NOTICES)}.", field="notice")
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
    chosen = language or shop.language
    if chosen not in LANGUAGES:
        raise Invalid(f"There are no texts in {chosen[:10]!r}", f"There are {', '.join(LANGUAGES)}.", field="language")
    sample = _sample_shop(ctx, shop)
    return fill(wordings, notice, chosen, shop=sample, variant=variant or Variant(), now=ctx.clock())


def _sample_shop(ctx: Context, shop: Shop) -> SampleShop:
    shown = {
        "name": shop.name, "phone": show_phone(shop.phone), "email": shop.email, "address": shop.address,
        "hours": "", "url": ctx.public_url,
    }  # fmt: skip
    return SampleShop(shown, shop.zone, shop.currency)
