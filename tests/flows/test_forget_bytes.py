"""After forgetting the bytes are gone from every file, old copies open nothing, nothing is early."""

from __future__ import annotations

import logging
import shutil
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy import JSON, LargeBinary, String, select, update

from notify.channels.folder import FolderChannel
from notify.channels.sms_mailgate import SmsMailgate
from notify.cli.restore import UNFINISHED
from notify.core.contact_code import show_code
from notify.core.errors import NotFound
from notify.flows import contact_codes as code_flow
from notify.flows import desk_notes, forget, handover, parts, questions, replies, set_up, staff, staff_bell
from notify.flows.check_in import token_hash
from notify.flows.check_in_form import DeviceForm, PersonForm
from notify.flows.hear_reply import Heard, hear
from notify.store import claims, contact_codes, erasing, people, rings, schema, tickets, visits
from notify.store.copying import SCRATCH
from notify.store.engine import open_engine, rewrite_tables
from notify.store.opener import Opener, Place
from notify.store.vault import data_keys
from tests.flows.conftest import GATEWAY
from tests.parts.house import House, make_house
from tests.parts.left import leave
from tests.parts.shelved import shelve, token_of
from tests.parts.traces import files_below, heap, hits, patterns, phone_forms

pytestmark = [pytest.mark.long, pytest.mark.untouched]  # together some seconds of one core

QUARTER = 91 * 86400
ABOUT_INES = [
    "Ines Farrow-Okonedo", "ines.farrow@example.org", *phone_forms("+447700900123"), "Kestrel pocket radio no 4471",
    "hums when the tram passes", "scratch beside the dial", "leather case with strap", "she is deaf on the left ear",
    "will it cost more than the radio", "speaker cone for the Kestrel", "Ines on the phone at noon",
    "knows the scratch beside the dial", "my sister Wilhelmina collects it", "about the humming",
    "herring-4471@mail.example.org", "may I come after the ferry", "Tobiah Marlowe",
    "tobiah.marlowe@example.net", "Quentin Ashdown",
]  # fmt: skip


# Sealed under a key of their own, since who works here is no customer: forgetting a customer leaves them, and they go
# with their owner's wish or departure (below, and tests/flows/test_shop_bell.py).
OF_STAFF = {("staff", "email_sealed"), ("staff", "phone_sealed")}
# Of systems of the shop's own, and chance on paper that nobody has entered yet.
OF_NOBODY = {("pad_tickets", "token_sealed"),
             *(("listeners", f"{one}_sealed") for one in ("address", "secret", "old_secret"))}  # fmt: skip


@dataclass
class Kept:
    """A house whose mail goes into a Maildir and whose log into a file, all below one folder."""

    house: House
    folder: Path

    def files(self) -> list[Path]:
        """Everything the installation keeps on this machine; its settings and key files hold nobody."""
        return [f for f in files_below(self.folder) if f.suffix not in (".key", ".toml")]

    def forget(self) -> forget.Forgotten:
        """The nightly run."""
        return forget.forget(self.house.ctx, self.house.system(), drop_copies=self.house.services.drop_copies)


@pytest.fixture
def kept(backend: Any, clock: Any, tmp_path: Path, tzdata_only: None) -> Iterator[Kept]:
    folder = tmp_path / "all"
    folder.mkdir()
    (folder / "logs").mkdir()
    handler = logging.FileHandler(folder / "logs" / "service.log")
    logging.getLogger().addHandler(handler)
    before = logging.getLogger().level
    logging.getLogger().setLevel(logging.INFO)
    url = f"sqlite:///{folder / 'main.db'}" if backend.name == "sqlite" else backend.url
    maildir = FolderChannel(folder / "Maildir")
    house = make_house(folder, url, clock=clock, channels={"email": maildir, "sms": SmsMailgate(maildir, GATEWAY)})
    logging.getLogger("shelfbell").info("the service began")
    yield Kept(house, folder)
    house.services.close()
    logging.getLogger().setLevel(before)
    logging.getLogger().removeHandler(handler)
    handler.close()


