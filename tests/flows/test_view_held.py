"""What the owner is told of all that is held: the same numbers as rows counted one by one, and nobody in it."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from dateutil.relativedelta import relativedelta
from sqlalchemy import text

from notify.cli.desk import as_json
from notify.core.errors import NotAllowed
from notify.flows import desk_notes, forget, handover, moves, reach
from notify.flows.check_in_form import DeviceForm
from notify.flows.processing import processing, record
from notify.flows.view_held import WEEKS, Held, view
from tests.parts.shelved import token_of

MONDAY = datetime(2026, 3, 2, 10, tzinfo=UTC)
DAY = timedelta(days=1)


def brought(house: Any, at: datetime, name: str, *, back: bool = True, paid: bool = True) -> Any:
    """Somebody brings a device; with `back` it goes home on the same day."""
    house.clock.set(at)
    done = house.check_in(DeviceForm("Kestrel radio", price_agreed="30"), name=name)
    if back:
        for phase in ("in_line", "on_bench", "on_shelf"):
            moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
        if paid:
            desk_notes.record_money(house.ctx, house.actor(), done.ticket_ids[0], paid=True)
        handover.hand_back(
            house.ctx, house.actor(), ticket_ids=list(done.ticket_ids), token=token_of(house, done.ticket_ids[0])
        )
    return done


def seen(house: Any) -> Held:
    return view(house.ctx, house.actor(), house.services.settings)


def rows(house: Any, sql: str) -> list[Any]:
    with house.read() as unit:
        return list(unit.connection.execute(text(sql)))


def lived(house: Any) -> None:
    """Four went home on different days, one of them owing; one device is here; one person was forgotten since."""
    brought(house, MONDAY, "Ruben Staithe")
    brought(house, MONDAY + 30 * DAY, "Alba Crewe")
    brought(house, MONDAY + 31 * DAY, "Noor Vantage", paid=False)
    brought(house, MONDAY + 80 * DAY, "Edda Quist")
    brought(house, MONDAY + 95 * DAY, "Olive Tarn", back=False)
    forget.forget(house.ctx, house.system())


def test_ages_people_and_days_are_those_of_rows_counted_one_by_one(house: Any) -> None:
    lived(house)
    held, now = seen(house), house.clock()
    by_kind = {one.aged.data_class: one.aged.by_age for one in held.kinds}
    known = [row[0] for row in rows(house, "select created_at from people where forgotten_at is null")]
    ages = [
        (now - (at if isinstance(at, datetime) else datetime.fromisoformat(at)).replace(tzinfo=UTC)).days
        for at in known
    ]
    assert (
        by_kind["contact_card"]
        == (sum(a < 30 for a in ages), sum(30 <= a < 90 for a in ages), 0, 0, 0)
        == (2, 2, 0, 0, 0)
    )
    assert sum(by_kind["consent_record"]) == len(rows(house, "select id from consents"))
    assert sum(by_kind["erasure_record"]) == 1 and held.erasures[0].reason == "period_over" and held.unproved == 0
    # Another library counts the days on: 90 of them after each went home, which is this shop's rule.
    goes = [MONDAY.date() + relativedelta(days=d + 90) for d in (30, 31, 80)]
    weeks = [0] * WEEKS
    for day in goes:
        weeks[(day - now.date()).days // 7] += 1
    assert held.ahead.weeks == tuple(weeks) and held.ahead.open == 1 and held.ahead.due == 0
    assert held.ahead.within == ((7, 0), (30, 2), (90, 3))


def test_who_stays_is_named_by_claim_number_with_reason_and_day(house: Any) -> None:
    brought(house, MONDAY, "Noor Vantage", paid=False)
    house.clock.set(MONDAY + 90 * DAY)
    held = seen(house)
    assert [(one.reasons, one.over_since) for one in held.kept] == [(("unpaid",), date(2026, 5, 31))]
    assert held.ahead.kept == 1 and sum(held.ahead.weeks) == 0
    number = rows(house, "select number from tickets")[0][0]
    assert held.kept[0].number.replace("-", "") == number


def test_the_newest_word_of_each_person_counts_and_those_forgotten_do_not(house: Any) -> None:
    lived(house)
    visit_id = brought(house, house.clock() + DAY, "Gesine Ahlers", back=False).visit_id
    person_id = rows(house, f"select person_id from tickets where visit_id = '{visit_id}'")[0][0]
    reach.set_use(
        house.ctx,
        house.actor(),
        visit_id,
        person_id,
        channel="email",
        purposes=("pickup",),
        allowed=False,
        how="counter",
    )
    by = {(one.purpose, one.channel): (one.given, one.withdrawn) for one in seen(house).consents}
    newest: dict[tuple[str, str, str], bool] = {}
    gone = {row[0] for row in rows(house, "select id from people where forgotten_at is not null")}
    for person, channel, purpose, allowed in rows(
        house, "select person_id, channel, purpose, allowed from consents order by seq"
    ):
        newest[person, channel, purpose] = bool(allowed)
    for (purpose, channel), counted in by.items():
        said = [yes for (person, *rest), yes in newest.items() if rest == [channel, purpose] and person not in gone]
        assert counted == (sum(said), len(said) - sum(said))
    assert by["pickup", "email"][1] == 1 and by["repair", "email"][1] == 0


def test_nobody_is_in_it_and_only_the_owner_sees_it(house: Any) -> None:
    lived(house)
    told = as_json(seen(house))
    assert json.loads(told)["ahead"]["open"] == 1
    for secret in ("Noor", "Vantage", "ines@", "900123", "Kestrel"):
        assert secret not in told
    for role in ("counter", "technician"):
        with pytest.raises(NotAllowed):
            view(house.ctx, house.actor(role), house.services.settings)
        with pytest.raises(NotAllowed):
            record(house.ctx, house.actor(role), house.services.settings)


def test_recipients_sources_and_copies_are_those_of_the_settings(house: Any, tmp_path: Path) -> None:
    plain = house.services.settings
    mail = replace(plain.mail, transport="smtp", host="mail.example.net")
    gateway = replace(plain.sms, transport="http"), replace(plain.sms_http, address="https://texts.example.net/send")
    whole = replace(
        plain, mail=mail, sms=gateway[0], sms_http=gateway[1],
        inbox=replace(plain.inbox, transport="imap", host="imap.example.net", keep_days=11),
        database=replace(plain.database, url="postgresql://u@db.example.net/a", keys_url="postgresql://u@keys.example.net/k"),
        web=replace(plain.web, public_url="https://bell.example.org"),
        backup=replace(plain.backup, folder=tmp_path, keys_folder=tmp_path, keep_days=35, keys_keep_days=7),
    )  # fmt: skip
    found = processing(house.ctx, house.shop_id, whole)
    assert [(one.kind, one.name) for one in found.recipients] == [
        ("mail", "mail.example.net"), ("sms", "texts.example.net"), ("mailbox", "imap.example.net"),
        ("database", "db.example.net"), ("keys", "keys.example.net"),
    ]  # fmt: skip
    assert (found.stranger_days, found.backup_days, found.key_backup_days) == (11, 35, 7)
    assert {"tls", "mail_tls", "backup_sealed"} <= set(found.measures)
    less = replace(whole, mail=replace(mail, security="none"), backup=replace(whole.backup, folder=None))
    assert not {"mail_tls", "backup_sealed"} & set(processing(house.ctx, house.shop_id, less).measures)
    assert processing(house.ctx, house.shop_id, less).backup_days == 0
