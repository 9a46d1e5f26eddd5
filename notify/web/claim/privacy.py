"""The page of data protection information (GDPR art. 13), made from the settings of shop and installation."""

from __future__ import annotations

import re
from typing import Any

from flask import Blueprint, g, make_response, render_template, request
from markupsafe import Markup
from werkzeug.wrappers import Response

from notify.config.settings import Settings
from notify.core.contacts import show_phone
from notify.core.durations import parse_duration
from notify.core.languages import LANGUAGES
from notify.core.shop import Shop
from notify.flows.keeping import shop_rules
from notify.flows.privacy_address import shop_meant
from notify.flows.view_desk import view_shop
from notify.render.moments import say_period
from notify.render.words import Language
from notify.web.claim.frame import base
from notify.web.errors import asked_language, page_label, privacy_href
from notify.web.here import ctx, services, shop_id
from notify.web.shop import choices

pages = Blueprint("privacy", __name__)
_LINK = re.compile(r"https?://[^\s\"'<>\\]+")


@pages.get("/privacy")
def show() -> Response:
    """In the language asked for by the address, else the browser's; of the shop that it names, or to be chosen."""
    language, every = asked_language(), services().shop_ids()
    g.shop_id = shop_meant(every, request.args.get("shop", "")) or g.get("shop_id")
    shops = [] if g.shop_id else choices(ctx(), every)
    said = "" if shops else _fragment(language)
    others = [
        {"label": page_label(one), "code": one, "href": privacy_href(one)} for one in LANGUAGES if one != language
    ]
    links = [{"label": one["label"], "href": privacy_href(language, shop=one["code"])} for one in shops]
    return make_response(render_template("privacy.html", **base(language), shop_links=links, fragment=said,
                                         language_links=others))  # fmt: skip


def _fragment(language: str) -> Markup:
    """What this shop keeps, of whom, for how long."""
    facts = _facts(view_shop(ctx(), shop_id()), services().settings, services().page_words.get(language))
    return Markup(services().words.privacy(language, facts))  # noqa: S704 - our template has escaped every value


def _facts(shop: Shop, settings: Settings, words: Language) -> dict[str, Any]:
    """The keys of render/shape.privacy_shape(); what no setting knows stays empty and its sentence says so."""
    controller = {"name": shop.controller, "address": ""} if shop.controller else {}
    own = {
        "name": shop.name,
        "address": shop.address,
        "phone": show_phone(shop.phone),
        "email": shop.email,
        "representative": "",
    }
    periods = shop_rules(ctx(), shop.id)
    period, delegate = (_period(periods[code].period, words) for code in ("contact_card", "delegate"))
    review = _period(f"P{shop.review_days}D", words) if shop.review_days else ""
    link = _LINK.search(shop.authority)
    return {
        "shop": {**own, **controller}, "officer": "", "providers": _providers(settings, words), "outside": "",
        "periods": {"contact": period, "delegate": delegate, "review": review, "records": "", "backups": ""},
        "consents": _consents(shop, words),
        "authority": {"name": _LINK.sub("", shop.authority).strip(" ,;()") or shop.authority,
                      "url": link[0].rstrip(".,;)") if link else ""},
        "updated": "",
    }  # fmt: skip


def _period(period: str, words: Language) -> str:
    return say_period(parse_duration(period), language=words.code)


def _consents(shop: Shop, words: Language) -> list[str]:
    """What somebody may have agreed to here; nothing is told of what the shop never does."""
    return [words["consent.afterwards"]] if shop.all_well_days else []


def _providers(settings: Settings, words: Language) -> list[str]:
    """Whose machines carry what is written to customers."""
    found = []
    if settings.mail.transport == "smtp":
        found.append(words("provider.mail", host=settings.mail.host))
    if settings.sms.transport == "mailgate":
        found.append(words("provider.sms", host=settings.sms.template.rpartition("@")[2]))
    return found