def live(house: House) -> tuple[str, list[str]]:
    """A whole repair of one person and one to tell; the ticket, and the texts that are about them."""
    ctx, owner = house.ctx, house.actor()
    done = house.check_in(
        DeviceForm("Kestrel pocket radio no 4471", fault="hums when the tram passes", price_agreed="30", paid=True,
                   condition="scratch beside the dial", accessories="leather case with strap"),
        name="Ines Farrow-Okonedo", email="ines.farrow@example.org", collectors=("Quentin Ashdown",),
        tell=PersonForm("Tobiah Marlowe", "07700 900123", "tobiah.marlowe@example.net"), once="pressed-twice",
    )  # fmt: skip
    ticket = done.ticket_ids[0]
    desk_notes.add_note(ctx, owner, ticket, text="she is deaf on the left ear")
    asked = questions.ask(ctx, owner, ticket, kind="price", wording="will it cost more than the radio", price="45")
    house.deliver(after=91)
    questions.answer(ctx, owner, asked, answer="accept", said_by="Ines on the phone at noon")
    at, key = house.clock(), "letter"
    hear(ctx, house.shop_id, Heard(
        "email", "ines.farrow@example.org", "my sister Wilhelmina collects it", at, key, "mail",
        subject="about the humming", letter_id="<herring-4471@mail.example.org>",
    ))  # fmt: skip
    hear(ctx, house.shop_id, Heard("sms", "07700 900123", "may I come after the ferry?", at, key + "2", "sms"))
    code_flow.send_code(ctx, owner, done.visit_id, purpose="price")
    with house.read() as unit:
        code = contact_codes.text_of(unit, contact_codes.newest_open(unit, done.visit_id, "price", now=house.clock()))
    house.deliver()
    code_flow.prove(ctx, owner, done.visit_id, purpose="price", typed=code)
    parts.arrive(ctx, owner, parts.need(ctx, owner, ticket, name="speaker cone for the Kestrel"))
    shelve(house, ticket)
    house.deliver(after=91)
    secret = token_of(house, ticket)
    handover.hand_back(ctx, owner, ticket_ids=[ticket], token=secret, checked="knows the scratch beside the dial")
    house.deliver(after=91)
    return ticket, [*ABOUT_INES, code, show_code(code), secret]


def sealed_values(connection: Any) -> list[bytes]:
    """Every ciphertext in the main database."""
    out = []
    for table in schema.metadata.sorted_tables:
        for column in table.c:
            if isinstance(column.type, LargeBinary):
                out += [bytes(v) for (v,) in connection.execute(select(column).where(column.is_not(None)))]
    return out


def test_forgetting_leaves_no_byte_of_a_person_in_any_file(kept: Kept) -> None:
    house = kept.house
    ticket, about = live(house)
    wanted = patterns(about)
    plant = kept.folder / "plant"
    plant.write_bytes(b"\n".join(wanted.values()))
    planted = len(hits([plant], wanted))
    plant.unlink()
    special = set_up.add_special_day(house.ctx, house.actor(), house.clock().date(), reason="Ines Farrow-Okonedo")
    in_database = [h for h in hits(kept.files(), wanted) if h[0].startswith("main.db")]
    set_up.drop_special_day(house.ctx, house.actor(), special)
    before = hits(kept.files(), wanted)
    with house.read() as unit:
        secret = {("ciphertext", str(n)): value for n, value in enumerate(sealed_values(unit.connection))}
    with house.ctx.db.vault._engine.connect() as keys:
        secret |= {("key", row.person_id): row.wrapped for row in keys.execute(select(data_keys))}
    in_keys = hits(kept.files(), {k: v for k, v in secret.items() if k[0] == "key"})
    house.clock.advance(QUARTER)
    done = kept.forget()
    after = hits(kept.files(), wanted)
    remains = hits(kept.files(), secret)
    print(f"FIGURE E1_bytes database={house.ctx.db.engine.dialect.name} patterns={len(wanted)} planted_found={planted} "
          f"before={len(before)} ciphertexts={len(secret)} files={len(kept.files())} hits={len(after)} "
          f"ciphertexts_left={len(remains)}")  # fmt: skip
    assert planted == len(wanted) and len(before) > 10 and in_keys
    assert bool(in_database) == house.ctx.db.is_sqlite
    assert done.confirmed and len(done.due) == 3 and done.counts["copies"] >= 4 and after == [] and remains == []
    claim = claims.find_claim(house.ctx.db, token_hash(about[-1]))
    assert claim is not None and claim.forgotten and claim.ticket_id == ticket  # an old link can say that it is over
    with house.read() as unit:  # the story stays, without a person in it
        left = tickets.get_ticket(unit, ticket)
        assert (left.phase, left.price_agreed, left.shelf, left.device) == ("handed_back", 4500, "", "")
        assert erasing.list_erasures(unit)[0].confirmed_at is not None
    assert list((kept.folder / "Maildir" / "new").iterdir()) == [] or not after


