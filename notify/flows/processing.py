"""Gathers what is done with people's data here, from settings, rules and rooms: core/processing has its shape."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import urlsplit

from notify.config.settings import Settings
from notify.core.actors import Actor
from notify.core.notices import CONSENT_PURPOSES
from notify.core.processing import Processing, Recipient
from notify.core.shop import Shop
from notify.flows.context import Context
from notify.flows.listeners import shown_within
from notify.flows.source_shop import watches_of
from notify.store import api_tokens, feeds, retention, shops
from notify.store.database import Unit

_HERE = ("", "localhost", "127.0.0.1", "::1")
_READS_PEOPLE = frozenset({"contacts:read", "tickets:write"})


def record(ctx: Context, actor: Actor, settings: Settings) -> Processing:
    """For the record of processing, which is the owner's (GDPR art. 30)."""
    actor.need("settings")
    return processing(ctx, actor.shop_id, settings)


def processing(ctx: Context, shop_id: str, settings: Settings) -> Processing:
    """What one shop does with people's data; for everybody to read."""
    with ctx.db.read(shop_id) as unit:
        shop = ctx.shop(unit)
        today, backup = ctx.today(shop), settings.backup
        return Processing(
            shop=shop, today=today, rules=retention.rules(unit, today),
            recipients=tuple(_recipients(ctx, unit, settings)),
            sources=_sources(ctx, shop_id, settings), uses=_uses(shop), measures=tuple(_measures(settings)),
            stranger_days=settings.inbox.keep_days,
            backup_days=backup.keep_days if backup.folder else 0,
            key_backup_days=backup.keys_keep_days if backup.folder and backup.keys_folder else 0,
            has_claim_pages=bool(ctx.public_url),
        )  # fmt: skip


def _recipients(ctx: Context, unit: Unit, settings: Settings) -> Iterator[Recipient]:
    yield from _carriers(settings)
    yield from (Recipient("listener", one.host or one.name) for one in shown_within(unit))
    now = ctx.clock()
    for token in api_tokens.list_tokens(unit):
        if not (token.expires_at and token.expires_at <= now) and _READS_PEOPLE & set(token.scopes):
            yield Recipient("script", token.name)
    yield from (Recipient("feed", one.name) for one in feeds.live_feeds(unit))


def _carriers(settings: Settings) -> Iterator[Recipient]:
    """Whose machines carry or keep what is written to customers, as far as the settings name them."""
    if settings.mail.transport == "smtp":
        yield Recipient("mail", settings.mail.host)
    if sms := _sms(settings):
        yield sms
    if settings.inbox.transport == "imap":
        yield Recipient("mailbox", settings.inbox.host)
    for kind, url in (("database", settings.database.url), ("keys", settings.database.keys_url)):
        host = _host(url)
        if host not in _HERE:
            yield Recipient(kind, host)


def _sms(settings: Settings) -> Recipient | None:
    ways = {
        "mailgate": ("sms", settings.sms.template.rpartition("@")[2]),
        "http": ("sms", _host(settings.sms_http.address)),
        "modem": ("modem", ""),
    }
    found = ways.get(settings.sms.transport)
    return Recipient(*found) if found else None


def _host(url: str) -> str:
    return urlsplit(url).hostname or ""


def _sources(ctx: Context, shop_id: str, settings: Settings) -> tuple[str, ...]:
    """The other systems that tell this shop of devices and their owners."""
    every = shops.shop_ids(ctx.db)
    return tuple(one.name for one in watches_of(ctx, every, settings.watch, shop_id))


def _uses(shop: Shop) -> tuple[str, ...]:
    """Nothing is told of what the shop never does."""
    return CONSENT_PURPOSES if shop.all_well_days else ()


def _measures(settings: Settings) -> Iterator[str]:
    yield from ("sealed", "keys_apart", "roles", "looks", "codes", "erased")
    if settings.web.public_url.startswith("https://"):
        yield "tls"
    if settings.mail.transport == "smtp" and settings.mail.security != "none":
        yield "mail_tls"
    if settings.backup.folder:
        yield "backup_sealed"
