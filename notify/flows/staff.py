"""Who works here: sign in, switch the person at a shared counter, sign out, add and change staff."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError

from notify.core.actors import Actor
from notify.core.errors import Invalid, NotAllowed, TooOften
from notify.core.roles import STAFF_ROLES
from notify.core.text import clean_line
from notify.flows.at_bench import is_full
from notify.flows.context import Context
from notify.flows.staff_bell import Drop, erase_within
from notify.store import absences, staff
from notify.store.database import Unit

# Argon2id with RFC 9106's second choice: t=3, p=4, m=64 MiB (argon2-cffi's default profile).
_HASHER = PasswordHasher()
# Somebody who does not exist takes as long to refuse as somebody who does: the hash of a password nobody knows.
_NOBODY = "$argon2id$v=19$m=65536,t=3,p=4$Inhk/3RUOOaM3nhlC2dOEA$5kPSJmMqFU8jzEJ+7wImcGcbaud0OkhfRnoNzcfKbLU"
IDLE, ABSOLUTE = timedelta(hours=12), timedelta(days=7)
WINDOW = timedelta(hours=1)
# One place alone cannot lock a name out: it is stopped itself first. NIST SP 800-63B allows 100 failures an account.
NAME_FACTOR = 5
PASSWORD_LEAST, PIN_LEAST = 8, 4  # NIST SP 800-63B: at least 8, no composition rules


@dataclass(frozen=True, slots=True)
class SignedIn:
    """The person, and the session secret that their browser keeps (only its hash is stored).

    While `shown` is the same number, nothing was written that staff may see (store/shown.py).
    """

    staff_id: str
    name: str
    role: str
    secret: str
    shown: int = 0


def sign_in(ctx: Context, shop_id: str, *, name: str, password: str, source: str, tries_an_hour: int) -> SignedIn:
    """Starts a session. `source` says where the try comes from; it and the name are throttled, kept as keyed hashes.

    Raises NotAllowed with the same words for an unknown name and a wrong password.
    """
    with ctx.db.read(shop_id) as unit:
        row = staff.find_staff(unit, name.strip())
    keys = _throttle(
        ctx,
        shop_id,
        ("source", source, tries_an_hour),
        ("name", name.strip().casefold(), tries_an_hour * NAME_FACTOR),
    )
    right = _matches(row.password_hash if row else _NOBODY, password)
    if row is None or not right or not row.active:
        raise NotAllowed("Name or password is wrong", "Try again, or ask the owner for a new password.", field="name")
    with ctx.db.write(shop_id) as unit:
        for key in keys:
            staff.clear_tries(unit, key)
        return _start(ctx, unit, row)


def switch(ctx: Context, shop_id: str, old_secret: str, *, staff_id: str, pin: str, tries_an_hour: int) -> SignedIn:
    """Another person takes the counter over with their PIN; the session before ends.

    A PIN counts only where somebody is signed in: alone it is too short to be a way in. Raises NotAllowed.
    """
    if who(ctx, shop_id, old_secret) is None:
        raise NotAllowed("Nobody is signed in here", "Sign in with your password.", field="pin")
    with ctx.db.read(shop_id) as unit:
        row = staff.get_staff(unit, staff_id)
    keys = _throttle(ctx, shop_id, ("pin", staff_id, tries_an_hour))
    if not row.active or not row.pin_hash or not _matches(row.pin_hash, pin):
        raise NotAllowed("The PIN is wrong", "Try again, or sign in with your password.", field="pin")
    with ctx.db.write(shop_id) as unit:
        staff.clear_tries(unit, keys[0])
        staff.end_session(unit, session_hash(old_secret))
        return _start(ctx, unit, row)


def who(ctx: Context, shop_id: str, secret: str, *, at_work: bool = True) -> SignedIn | None:
    """The person behind a session secret; None when it is unknown, idle too long, over its time, or not active.

    What a page asks by itself is not `at_work`: it does not keep a session alive that nobody uses.
    """
    row = staff.find_session(ctx.db, shop_id, session_hash(secret))
    if row is None or not row.active or not _fresh(row, ctx.clock()):
        return None
    if at_work and ctx.clock() - row.last_seen_at > timedelta(minutes=5):
        with ctx.db.write(shop_id) as unit:
            staff.touch_session(unit, session_hash(secret), at=ctx.clock())
    return SignedIn(row.staff_id, row.name, row.role, secret, row.shown)


def sign_out(ctx: Context, shop_id: str, secret: str) -> None:
    """Ends the session on the server."""
    with ctx.db.write(shop_id) as unit:
        staff.end_session(unit, session_hash(secret))


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody about to work here: checked, and with a password that is hashed."""

    name: str
    role: str
    password_hash: str = field(repr=False)
    pin_hash: str = field(default="", repr=False)