@pytest.mark.real
def test_the_heap_of_postgresql_holds_no_ciphertext_of_a_forgotten_person(kept: Kept) -> None:
    house = kept.house
    if house.ctx.db.is_sqlite:
        return
    live(house)

    with house.read() as unit:
        # Longer values are kept in pieces: the first bytes of each lie together in any case.
        secret = {("ciphertext", str(n)): value[:200] for n, value in enumerate(sealed_values(unit.connection))}
    before = len(hits(heap(house.ctx.db), secret))
    house.clock.advance(QUARTER)
    done = kept.forget()
    files = heap(house.ctx.db)
    after = hits(files, secret | patterns(ABOUT_INES))
    print(f"FIGURE E1_heap ciphertexts={len(secret)} before={before} files={len(files)} hits={len(after)}")
    assert done.confirmed and before >= len(secret) > 15 and after == []


def opened(url: str, vault: Any) -> tuple[int, int]:
    """How many sealed texts of a database file open with a vault, and how many do not."""
    engine, good, bad = open_engine(url, pooled=False), 0, 0
    owners = {table: owner for table, owner, _ in erasing.SEALED}
    with engine.connect() as connection:
        for table, owner in owners.items():
            for row in connection.execute(select(table)).mappings():
                for column in (c.name for c in table.c if isinstance(c.type, LargeBinary) and row[c.name]):
                    place = Place(table.name, row["id"], column.removesuffix("_sealed"))
                    try:
                        Opener(vault).open_bytes(row[owner], place, row[column])
                        good += 1
                    except NotFound:
                        bad += 1
    engine.dispose()
    return good, bad


def test_an_old_copy_of_the_database_opens_nothing_with_the_keys_of_today(kept: Kept) -> None:
    house = kept.house
    if not house.ctx.db.is_sqlite:
        return
    live(house)
    copy = kept.folder.parent / "backup.db"
    with sqlite3.connect(kept.folder / "main.db") as source, sqlite3.connect(copy) as target:
        source.backup(target)
    source.close()
    target.close()
    before, _ = opened(f"sqlite:///{copy}", house.ctx.db.vault)
    house.clock.advance(QUARTER)
    assert kept.forget().confirmed
    after, refused = opened(f"sqlite:///{copy}", house.ctx.db.vault)
    print(f"FIGURE E2_old_copy opened_before={before} refused={refused} opened_after={after}")
    assert before > 15 and refused == before and after == 0
    # The copy's own bytes are ciphertext only, and no plain text of the person.
    assert hits([copy], patterns(ABOUT_INES)) == []


def test_forgetting_is_not_reported_as_done_while_a_reader_sees_the_old_pages(kept: Kept) -> None:
    house, early = kept.house, 0
    live(house)
    house.clock.advance(QUARTER)
    with house.read() as reader:
        reader.connection.execute(select(schema.messages)).all()
        began = time.monotonic()
        first = kept.forget()
        took = time.monotonic() - began
        with house.read() as unit:
            early += first.confirmed or erasing.list_erasures(unit)[0].confirmed_at is not None
        second = kept.forget()
        early += second.confirmed
    third = kept.forget()
    print(f"FIGURE E3_reader database={house.ctx.db.engine.dialect.name} reported_early={early} "
          f"later_confirmed={int(third.confirmed)}")  # fmt: skip
    assert early == 0 and len(first.due) == 3 and not second.due and third.confirmed
    assert took < 4, "whoever comes while a rewriting waits for a table waits behind it"  # 5 s with a longer patience


