"""Puts a new master key or index key in the place of the old one, a few hundred rows at a time, while others serve.

Whoever makes a data key reads which master key is current inside the same transaction; whoever writes a contact reads
which index key is current behind the shop's lock (`Database.write`). So from the moment a key is adopted nothing new
stands under the old one, and each step can be repeated from wherever it was cut off.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import bindparam, func, or_, select, text, update

from notify.core.errors import Conflict, Misconfigured
from notify.core.suppression import normal_form
from notify.store import key_store
from notify.store import schema as s
from notify.store.database import Database, Unit
from notify.store.key_rings import Key, Kind, check_value
from notify.store.key_store import Fact, data_keys
from notify.store.vault import Vault

BATCH = 200
UNFINISHED = "unfinished:"  # with the kind of key: a new one is current, and its work has not come to the end
_LOCK = 7391557
_K, _C = data_keys, s.contacts
_REWRAP = (
    update(_K)
    .where(_K.c.person_id == bindparam("person"), _K.c.wrapped == bindparam("old"))
    .values(master_id=bindparam("new_id"), wrapped=bindparam("new"))
)
_REHASH = (
    update(_C)
    .where(_C.c.shop_id == bindparam("shop"), _C.c.id == bindparam("contact"))
    .values(lookup=bindparam("new"), lookup_key=bindparam("new_id"))
)
# The proof of what was said about an address follows it: of a row of the ledger nothing else may ever change.
_REHASH_SAID = (
    update(s.consents)
    .where(s.consents.c.shop_id == bindparam("shop"), s.consents.c.person_id == bindparam("person"),
           s.consents.c.lookup == bindparam("old"))
    .values(lookup=bindparam("new"))
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Step:
    """How far a pass came: the row to go on behind (empty at the end), how many were changed, how many do not open."""

    after: str
    done: int
    closed: int = 0


@contextmanager
def turning(vault: Vault) -> Iterator[None]:
    """Holds the right to change keys; ends with the process, however that dies. Raises Conflict when it is taken."""
    taken = Conflict("The keys are being changed already", "Let that end, or stop it, then run this again.")
    if vault.engine.dialect.name != "sqlite":
        with vault.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            if not connection.execute(text("select pg_try_advisory_lock(:key)"), {"key": _LOCK}).scalar_one():
                raise taken
            try:
                yield
            finally:
                connection.execute(text("select pg_advisory_unlock(:key)"), {"key": _LOCK})
        return
    handle = os.open(f"{vault.engine.url.database}-turning", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(handle)
        raise taken from None
    try:
        yield
    finally:
        os.close(handle)


def known(vault: Vault) -> Mapping[str, Fact]:
    """What the store knows of its keys."""
    with vault.engine.connect() as connection:
        return key_store.facts(connection)


def adopt(vault: Vault, kind: Kind, key: Key, at: datetime) -> None:
    """Makes a key that stands in its file already the current one."""
    with vault.engine.execution_options(writes=True).begin() as connection:
        key_store.set_fact(connection, f"{kind}:{key.id}", check_value(kind, key), at)
        key_store.set_fact(connection, kind, key.id, at)
        key_store.set_fact(connection, UNFINISHED + kind, key.id, at)


def drop(vault: Vault, kind: Kind, key_id: str) -> None:
    """A key that is not current and that nothing needs is not asked for any more. Raises Conflict for another one."""
    with vault.engine.execution_options(writes=True).begin() as connection:
        if key_store.current_id(connection, kind, held=True) == key_id:
            raise Conflict(f"The {kind} key {key_id!r} is the current one", f"Run `shelfbell key rotate {kind}` first.")
        if kind == "master":
            left = connection.execute(select(func.count()).where(_K.c.master_id == key_id)).scalar_one()
            if left:
                raise Conflict(
                    f"The keys of {left} people are still wrapped under the master key {key_id!r}",
                    "Run `shelfbell key rotate master` first: without that key their data could never be read again.",
                )
        key_store.drop_fact(connection, f"{kind}:{key_id}")


def finish(vault: Vault, kind: Kind) -> None:
    """All is under the current key, and nothing under a dropped one is readable in the store's files."""
    with vault.engine.execution_options(writes=True).begin() as connection:
        key_store.drop_fact(connection, UNFINISHED + kind)


def count_by_master(vault: Vault) -> Mapping[str, int]:
    """master key -> how many people's keys it wraps."""
    with vault.engine.connect() as connection:
        rows = connection.execute(select(_K.c.master_id, func.count()).group_by(_K.c.master_id)).all()
    return {row[0]: row[1] for row in rows}


