"""The ledger of consents: who allowed or withdrew what, in which words, how, by whom and when. Rows are only added.

The database itself refuses anything else (migration 0002): of a row only `lookup` changes, and rows go only once their
person is forgotten, by the rule `consent_record` (store/old_proofs.py).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, insert, select

from notify.core.consent import BASIS
from notify.store import schema as s
from notify.store.database import Unit

_SHORT = 8  # hexadecimal digits that tell changed words of one version apart


@dataclass(frozen=True, slots=True)
class Saying:
    """What somebody said at one moment about one channel, without the purposes.

    `wordings` is purpose -> version of the words shown (keep_wordings), in `language`. `how` is one of
    core/consent.HOW; `evidence_id` names the visit, or the reply, that shows it.
    """

    channel: str
    allowed: bool
    wordings: Mapping[str, str]
    language: str
    how: str
    at: datetime
    staff_id: str | None = None
    evidence_id: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the ledger with its exact words; `address_known`: the person's address is not erased."""

    person_id: str
    channel: str
    purpose: str
    allowed: bool
    basis: str
    wording: str
    text: str
    language: str
    how: str
    staff_id: str | None
    evidence_id: str | None
    at: datetime
    address_known: bool


def add(unit: Unit, person_id: str, saying: Saying, purposes: Iterable[str]) -> None:
    """Appends one row for each purpose, about the address that the person has on the channel today, if any."""
    t, c = s.consents, s.contacts
    newest = select(func.coalesce(func.max(t.c.seq), 0)).where(
        t.c.shop_id == unit.shop_id, t.c.person_id == person_id
    )  # fmt: skip
    about = (
        select(c.c.lookup)
        .where(c.c.shop_id == unit.shop_id, c.c.person_id == person_id, c.c.channel == saying.channel)
        .where(c.c.replaced_at.is_(None)).order_by(c.c.created_at.desc()).limit(1)
    )  # fmt: skip
    last, lookup = unit.connection.execute(select(newest.scalar_subquery(), about.scalar_subquery())).one()
    rows = [
        {
            "shop_id": unit.shop_id, "id": unit.new_id(), "person_id": person_id, "channel": saying.channel,
            "purpose": purpose, "allowed": saying.allowed, "basis": BASIS[purpose],
            "wording": saying.wordings[purpose], "language": saying.language, "how": saying.how,
            "staff_id": saying.staff_id, "evidence_id": saying.evidence_id, "lookup": lookup, "at": saying.at,
            "seq": last + n,
        }
        for n, purpose in enumerate(purposes, 1)
    ]  # fmt: skip
    if rows:
        unit.connection.execute(insert(t), rows)


def keep_wordings(
    unit: Unit, versions: Mapping[str, str], texts: Mapping[str, str], language: str, *, at: datetime
) -> dict[str, str]:
    """Keeps the exact words of these versions (purpose -> version, purpose -> text) once; purpose -> version to note.

    A version whose words are others than those kept before is another one: its name then ends in a dot and a digest,
    so that no row ever points to words that nobody was shown.
    """
    t = s.wordings
    known = {row.wording: row.text for row in unit.connection.execute(
        select(t.c.wording, t.c.text).where(t.c.shop_id == unit.shop_id, t.c.language == language))}  # fmt: skip
    named: dict[str, str] = {}
    for purpose, version in versions.items():
        text = texts[purpose]
        name = version if known.get(version, text) == text else f"{version}.{_digest(text)}"
        if name not in known:
            known[name] = text
            unit.connection.execute(insert(t).values(
                shop_id=unit.shop_id, wording=name, language=language, text=text, first_shown_at=at))  # fmt: skip
        named[purpose] = name
    return named


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:_SHORT]


def ledger(unit: Unit, person_ids: Iterable[str]) -> tuple[Entry, ...]:
    """Every row about these people, forgotten or not, the oldest first; opens nothing."""
    t, w = s.consents, s.wordings
    same = (w.c.shop_id == t.c.shop_id) & (w.c.wording == t.c.wording) & (w.c.language == t.c.language)
    query = (
        select(t, w.c.text).join(w, same, isouter=True)
        .where(t.c.shop_id == unit.shop_id, t.c.person_id.in_(list(person_ids)))
        .order_by(t.c.at, t.c.person_id, t.c.seq)
    )  # fmt: skip
    return tuple(_entry(row) for row in unit.connection.execute(query))


def _entry(row: Any) -> Entry:
    return Entry(
        row.person_id, row.channel, row.purpose, row.allowed, row.basis, row.wording, row.text or "", row.language,
        row.how, row.staff_id, row.evidence_id, row.at, row.lookup is not None,
    )  # fmt: skip