@pytest.mark.long
@pytest.mark.real
def test_a_transaction_that_was_prepared_and_left_keeps_old_bytes_and_so_the_proof_waits(
    database_urls: Callable[[str], str],
) -> None:
    """It is no session, so no list of those shows it; what it may still see, VACUUM FULL copies too."""
    engine = open_engine(database_urls("postgresql"))
    name, found = uuid4().hex, list[tuple[bool, int]]()

    def say(*statements: str) -> None:
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as line:
            for one in statements:
                line.exec_driver_sql(one)

    def look() -> None:
        proved = rewrite_tables(engine, ["left_over"])
        with engine.connect() as line:
            octets = line.exec_driver_sql("select pg_read_binary_file(pg_relation_filepath('left_over'))").scalar_one()
        found.append((proved, bytes(octets).count(b"Ines Farrow")))

    say("create table left_over (words text)", "insert into left_over values ('Ines Farrow')")
    say("begin", "create table other (n int)", f"prepare transaction '{name}'")
    try:
        say("update left_over set words = ''")
        look()
    finally:
        say(f"rollback prepared '{name}'")
    look()
    say("drop table left_over")
    engine.dispose()
    assert found == [(False, 1), (True, 0)]


def test_a_run_cut_off_at_any_statement_or_between_is_finished_by_the_next(kept: Kept) -> None:
    from tests.flows.test_all_or_nothing import Cut, cut_at

    house = kept.house
    _, about = live(house)
    house.clock.advance(QUARTER)

    def boom(_: object) -> int:
        raise Cut

    with pytest.raises(Cut):
        forget.forget(house.ctx, house.system(), drop_copies=boom)
    assert len(forget.forget(house.ctx, house.system(), dry_run=True).due) == 3  # still due: the rows are not empty
    assert any((kept.folder / "Maildir" / "new").iterdir())
    n = cuts = 0
    while True:
        n += 1
        with cut_at(house.ctx.db.engine, n):
            try:
                done = kept.forget()
                break
            except Cut:
                cuts += 1
    done = kept.forget() if not done.confirmed else done
    left = hits(kept.files(), patterns(about))
    print(f"FIGURE forget_cut database={house.ctx.db.engine.dialect.name} cuts={cuts} hits={len(left)}")
    assert cuts > 10 and done.confirmed and left == []
    assert [f for f in (kept.folder / "Maildir" / "new").iterdir() if b"ines" in f.read_bytes().lower()] == []


def test_a_dry_run_names_who_is_due_and_changes_nothing(kept: Kept) -> None:
    house = kept.house
    live(house)

    def state() -> list[Any]:
        with house.read() as unit:
            rows = [unit.connection.execute(select(t)).all() for t in schema.metadata.sorted_tables]
        with house.ctx.db.vault._engine.connect() as keys:
            return [*rows, keys.execute(select(data_keys)).all()]

    house.clock.advance(QUARTER - 2 * 86400)
    assert forget.forget(house.ctx, house.system(), dry_run=True).due == ()  # the period is not over
    house.clock.advance(2 * 86400)
    before, names = state(), {f.name for f in kept.files()}
    dry = forget.forget(house.ctx, house.system(), dry_run=True)
    assert len(dry.due) == 3 and dry.dry_run and not dry.confirmed
    assert state() == before and {f.name for f in kept.files()} == names


@pytest.mark.parametrize("why", ["unpaid", "uncollected"])
def test_who_owes_or_left_a_device_behind_is_kept_with_the_reason(kept: Kept, why: str) -> None:
    house = kept.house
    done = house.check_in(DeviceForm("radio", price_agreed="30", deposit="10"))
    ticket = done.ticket_ids[0]
    shelve(house, ticket)
    if why == "unpaid":
        handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket], token=token_of(house, ticket))
    else:
        leave(house.ctx, house.actor(), ticket)
    house.clock.advance(QUARTER)
    night = kept.forget()
    assert night.due == () and [reason for _, reason in night.kept] == [why] and night.confirmed
    if why == "unpaid":  # a deposit of the whole price is a payment
        desk_notes.record_money(house.ctx, house.actor(), ticket, deposit="30")
        assert len(kept.forget().due) == 1


