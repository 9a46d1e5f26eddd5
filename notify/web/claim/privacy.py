"""The page of data protection information (GDPR art. 13), made from the settings of shop and installation."""

from __future__ import annotations

from flask import Blueprint, g, make_response, render_template, request
from markupsafe import Markup
from werkzeug.wrappers import Response

from notify.core.languages import LANGUAGES
from notify.flows.privacy_address import shop_meant
from notify.flows.processing import processing
from notify.render.processing_says import privacy_facts
from notify.web.claim.frame import base
from notify.web.errors import asked_language, page_label, privacy_href
from notify.web.here import ctx, services, shop_id
from notify.web.shop import choices

pages = Blueprint("privacy", __name__)


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
    known = processing(ctx(), shop_id(), services().settings)
    facts = privacy_facts(known, services().page_words.get(language), services().words.get(language))
    return Markup(services().words.privacy(language, facts))  # noqa: S704 - our template has escaped every value
