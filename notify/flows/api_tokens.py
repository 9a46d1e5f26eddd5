"""Tokens for the shop's own scripts: made, listed and revoked by an owner; found again by their secret."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from notify.core.actors import Actor
from notify.core.errors import Invalid, NotFound
from notify.core.roles import SCOPES
from notify.core.text import clean_line
from notify.flows.check_in import token_hash
from notify.flows.context import Context
from notify.store import api_tokens, staff

PREFIX = "shelfbell_"  # so that whoever finds one, a scanner of repositories too, sees what it opens
_LETTERS = "abcdefghijkmnpqrstuvwxyz23456789"  # 32 signs, no look-alikes
_LENGTH = 32  # 160 bits; RFC 6750 5.2 asks for tokens that nobody can guess
_FORM = re.compile(f"{PREFIX}[{_LETTERS}]{{{_LENGTH}}}")
LONGEST_NAME = 80
FURTHEST = timedelta(days=3660)  # an end beyond ten years is a slip of the pen


@dataclass(frozen=True, slots=True)
class Token:
    """A token that was not revoked: whose script, what for, by whom, last used on which day (UTC), until when."""

    id: str
    name: str
    scopes: tuple[str, ...]
    made_at: datetime
    by: str
    used_on: date | None
    expires_at: datetime | None
    ended: bool


@dataclass(frozen=True, slots=True)
class MadeToken:
    """A token just made; `secret` is shown this once and kept as a hash only."""

    id: str
    name: str
    scopes: tuple[str, ...]
    expires_at: datetime | None
    secret: str = field(repr=False)


@dataclass(frozen=True, slots=True)
class Caller:
    """Who calls with a token: the actor, and the name that the owner gave the token."""

    actor: Actor
    name: str


def new_secret(pick: Callable[[int], int]) -> str:
    """A new secret with our prefix; 160 bits if `pick` is secrets.randbelow."""
    return PREFIX + "".join(_LETTERS[pick(len(_LETTERS))] for _ in range(_LENGTH))


def make_token(
    ctx: Context, actor: Actor, *, name: str, scopes: Sequence[str], expires_at: datetime | None = None
) -> MadeToken:
    """A new token with these scopes. Raises Invalid for no name, no or an unknown scope, or an end that is past."""
    actor.need("settings")
    said = clean_line(name, field="name", limit=LONGEST_NAME)
    if not said:
        raise Invalid("The token has no name", "Say for which script it is.", field="name")
    wanted = _checked(scopes)
    now, secret = ctx.clock(), new_secret(ctx.pick)
    if expires_at is not None and not now < expires_at <= now + FURTHEST:
        raise Invalid("A token ends later than now, and within ten years", "Name another day.", field="expires")
    with ctx.db.write(actor.shop_id) as unit:
        new = api_tokens.add_token(unit, name=said, token_hash=token_hash(secret), scopes=wanted, by=actor.id, at=now,
                                   expires_at=expires_at)  # fmt: skip
    return MadeToken(new, said, wanted, expires_at, secret)


def _checked(scopes: Sequence[str]) -> tuple[str, ...]:
    for scope in scopes:
        if scope not in SCOPES:
            raise Invalid(f"{scope[:40]!r} is no scope", f"Use any of: {', '.join(SCOPES)}.", field="scopes")
    if not scopes:
        raise Invalid("The token may do nothing", f"Choose any of: {', '.join(SCOPES)}.", field="scopes")
    return tuple(scope for scope in SCOPES if scope in scopes)


def list_tokens(ctx: Context, actor: Actor) -> tuple[Token, ...]:
    """Those that were not revoked, the newest first; never their secrets, which nobody has any more."""
    actor.need("settings")
    with ctx.db.read(actor.shop_id) as unit:
        names = {row.id: str(row.name) for row in staff.list_staff(unit)}
        return tuple(_shown(ctx, row, names.get(row.staff_id or "", "")) for row in api_tokens.list_tokens(unit))


def _shown(ctx: Context, row: api_tokens.TokenRow, by: str) -> Token:
    ended = row.expires_at is not None and row.expires_at <= ctx.clock()
    return Token(row.id, row.name, row.scopes, row.made_at, by, row.used_on, row.expires_at, ended)


def revoke_token(ctx: Context, actor: Actor, token_id: str) -> None:
    """From now on the token opens nothing. Raises NotFound when there is none to revoke."""
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        if not api_tokens.end_token(unit, token_id, at=ctx.clock()):
            raise NotFound("There is no such token", "Look at the list: it may be revoked already.")


def find_caller(ctx: Context, secret: str) -> Caller | None:
    """Who holds this secret; None for an unknown, malformed, revoked or expired one.

    Notes the day of use, at most once a day: that is the only thing that asking changes.
    """
    row = api_tokens.find_token(ctx.db, token_hash(secret)) if _FORM.fullmatch(secret) else None
    now = ctx.clock()
    if row is None or row.revoked_at is not None or (row.expires_at is not None and row.expires_at <= now):
        return None
    if row.used_on != now.date():
        with ctx.db.write(row.shop_id) as unit:
            api_tokens.note_use(unit, row.id, now.date())
    return Caller(Actor(row.shop_id, "script", row.id, scopes=frozenset(row.scopes)), row.name)