def test_asking_to_be_forgotten_takes_the_name_out_of_messages_sealed_for_somebody_else(kept: Kept) -> None:
    house = kept.house
    ticket, _ = live(house)
    with house.read() as unit:
        whole = tickets.get_ticket(unit, ticket)
        told = visits.visit_people(unit, whole.visit_id)["tell"][0]
    assert told != whole.person_id
    assert forget.erase_person(house.ctx, house.actor(), told, drop_copies=house.services.drop_copies)
    assert hits(kept.files(), patterns(["Tobiah Marlowe", "tobiah.marlowe@example.net"])) == []
    with house.read() as unit:
        assert people.get_person(unit, told).forgotten and tickets.get_ticket(unit, ticket).device
        rows = unit.connection.execute(select(schema.messages).where(schema.messages.c.person_id == told)).all()
        assert rows and all(row.bytes_sealed is None and row.sentence_sealed is None for row in rows)
        assert erasing.list_erasures(unit)[0].reason == "asked"


def test_no_table_says_anything_of_a_forgotten_person_in_clear(kept: Kept) -> None:
    house = kept.house
    _, about = live(house)
    with house.ctx.db.write(house.shop_id) as unit:  # a gateway may call a message what it likes
        theirs = update(schema.messages).where(schema.messages.c.person_id != "", schema.messages.c.channel == "sms")
        assert unit.connection.execute(theirs.values(provider_id="gw-447700900123-1")).rowcount
    house.clock.advance(QUARTER)
    kept.forget()
    searched = found = 0
    with house.read() as unit:
        for table in schema.metadata.sorted_tables:
            for row in unit.connection.execute(select(table)).mappings():
                searched += 1
                found += any(secret.lower() in repr(dict(row)).lower() for secret in about)
        # No column of text was forgotten when the list of sealed columns was written.
        sealed = {(t.name, c) for t, _, columns in erasing.SEALED for c in columns}
        binary = {
            (t.name, c.name) for t in schema.metadata.sorted_tables for c in t.c if isinstance(c.type, LargeBinary)
        }
    loose = {(t.name, c.name) for t in schema.metadata.sorted_tables for c in t.c
             if isinstance(c.type, String) and (c.type.length or 999) > 80}  # fmt: skip
    print(f"FIGURE forgotten_rows searched={searched} hits={found} sealed_columns={len(binary)}")
    assert found == 0 and searched > 20 and binary - sealed == OF_STAFF | OF_NOBODY
    # Wide texts in clear, each known: staff and the shop write them about themselves, or they are cleaned (receipts)
    # and emptied (receipts, provider_id), or they are numbers and identifiers (stamp).
    assert loose <= {("special_days", "reason"), ("staff", "password_hash"), ("staff", "pin_hash"),
                     ("forecast_runs", "stamp"), ("messages", "message_id"), ("messages", "provider_id"),
                     ("receipts", "text"), ("retention_rules", "source"), ("wordings", "text"),
                     *(("uncollected_rules", told) for told in ("name", "form", "source"))}  # fmt: skip


def test_what_is_kept_of_staff_outlives_every_customer_and_leaves_no_byte_when_they_leave(kept: Kept) -> None:
    house, owner = kept.house, kept.house.actor()
    hers = ["ada.wren@example.net", *phone_forms("+447700900777")]
    ada = staff.add_staff(house.ctx, owner, name="A. W.", role="technician", password="four kind words")
    staff_bell.set_bell(house.ctx, owner, ada, email=hers[0], phone="07700 900777", by="both")
    live(house)
    house.clock.advance(QUARTER)
    assert kept.forget().confirmed
    with house.read() as unit:
        assert rings.addresses(unit, [ada])[ada] == {"email": hers[0], "sms": "+447700900777"}
        row = unit.connection.execute(select(schema.staff).where(schema.staff.c.id == ada)).mappings().one()
    secret = {(f"{table} {column}", ""): bytes(row[column]) for table, column in OF_STAFF}
    assert hits(kept.files(), patterns(hers)) == []  # sealed from the beginning
    before = hits(kept.files(), secret) if house.ctx.db.is_sqlite else [*secret]
    staff.change_staff(house.ctx, owner, ada, active=False, drop_copies=house.services.drop_copies)
    assert forget.confirm(house.ctx, house.system())
    with house.read() as unit:
        row = unit.connection.execute(select(schema.staff).where(schema.staff.c.id == ada)).mappings().one()
    after = hits(kept.files(), secret)
    print(f"FIGURE forgotten_staff columns={len(secret)} before={len(before)} hits={len(after)}")
    assert len(before) >= len(secret) and after == [] and {row[column] for _, column in OF_STAFF} == {None}
    with pytest.raises(NotFound):
        house.ctx.db.vault.data_key(ada)