def rewrap(vault: Vault, master_id: str, after: str, *, batch: int = BATCH) -> Step:
    """Wraps the next keys anew under this master key, in one short transaction. A key that does not open stays."""
    query = (
        select(_K).where(_K.c.master_id != master_id, _K.c.person_id > after).order_by(_K.c.person_id).limit(batch)
    ).with_for_update()
    with vault.engine.execution_options(writes=True).begin() as connection:
        rows, changed = connection.execute(query).all(), []
        for row in rows:
            try:
                key = vault.unwrap(row.person_id, row.master_id, row.wrapped)
            except Misconfigured:  # damaged, or under a key that is lost: no worse than before
                continue
            new = vault.wrap(row.person_id, key, master_id)
            changed.append({"person": row.person_id, "old": row.wrapped, "new": new, "new_id": master_id})
        if changed:
            connection.execute(_REWRAP, changed)
    return Step(rows[-1].person_id if len(rows) == batch else "", len(changed), len(rows) - len(changed))


def count_by_index(db: Database) -> Mapping[str, int]:
    """index key -> how many contacts are found by it."""
    query = select(func.coalesce(_C.c.lookup_key, ""), func.count()).where(_C.c.lookup.is_not(None))
    with db.engine.connect() as connection:
        return {row[0]: row[1] for row in connection.execute(query.group_by(_C.c.lookup_key))}


def rehash(unit: Unit, key_id: str, after: str, *, batch: int = BATCH) -> Step:
    """Looks the next contacts of this shop up by the current index key from now on; `key_id` is its name.

    What does not open (its person's key is destroyed, its row is about to be overwritten) stays as it is.
    """
    other = or_(_C.c.lookup_key != key_id, _C.c.lookup_key.is_(None))
    query = (
        select(_C.c.id, _C.c.person_id, _C.c.channel, _C.c.address_sealed, _C.c.lookup)
        .where(_C.c.shop_id == unit.shop_id, other, _C.c.lookup.is_not(None), _C.c.id > after)
        .order_by(_C.c.id)
        .limit(batch)
    )
    rows = unit.connection.execute(query).all()
    alive = unit.vault.data_keys({row.person_id for row in rows})
    unit.opener.fetch(alive)
    changed = []
    for row in rows:
        if row.person_id in alive and row.address_sealed is not None:
            address = unit.open(row.person_id, "contacts", row.id, "address", row.address_sealed)
            lookup, name = unit.opener.marked(row.channel, normal_form(row.channel, address))
            changed.append({"shop": unit.shop_id, "contact": row.id, "new": lookup, "new_id": name,
                            "person": row.person_id, "old": row.lookup})  # fmt: skip
    if changed:
        unit.connection.execute(_REHASH, changed)
        unit.connection.execute(_REHASH_SAID, changed)
    return Step(rows[-1].id if len(rows) == batch else "", len(changed), len(rows) - len(changed))


def needs(db: Database, key_id: str, *, since: datetime | None, oldest: bool, now: datetime) -> Mapping[str, int]:
    """What would be lost with an old index key, as code -> how many; `since` is when the current one was adopted."""
    t, p, w, u, o = s.tickets, s.people, s.passes, s.suppressions, s.contact_codes
    before = datetime.max.replace(tzinfo=now.tzinfo) if since is None else since
    veiled = (
        select(func.count())
        .select_from(t.join(p, (p.c.shop_id == t.c.shop_id) & (p.c.id == t.c.person_id)))
        .where(p.c.forgotten_at <= before, t.c.token_hash.is_not(None))
    )
    queries = {
        "contacts": select(func.count()).where(_C.c.lookup_key == key_id, _C.c.lookup.is_not(None)),
        "suppressions": select(func.count()).where(u.c.key_id == key_id, u.c.ended_at.is_(None)),
        "claim_links": veiled,
        "passes": select(func.count()).where(
            w.c.made_at <= before, w.c.expires_at > now, w.c.hash.is_not(None), w.c.state.in_(("asked", "open"))
        ),
        "codes": select(func.count()).where(o.c.made_at <= before, o.c.expires_at > now, o.c.used_at.is_(None)),
        "source_rows": select(func.count()).select_from(s.taken_rows),
    }
    if not oldest:
        del queries["source_rows"]
    with db.engine.connect() as connection:
        found = {code: int(connection.execute(query).scalar_one()) for code, query in queries.items()}
    return {code: count for code, count in found.items() if count}