def check_person(*, name: str, role: str, password: str, pin: str = "") -> Person:
    """Checks and hashes, which takes a third of a second: before any transaction.

    Raises Invalid for a weak password or PIN or an unknown role.
    """
    person = clean_line(name, field="name", limit=80)
    problems = []
    if not person:
        problems.append(Invalid("The person has no name", "Write one.", field="name"))
    if role not in STAFF_ROLES:
        problems.append(Invalid(f"{role[:20]!r} is no role", f"Use one of: {', '.join(STAFF_ROLES)}.", field="role"))
    problems.extend(_weak(password, pin))
    if problems:
        raise Invalid.many(problems)
    return Person(person, role, _HASHER.hash(password), _HASHER.hash(pin) if pin else "")


def add_staff(ctx: Context, actor: Actor, *, name: str, role: str, password: str, pin: str = "") -> str:
    """Adds a person; raises Invalid for a weak password or PIN or an unknown role. The identifier.

    Technicians and owners are at the bench from now on, while there is room (flows/at_bench).
    """
    actor.need("staff")
    person = check_person(name=name, role=role, password=password, pin=pin)
    with ctx.db.write(actor.shop_id) as unit:
        return add_within(ctx, unit, person)


def add_within(ctx: Context, unit: Unit, person: Person) -> str:
    """Adds a checked person inside the caller's transaction; the identifier."""
    full = is_full(unit)
    new = staff.add_staff(unit, name=person.name, role=person.role, password_hash=person.password_hash,
                          pin_hash=person.pin_hash, at=ctx.clock())  # fmt: skip
    if full:
        staff.change_staff(unit, new, at_bench=False)
    return new


def change_staff(
    ctx: Context, actor: Actor, staff_id: str, *, role: str = "", password: str = "", pin: str = "",
    active: bool | None = None, drop_copies: Drop | None = None,
) -> None:  # fmt: skip
    """Changes what is given and ends the person's sessions; the last owner stays an active owner.

    With who leaves goes where the bell rang for them (flows/staff_bell, `drop_copies` as there), and
    when they are away.
    """
    actor.need("staff")
    problems = _weak(password or "long enough", pin)
    if role and role not in STAFF_ROLES:
        problems.append(Invalid(f"{role[:20]!r} is no role", f"Use one of: {', '.join(STAFF_ROLES)}.", field="role"))
    if problems:
        raise Invalid.many(problems)
    with ctx.db.write(actor.shop_id) as unit:
        row = staff.get_staff(unit, staff_id)
        owners = [p.id for p in staff.list_staff(unit) if p.role == "owner" and p.active]
        if owners == [row.id] and (active is False or (role and role != "owner")):
            raise NotAllowed("The last owner cannot go", "Make somebody else an owner first.", field="role")
        columns = {"role": role, "password_hash": _HASHER.hash(password) if password else "",
                   "pin_hash": _HASHER.hash(pin) if pin else ""}  # fmt: skip
        given = {key: value for key, value in columns.items() if value}
        if active and not row.active and row.at_bench and is_full(unit):
            staff.change_staff(unit, staff_id, at_bench=False)
        staff.change_staff(unit, staff_id, **given, **({} if active is None else {"active": active}))
        staff.end_sessions_of(unit, staff_id)
        if active is False:
            absences.drop_absences_of(unit, staff_id)
            erase_within(ctx, unit, staff_id, drop_copies=drop_copies)


def session_hash(secret: str) -> str:
    """How a session secret is kept: it has over 128 random bits, so SHA-256 is enough."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _start(ctx: Context, unit: Unit, row: Any) -> SignedIn:
    alphabet = "ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz23456789"
    secret = "".join(alphabet[ctx.pick(len(alphabet))] for _ in range(32))
    now = ctx.clock()
    staff.add_session(unit, session_hash=session_hash(secret), staff_id=row.id, at=now, expires_at=now + ABSOLUTE)
    return SignedIn(row.id, row.name, row.role, secret)


def _fresh(row: staff.Session, now: datetime) -> bool:
    return row.expires_at > now and row.last_seen_at + IDLE > now


def _throttle(ctx: Context, shop_id: str, *what: tuple[str, str, int]) -> list[str]:
    """Counts one try under each (kind, value, limit); raises TooOften above one. The keys, to clear after a success."""
    with ctx.db.write(shop_id) as unit:
        keys = [unit.opener.lookup(f"try:{shop_id}:{kind}", value) for kind, value, _ in what]
        counts = [staff.count_try(unit, key, at=ctx.clock(), window=WINDOW) for key in keys]
    if any(count > limit for count, (_, _, limit) in zip(counts, what, strict=True)):
        raise TooOften("Too many tries", "Wait an hour, or ask the owner for a new password.", field="name")
    return keys


def _matches(kept: str, typed: str) -> bool:
    try:
        return _HASHER.verify(kept, typed[:1000])
    except (VerifyMismatchError, InvalidHashError):
        return False


def _weak(password: str, pin: str) -> list[Invalid]:
    problems = []
    if len(password) < PASSWORD_LEAST:
        problems.append(Invalid(f"The password is shorter than {PASSWORD_LEAST} characters",
                                "Use several words.", field="password"))  # fmt: skip
    if pin and (len(pin) < PIN_LEAST or not pin.isdigit()):
        problems.append(Invalid(f"The PIN needs at least {PIN_LEAST} digits", "Use digits only.", field="pin"))
    return problems