def test_what_a_stranger_wrote_leaves_no_byte_after_its_days(kept: Kept) -> None:
    house = kept.house
    wrote = ["ute.herzog@example.net", "do you mend concertinas", "a leaking bellows", "k7-1@mail.example.net"]
    new = hear(house.ctx, house.shop_id, Heard(
        "email", wrote[0], wrote[1], house.clock(), "letter", "mail", subject=wrote[2], letter_id=f"<{wrote[3]}>"
    ))  # fmt: skip
    with house.read() as unit:
        sealed = [bytes(v) for v in unit.connection.execute(select(schema.replies.c.text_sealed)).scalars()]
    house.clock.advance(31 * 86400)
    assert replies.forget_strangers(house.ctx, house.system(), keep_days=30) == 1
    assert forget.confirm(house.ctx, house.system())
    found = hits(kept.files(), patterns(wrote))
    copies = hits(kept.files(), {("ciphertext", ""): sealed[0]}) if house.ctx.db.is_sqlite else []
    print(f"FIGURE strangers_letters hits={len(found)} ciphertexts={len(copies)}")
    assert found == [] and copies == []
    with pytest.raises(NotFound):
        house.ctx.db.vault.data_key(new)
    with house.read() as unit:
        assert erasing.list_erasures(unit)[0].reason == "strangers_letters"


def test_the_maildir_alone_would_have_told_who_it_was(kept: Kept, tmp_path: Path) -> None:
    """The proof of the proof: with copies left alone the same search finds the person."""
    _, about = live(kept.house)
    shutil.copytree(kept.folder / "Maildir", tmp_path / "copy")
    kept.house.clock.advance(QUARTER)
    assert forget.forget(kept.house.ctx, kept.house.system()).confirmed
    assert hits(files_below(kept.folder / "Maildir"), patterns(about))


def test_a_leak_in_any_table_or_file_is_found_by_the_search(kept: Kept) -> None:
    """The proof of the proof: planted once in each place, also where what was sent twice or a source left is kept."""
    if not kept.house.ctx.db.is_sqlite:
        return
    words = (String, JSON, LargeBinary)
    tables = [one for one in schema.metadata.sorted_tables if any(isinstance(c.type, words) for c in one.c)]
    named = {table.name: f"Ines Farrow-{table.name}" for table in tables}
    with closing(sqlite3.connect(kept.folder / "main.db")) as line:  # its own line: no foreign key is looked at
        line.execute("pragma ignore_check_constraints=1")
        for table in tables:
            values = [named[table.name] if isinstance(c.type, words) else 0 for c in table.c]
            line.execute(f"insert into {table.name} values ({', '.join('?' * len(values))})", values)
        line.commit()
        # A copy that a restore makes, a backup's, and what is written beside: names that begin and end like theirs.
        left = [f"{UNFINISHED}x/shelfbell.db", f"{SCRATCH}x", "erased.txt", ".shelfbell-1.age.unproved", "a.db-journal"]
        for name in left:
            (kept.folder / name).parent.mkdir(exist_ok=True)
            (kept.folder / name).write_bytes(f"..Ines Farrow in {name}..".encode())
        found = {text for _, text, form in hits(kept.files(), patterns(named.values())) if form == "utf-8"}
    files = [name for name in left if hits(kept.files(), patterns([f"Ines Farrow in {name}"]))]
    print(f"FIGURE E1_planted tables={len(tables)} found={len(found)} files={len(left)} files_found={len(files)}")
    assert found == set(named.values()) and files == left and {"idempotency", "source_states"} <= set(named)
