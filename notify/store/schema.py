"""Every table of the main database. Longer than other rooms: one place to see all that is kept.

Each table carries `shop_id` and a composite key, so that one shop's identifier finds nothing in
another's rows. Columns of type LargeBinary named `*_sealed` hold text encrypted under a person's
own data key (store/vault.py); everything else is identifiers, codes, times and numbers.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Float,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Time,
    UniqueConstraint,
    text,
)

from notify.store.types import Instant

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _id(name: str = "id", *, null: bool = False) -> Column[Any]:
    return Column(name, String(36), nullable=null)


def _code(name: str, *, default: str = "") -> Column[Any]:
    return Column(name, String(40), nullable=False, server_default=text(f"'{default}'"))


def _flag(name: str) -> Column[Any]:
    return Column(name, Boolean, nullable=False, default=False)


def _sealed(name: str) -> Column[Any]:
    return Column(f"{name}_sealed", LargeBinary, nullable=True)


def _at(name: str, *, null: bool = False) -> Column[Any]:
    return Column(name, Instant, nullable=null)


def _table(name: str, *items: Any, key: tuple[str, ...] = ("id",), parents: dict[str, str] | None = None) -> Table:
    """A table of one shop: `shop_id`, the given columns, the composite key, and links to `parents`."""
    links = [
        ForeignKeyConstraint(["shop_id", column], [f"{parent}.shop_id", f"{parent}.id"])
        for column, parent in (parents or {}).items()
    ]
    return Table(name, metadata, _id("shop_id"), *items, PrimaryKeyConstraint("shop_id", *key), *links)


shops = Table(
    "shops",
    metadata,
    Column("id", String(36), primary_key=True),
    _at("created_at"),
    Column("changed", String(36), nullable=False),  # another text after every change of settings, hours or days
    Column("booked", Integer, nullable=False, server_default=text("0")),  # raised with every place taken or given up
)
# Another number after every transaction that changed anything that staff may see: shown.py.
shown_stamps = Table(
    "shown_stamps",
    metadata,
    Column("shop_id", String(36), primary_key=True),
    Column("stamp", BigInteger, nullable=False),
)
# Dated rows: the newest row whose day has come counts.
shop_settings = _table(
    "shop_settings",
    Column("key", String(60), nullable=False),
    Column("valid_from", Date, nullable=False),
    Column("value", JSON, nullable=False),
    key=("key", "valid_from"),
)
hours = _table(
    "hours",
    _id(),
    Column("weekday", Integer, nullable=False),
    Column("opens", Time, nullable=False),
    Column("closes", Time, nullable=False),
    Column("capacity", Integer, nullable=False),
    Column("valid_from", Date, nullable=False),
    Column("valid_until", Date),
    CheckConstraint("weekday between 0 and 6", name="weekday"),
    CheckConstraint("capacity >= 0", name="capacity"),
)
special_days = _table(
    "special_days",
    _id(),
    Column("day", Date, nullable=False),
    Column("opens", Time),
    Column("closes", Time),
    Column("capacity", Integer, nullable=False),
    Column("reason", String(120), nullable=False),
    _flag("as_usual"),  # open as every week although it is a public holiday
)
staff = _table(
    "staff",
    _id(),
    Column("name", String(80), nullable=False),
    _code("role"),
    Column("password_hash", String(200), nullable=False),
    Column("pin_hash", String(200), nullable=False),
    _flag("active"),
    _flag("at_bench"),  # repairs devices: one of the technicians that the forecast counts on
    _at("created_at"),
    # Where the shop's bell rings for this person, sealed under a key of their own (the vault's, named by `id`).
    _sealed("email"),
    _sealed("phone"),
    _code("rings_by"),
    UniqueConstraint("shop_id", "name"),
    CheckConstraint("role in ('counter','technician','owner')", name="role"),
    CheckConstraint("rings_by in ('','email','sms','both')", name="rings_by"),
)
sessions = _table(
    "sessions",
    Column("id", String(64), nullable=False),
    _id("staff_id"),
    _at("created_at"),
    _at("last_seen_at"),
    _at("expires_at"),
    parents={"staff_id": "staff"},
)
# No personal data: the key is a keyed hash of who tries what.
throttles = Table(
    "throttles",
    metadata,
    Column("key", String(64), primary_key=True),
    Column("count", Integer, nullable=False),
    Column("window_from", Instant, nullable=False),
)

people = _table(
    "people",
    _id(),
    Column("language", String(8), nullable=False),
    _sealed("name"),
    _flag("child"),  # the contact of a child: nothing optional is ever offered there
    _at("created_at"),
    _at("told_at", null=True),  # when they were told, once, that they will soon be forgotten
    _at("forgotten_at", null=True),
)
contacts = _table(
    "contacts",
    _id(),
    _id("person_id"),
    _code("channel"),
    _sealed("address"),
    Column("lookup", String(64)),
    Column("lookup_key", String(20)),  # the name of the index key that `lookup` was made with; none once it was erased
    _flag("in_repaired_device"),
    _at("undeliverable_at", null=True),
    _code("undeliverable_why"),
    # Since when the address is suppressed, and by what way somebody said so: kept true by store/suppressions.py.
    _at("suppressed_at", null=True),
    _code("suppressed_how"),
    _at("created_at"),
    _at("replaced_at", null=True),
    Index("ix_contacts_lookup", "shop_id", "lookup"),
    Index("ix_contacts_person", "shop_id", "person_id"),
    Index("ix_contacts_lookup_key", "lookup_key", "shop_id", "id"),
    CheckConstraint("channel in ('email','sms')", name="channel"),
    parents={"person_id": "people"},
)
# Append-only, which the database itself sees to (store/migrations): only `lookup` may ever change, and a row may go
# only once its person is forgotten. The current state is the newest row per person, channel and purpose.
consents = _table(
    "consents",
    _id(),
    _id("person_id"),
    _code("channel"),
    _code("purpose"),
    _flag("allowed"),
    _code("basis"),
    _code("wording"),
    Column("language", String(8), nullable=False),
    _code("how"),
    _id("staff_id", null=True),
    # Which address it was about, as the blind index of contacts has it, and the reply, message or visit that shows it.
    Column("lookup", String(64)),
    _id("evidence_id", null=True),
    _at("at"),
    Column("seq", Integer, nullable=False),
    Index("ix_consents_person", "shop_id", "person_id"),
    parents={"person_id": "people"},
)
# The exact words that a consent's `wording` stands for, in each language, as they were when they were first shown.
wordings = _table(
    "wordings",
    _code("wording"),
    Column("language", String(8), nullable=False),
    Column("text", String(2000), nullable=False),
    _at("first_shown_at"),
    key=("wording", "language"),
)
# Who wants nothing more by a channel, also when they are forgotten: the keyed hash of the address, and which key
# (core/suppression.py). An opt-in ends it; nothing is ever removed.
suppressions = _table(
    "suppressions",
    _id(),
    _code("channel"),
    Column("hash", String(64), nullable=False),
    _code("key_id"),
    _code("reason"),
    _at("at"),
    _id("staff_id", null=True),
    _at("ended_at", null=True),
    _code("ended_how"),
    Index("ix_suppressions_hash", "shop_id", "hash"),
    CheckConstraint("channel in ('email','sms')", name="channel"),
)
# How long which kind of data is kept, from when it counts, and why: the newest row whose day has come counts.
retention_rules = _table(
    "retention_rules",
    _code("data_class"),
    Column("valid_from", Date, nullable=False),
    Column("period", String(60), nullable=False),
    Column("clock", String(40), nullable=False),  # an anchor of core/durations.runs_out
    Column("exceptions", JSON, nullable=False),  # reasons to keep beyond it, codes of core/retention.EXCEPTIONS
    Column("source", String(300), nullable=False),
    Column("checked_on", Date),
    _at("made_at"),
    _id("staff_id", null=True),
    key=("data_class", "valid_from"),
)
# A reason to keep somebody's data beyond its time, with the day on which somebody looks again whether it still holds.
data_holds = _table(
    "data_holds",
    _id(),
    _id("person_id"),
    _id("visit_id"),
    _code("reason"),
    _sealed("note"),
    _at("made_at"),
    Column("review_on", Date, nullable=False),
    Column("rung_for", Date),  # the review day of which the shop was told
    _at("ended_at", null=True),
    _id("staff_id", null=True),
    _id("ended_by", null=True),
    Index("ix_data_holds_person", "shop_id", "person_id"),
    Index("ix_data_holds_visit", "shop_id", "visit_id"),
    CheckConstraint("reason in ('dispute','unpaid','uncollected','legal')", name="reason"),
    parents={"person_id": "people"},
)
# What somebody asked by the law about their own data, and by when it must be answered.
requests = _table(
    "requests",
    _id(),
    Column("seq", Integer, nullable=False),
    _id("person_id"),
    _id("visit_id"),
    _code("kind"),
    _code("state"),
    _code("how"),
    _at("received_at"),
    _at("proved_at", null=True),  # when a code to the stored contact was typed
    Column("due_on", Date, nullable=False),
    Column("extended_to", Date),
    _sealed("note"),  # what is to be corrected, or why it was refused
    _code("reason"),
    _at("ended_at", null=True),
    _at("lifted_at", null=True),  # of a restriction that was done: since when the data are no longer set aside
    _id("staff_id", null=True),
    UniqueConstraint("shop_id", "seq"),
    Index("ix_requests_person", "shop_id", "person_id"),
    CheckConstraint("kind in ('access','correction','erasure','restriction','objection')", name="kind"),
    CheckConstraint("state in ('open','done','refused','withdrawn')", name="state"),
    parents={"person_id": "people"},
)
Index(
    "ix_requests_open",
    requests.c.shop_id,
    requests.c.due_on,
    sqlite_where=text("state = 'open'"),
    postgresql_where=text("state = 'open'"),
)
# Who looked at an address or number in clear, where, and how often in a row. Identifiers only.
contact_reads = _table(
    "contact_reads",
    _id(),
    _code("reader_kind"),
    _id("reader_id"),
    _id("person_id"),
    _id("contact_id", null=True),
    _code("place"),
    _at("at"),
    _at("last_at"),
    Column("times", Integer, nullable=False),
    Index("ix_contact_reads_person", "shop_id", "person_id"),
    Index("ix_contact_reads_at", "shop_id", "at"),
)
visits = _table(
    "visits",
    _id(),
    _flag("waits_here"),
    _at("opened_at"),
    Column("idempotency", String(64)),
    Column("changed", Integer, nullable=False, server_default=text("0")),  # raised by what no event tells: stamps.py
    UniqueConstraint("shop_id", "idempotency"),
)
visit_people = _table(
    "visit_people",
    _id("visit_id"),
    _id("person_id"),
    _code("role"),
    # With the visit, so that it holds all that is asked of it: else SQLite, without statistics, reads the whole shop.
    Index("ix_visit_people_person", "shop_id", "person_id", "visit_id"),
    key=("visit_id", "role", "person_id"),
    parents={"visit_id": "visits", "person_id": "people"},
)
tickets = _table(
    "tickets",
    _id(),
    _id("visit_id"),
    _id("person_id"),
    Column("number", String(16), nullable=False),
    _code("phase"),
    _code("outcome"),
    _code("reason"),
    _code("device_class", default="other"),
    _sealed("device"),
    _sealed("fault"),
    _sealed("condition"),
    _sealed("accessories"),
    Column("price_agreed", BigInteger),
    Column("price_limit", BigInteger),
    Column("deposit", BigInteger),
    _flag("paid"),
    Column("shelf", String(20), nullable=False, server_default=text("''")),
    Column("safety", JSON, nullable=False),
    _id("follows_id", null=True),
    _id("technician_id", null=True),
    _id("kind_id", null=True),
    # Open seconds of hands-on work before the stint that runs, if one does.
    Column("worked_seconds", Integer, nullable=False, server_default=text("0")),
    _at("promise_at", null=True),
    Column("token_hash", String(64)),
    _sealed("token"),
    _at("created_at"),
    _at("phase_since"),
    Column("version", Integer, nullable=False),
    UniqueConstraint("shop_id", "number"),
    UniqueConstraint("token_hash"),
    Index("ix_tickets_visit", "shop_id", "visit_id"),
    Index("ix_tickets_phase", "shop_id", "phase", "phase_since"),
    Index("ix_tickets_person", "shop_id", "person_id"),
    CheckConstraint(
        "phase in ('taken_in','inspecting','in_line','on_bench','proving','on_shelf','handed_back','left_behind')",
        name="phase",
    ),
    CheckConstraint("outcome in ('','repaired','unrepaired')", name="outcome"),
    parents={"visit_id": "visits", "person_id": "people"},
)
# Warranty returns are few.
Index(
    "ix_tickets_follows",
    tickets.c.shop_id,
    tickets.c.follows_id,
    sqlite_where=text("follows_id is not null"),
    postgresql_where=text("follows_id is not null"),
)
events = _table(
    "events",
    _id(),
    Column("seq", Integer, nullable=False),
    _id("visit_id"),
    _id("ticket_id", null=True),
    _code("kind"),
    _at("at"),
    _at("recorded_at"),
    _code("actor_kind"),
    _id("actor_id", null=True),
    Column("codes", JSON, nullable=False),
    UniqueConstraint("shop_id", "seq"),
    Index("ix_events_ticket", "shop_id", "ticket_id", "seq"),
    Index("ix_events_visit", "shop_id", "visit_id", "seq"),
    parents={"visit_id": "visits"},
)
# Handovers alone: what the counter's capacity is reckoned from, without reading the whole story.
Index(
    "ix_events_handover",
    events.c.shop_id,
    events.c.at,
    sqlite_where=text("kind = 'handover_done'"),
    postgresql_where=text("kind = 'handover_done'"),
)
notes = _table(
    "notes",
    _id(),
    _id("ticket_id"),
    _id("person_id"),
    _sealed("text"),
    _at("at"),
    _id("staff_id", null=True),
    _id("event_id", null=True),
    Index("ix_notes_ticket", "shop_id", "ticket_id"),
    parents={"ticket_id": "tickets"},
)
# Wrong secrets at the desk are few, and the day sheet asks for the newest ones each minute.
Index(
    "ix_events_refused",
    events.c.shop_id,
    events.c.at,
    sqlite_where=text("kind = 'handover_refused'"),
    postgresql_where=text("kind = 'handover_refused'"),
)
questions = _table(
    "questions",
    _id(),
    _id("ticket_id"),
    _id("person_id"),
    _code("kind"),
    _sealed("wording"),
    Column("price", BigInteger),
    _id("part_id", null=True),
    _code("state"),
    _code("answer"),
    _at("asked_at"),
    _at("expires_at"),
    _at("answered_at", null=True),
    _code("answered_how"),
    _sealed("said_by"),
    _id("staff_id", null=True),
    Index("ix_questions_ticket", "shop_id", "ticket_id"),
    CheckConstraint("state in ('open','answered','taken_back','withdrawn','expired')", name="state"),
    parents={"ticket_id": "tickets"},
)
suppliers = _table(
    "suppliers",
    _id(),
    Column("name", String(80), nullable=False),
    Column("cutoff", Time),
    Column("delivers_at", Time),
    Column("days", Integer, nullable=False),
    # Where its cut-off counts (empty: as in the shop), the days on which it works (Monday first, as numpy's weekmask),
    # its own closed dates, the place whose holidays it keeps, and whether a box that finds the shop shut comes again
    # on its next working day.
    Column("zone", String(60), nullable=False, server_default=text("''")),
    Column("working_days", String(7), nullable=False, server_default=text("'1111100'")),
    Column("closed_days", JSON, nullable=False, default=list),
    _code("holidays_of"),
    _flag("redelivers"),
    # How often a parcel came on the day it was due, or 1, 2, 3 (core/ready.DELAYS) working days later, or still later.
    Column("delays", JSON, nullable=False, default=list),
    UniqueConstraint("shop_id", "name"),
)
# What is repaired, with the minutes that it usually takes on the bench, and what was learned of it: the number, the sum
# and the sum of squares of log minutes of its past jobs.
repair_kinds = _table(
    "repair_kinds",
    _id(),
    Column("name", String(80), nullable=False),
    Column("minutes", Integer, nullable=False),
    _code("device_class"),
    _flag("active"),
    Column("learned", Integer, nullable=False, server_default=text("0")),
    Column("learned_sum", Float, nullable=False, server_default=text("0")),
    Column("learned_squares", Float, nullable=False, server_default=text("0")),
    _flag("catch_all"),  # the kind of every ticket that names none
    UniqueConstraint("shop_id", "name"),
    CheckConstraint("minutes between 1 and 6000", name="minutes"),
)
Index(
    "uq_repair_kinds_catch_all",
    repair_kinds.c.shop_id,
    unique=True,
    sqlite_where=text("catch_all"),
    postgresql_where=text("catch_all"),
)
# Finished repairs to learn from: our own, and those of a shop's history that were read in.
past_jobs = _table(
    "past_jobs",
    _id(),
    _id("kind_id"),
    _id("ticket_id", null=True),
    Column("minutes", Float, nullable=False),
    _at("ended_at"),
    _code("source"),
    _flag("counts"),  # not kept out as absurd (core/past_jobs.py)
    Column("digest", String(64)),  # of the line read in, so that the same file twice teaches nothing twice
    Index("ix_past_jobs_kind", "shop_id", "kind_id", "ended_at"),
    Index("ix_past_jobs_ended", "shop_id", "ended_at"),
    UniqueConstraint("shop_id", "ticket_id"),
    UniqueConstraint("shop_id", "digest"),
    CheckConstraint("minutes >= 0", name="minutes"),
    CheckConstraint("source in ('own','import')", name="source"),
    parents={"kind_id": "repair_kinds"},
)
# When somebody who repairs is not here. Never why.
absences = _table(
    "absences",
    _id(),
    _id("staff_id"),
    _at("starts_at"),
    _at("ends_at"),
    Index("ix_absences_ends", "shop_id", "ends_at"),
    CheckConstraint("starts_at < ends_at", name="ends"),
    parents={"staff_id": "staff"},
)
# The newest forecast of each ticket in work (core/ready.Forecast). No history: what was told is kept with the promise.
forecasts = _table(
    "forecasts",
    _id("ticket_id"),
    _at("made_at"),
    _code("without"),  # core/ready.Without: why nothing can be promised; empty when something can
    Column("grid", JSON, nullable=False),  # the quantiles of core/ready.LEVELS, whole seconds since 1970 UTC; or empty
    Column("level", Float, nullable=False),  # asked for so that the wanted share is kept
    _at("quantile_at", null=True),
    _at("promise_at", null=True),  # the same on a tick of the counter
    Column("chance", Float),  # that the promise which stands is kept
    _code("decides"),  # core/ready.Decides
    Column("seed", BigInteger, nullable=False),
    _code("model"),
    Column("inputs", String(64), nullable=False),
    key=("ticket_id",),
    parents={"ticket_id": "tickets"},
)
# When the shop's forecasts were made last, from which state of its facts, and when time alone changes them.
forecast_runs = Table(
    "forecast_runs",
    metadata,
    Column("shop_id", String(36), primary_key=True),
    Column("ran_at", Instant, nullable=False),
    Column("stamp", String(120), nullable=False),
    Column("next_at", Instant, nullable=True),
    Column("tickets", Integer, nullable=False),
    Column("ordered_at", Instant, nullable=True),  # the `ran_at` after which a better bench order was looked for last
)
# Every time that was promised, with the forecast behind it, and what became of it.
promises = _table(
    "promises",
    _id(),
    _id("ticket_id"),
    Column("turn", Integer, nullable=False),  # 1 is the first one of its ticket
    # The one of its ticket that is scored: the first that staff did not take back at once.
    _flag("scored"),
    _at("made_at"),
    _at("promise_at"),
    _code("made_by"),
    _code("why"),
    Column("chance", Float),  # of being kept, as it seemed when it was made
    Column("level", Float),  # the rest as in `forecasts`; empty where nothing was forecast
    _at("quantile_at", null=True),
    Column("grid", JSON, nullable=False),
    Column("seed", BigInteger),
    _code("model"),
    Column("inputs", String(64), nullable=False, server_default=text("''")),
    # How it ended: the device was ready. `left_out` says why it is not scored.
    _at("ready_at", null=True),
    _code("left_out"),
    Column("pit", Float),  # where the ready time fell in the forecast, 0 to 1
    _at("settled_at", null=True),  # when its time was seen to have passed
    _at("warned_at", null=True),
    UniqueConstraint("shop_id", "ticket_id", "turn"),
    Index("ix_promises_promise", "shop_id", "promise_at"),
    parents={"ticket_id": "tickets"},
)
Index(
    "ix_promises_unsettled",
    promises.c.shop_id,
    promises.c.promise_at,
    sqlite_where=text("settled_at is null"),
    postgresql_where=text("settled_at is null"),
)
# The order of the bench: one suggestion at most, and the one that staff took and that counts.
bench_orders = _table(
    "bench_orders",
    _id(),
    _at("made_at"),
    _code("state"),
    Column("tickets", JSON, nullable=False),
    Column("by_hand", JSON, nullable=False, default=list),  # those of them that staff put first themselves
    Column("gain", Float, nullable=False),
    Column("kept_before", Float, nullable=False),
    Column("kept_after", Float, nullable=False),
    _id("moved_id", null=True),
    _code("why"),
    Column("inputs", String(64), nullable=False),  # a hash of what it was worked out from
    _id("before_id", null=True),  # the order that stood before this one, to go back to
    _at("settled_at", null=True),
    _id("staff_id", null=True),
    CheckConstraint("state in ('suggested','standing','refused','old')", name="state"),
)
for _state in ("suggested", "standing"):
    Index(
        f"ix_bench_orders_{_state}",
        bench_orders.c.shop_id,
        unique=True,
        sqlite_where=text(f"state = '{_state}'"),
        postgresql_where=text(f"state = '{_state}'"),
    )
parts = _table(
    "parts",
    _id(),
    _id("ticket_id"),
    _id("person_id"),
    _sealed("name"),
    Column("label", String(16), nullable=False),
    _code("state"),
    _id("supplier_id", null=True),
    _at("needed_at"),
    _at("ordered_at", null=True),
    _at("due_at", null=True),
    _at("arrived_at", null=True),
    # Of its order line: the supplier's name of the article, the shop's order, the packing slip that it comes with, and
    # what one costs the shop in its minor unit. None of it is about a person.
    Column("article", String(60), nullable=False, server_default=text("''")),
    Column("order_ref", String(60), nullable=False, server_default=text("''")),
    Column("slip", String(60), nullable=False, server_default=text("''")),
    Column("cost", BigInteger),
    _at("ended_at", null=True),  # found dead or wrong, sent back, or no longer needed
    # The part in whose place it is needed, since that one was dead or another one than was ordered.
    _id("instead_of", null=True),
    Column("late_days", Integer),  # how late its parcel was counted as (suppliers.delays); None: not counted
    _at("told_late_at", null=True),  # when the shop's bell rang because it had not come
    Column(
        "changes", Integer, nullable=False, server_default=text("0")
    ),  # of any kind, so that none acts on a stale page
    UniqueConstraint("shop_id", "label"),
    Index("ix_parts_ticket", "shop_id", "ticket_id"),
    Index("ix_parts_parcel", "shop_id", "supplier_id", "due_at"),
    Index("ix_parts_due", "shop_id", "state", "due_at"),
    parents={"ticket_id": "tickets"},
)
# A place in a slot: the partial unique index is what makes the last place go to one customer only.
bookings = _table(
    "bookings",
    _id(),
    _id("visit_id"),
    _id("person_id"),
    Column("local_start", String(16), nullable=False),
    Column("zone", String(60), nullable=False),
    Column("fold", Integer, nullable=False),
    _at("start_at"),
    _at("end_at"),
    Column("seat", Integer, nullable=False),
    _code("state"),
    Column("revision", Integer, nullable=False),
    Column("changes", Integer, nullable=False, default=0),  # every one of them, also one that takes a change back
    Column("uid", String(64), nullable=False),
    Column("organizer_token", String(64), nullable=False),
    _at("made_at"),
    _at("changed_at"),
    _flag("invited"),
    _flag("reminded"),
    # What RFC 5546 2.1.5 has kept: the DTSTAMP and the contact of the newest calendar object that left, and of the
    # newest answer to it its SEQUENCE, its DTSTAMP and what it said (core/itip.Partstat).
    _at("invite_stamp", null=True),
    _id("invite_contact_id", null=True),
    Column("reply_sequence", Integer),
    _at("reply_stamp", null=True),
    _code("partstat"),
    _code("stays"),  # staff decided that it stands although hours changed: the code of core/hits that it was hit by
    CheckConstraint("state in ('booked','cancelled','missed','kept')", name="state"),
    CheckConstraint("seat >= 0", name="seat"),
    Index("ix_bookings_visit", "shop_id", "visit_id"),
    Index("ix_bookings_start", "shop_id", "start_at"),
    Index("ix_bookings_uid", "shop_id", "uid"),
    UniqueConstraint("shop_id", "organizer_token"),
    parents={"visit_id": "visits"},
)
Index(
    "uq_bookings_place",
    bookings.c.shop_id,
    bookings.c.start_at,
    bookings.c.seat,
    unique=True,
    sqlite_where=text("state = 'booked'"),
    postgresql_where=text("state = 'booked'"),
)
Index(
    "uq_bookings_live",
    bookings.c.shop_id,
    bookings.c.visit_id,
    unique=True,
    sqlite_where=text("state = 'booked'"),
    postgresql_where=text("state = 'booked'"),
)

# The outbox. The unique key is the identity of a message; a retry never makes a second row.
messages = _table(
    "messages",
    _id(),
    Column("seq", Integer, nullable=False),
    _id("visit_id"),
    Column("about", String(48), nullable=False),
    Column("cause", String(80), nullable=False),
    _code("notice"),
    Column("person_id", String(36), nullable=False),
    _id("sealed_for"),
    _code("channel"),
    Column("resend", Integer, nullable=False),
    _id("contact_id", null=True),
    Column("refs", JSON, nullable=False),
    _code("state"),
    _code("reason"),
    _at("created_at"),
    _at("due_at"),
    _at("expires_at"),
    Column("attempts", Integer, nullable=False),
    Column("ambiguous", Integer, nullable=False),
    Column("lease_by", String(36)),
    _at("lease_until", null=True),
    Column("message_id", String(120)),
    _sealed("bytes"),
    _sealed("sentence"),
    Column("parts", Integer, nullable=False, server_default=text("0")),  # text messages that it is paid for as
    _at("composed_at", null=True),
    # Why it last waited before it could leave, and since when it may; both stay when it has left.
    _code("waited"),
    _at("free_at", null=True),
    _at("ended_at", null=True),
    # What was heard of it after it left: a gateway's own name for it, and how far it got (core/messages.Delivery).
    Column("provider_id", String(120)),
    _code("delivery"),
    _at("delivery_at", null=True),
    UniqueConstraint(
        "shop_id", "about", "cause", "notice", "person_id", "channel", "resend", name="uq_messages_identity"
    ),
    UniqueConstraint("shop_id", "seq"),
    Index("ix_messages_visit", "shop_id", "visit_id", "seq"),
    Index("ix_messages_cause", "shop_id", "cause"),
    CheckConstraint("state in ('waiting','sent','to_call','called','dropped','skipped','given_up')", name="state"),
    CheckConstraint("state in ('waiting','to_call') or ended_at is not null", name="ended"),
    CheckConstraint("state not in ('dropped','skipped','given_up') or reason <> ''", name="reason"),
    CheckConstraint("delivery in ('','handed_over','delayed','unknown','delivered','failed')", name="delivery"),
    parents={"visit_id": "visits"},
)
# Only what waits is in these indexes, so that finding work does not slow down as the archive grows.
Index(
    "ix_messages_to_call",
    messages.c.shop_id,
    messages.c.seq,
    sqlite_where=text("state = 'to_call'"),
    postgresql_where=text("state = 'to_call'"),
)
Index(
    "ix_messages_due",
    messages.c.shop_id,
    messages.c.due_at,
    messages.c.seq,
    sqlite_where=text("state = 'waiting'"),
    postgresql_where=text("state = 'waiting'"),
)
Index(
    "ix_messages_to_shop",
    messages.c.shop_id,
    messages.c.seq,
    sqlite_where=text("person_id = ''"),
    postgresql_where=text("person_id = ''"),
)
Index(
    "ix_messages_given_up",
    messages.c.shop_id,
    messages.c.ended_at,
    sqlite_where=text("state = 'given_up'"),
    postgresql_where=text("state = 'given_up'"),
)
# What was paid for.
Index(
    "ix_messages_parts",
    messages.c.shop_id,
    messages.c.composed_at,
    sqlite_where=text("parts > 0"),
    postgresql_where=text("parts > 0"),
)
# Not unique: what a gateway calls a message is its own affair, and must never keep a message from being settled.
Index(
    "ix_messages_provider",
    messages.c.shop_id,
    messages.c.channel,
    messages.c.provider_id,
    sqlite_where=text("provider_id is not null"),
    postgresql_where=text("provider_id is not null"),
)
receipts = _table(
    "receipts",
    _id(),
    _id("message_id"),
    _at("at"),
    Column("attempt", Integer, nullable=False),
    _code("verdict"),
    _code("code"),
    Column("text", String(200), nullable=False),
    Index("ix_receipts_message", "shop_id", "message_id"),
    parents={"message_id": "messages"},
)
# What somebody wrote back. Sealed under the person's key, or, from a stranger, under a key named by the row itself.
replies = _table(
    "replies",
    _id(),
    Column("seq", Integer, nullable=False),
    _id("visit_id", null=True),
    _id("ticket_id", null=True),
    _id("person_id", null=True),
    _id("sealed_for"),
    _id("message_id", null=True),
    _code("channel"),
    _code("kind"),
    _code("state"),
    _sealed("sender"),
    _sealed("subject"),
    _sealed("text"),
    _sealed("letter_id"),  # the Message-ID of the letter, for the In-Reply-To of an answer
    _at("at"),
    _at("taken_at"),
    _at("seen_at", null=True),
    _id("staff_id", null=True),
    UniqueConstraint("shop_id", "seq"),
    Index("ix_replies_visit", "shop_id", "visit_id"),
    Index("ix_replies_ticket", "shop_id", "ticket_id"),
    Index("ix_replies_person", "shop_id", "person_id"),
    CheckConstraint("state in ('new','seen')", name="state"),
    CheckConstraint("kind in ('stop','start','help','erasure','question','other','calendar','auto')", name="kind"),
)
Index(
    "ix_replies_new",
    replies.c.shop_id,
    replies.c.seq,
    sqlite_where=text("state = 'new'"),
    postgresql_where=text("state = 'new'"),
)
# What a customer's calendar said about a booking, and what was decided (core/itip.Decision); an `open` one waits for
# staff. Its words stay with the reply that brought it.
calendar_answers = _table(
    "calendar_answers",
    _id(),
    Column("seq", Integer, nullable=False),
    _id("booking_id"),
    _id("visit_id"),
    _id("reply_id", null=True),
    _code("method"),
    _code("partstat"),
    Column("sequence", Integer, nullable=False),
    _at("stamp", null=True),
    _code("decision"),
    _at("wants_start", null=True),  # a counter-proposal's time
    _at("wants_end", null=True),
    _code("state"),
    _at("at"),
    _at("settled_at", null=True),
    _code("settled_how"),
    _id("staff_id", null=True),
    UniqueConstraint("shop_id", "seq"),
    Index("ix_calendar_answers_booking", "shop_id", "booking_id"),
    CheckConstraint("state in ('noted','open','settled')", name="state"),
    parents={"booking_id": "bookings", "visit_id": "visits"},
)
Index(
    "ix_calendar_answers_open",
    calendar_answers.c.shop_id,
    calendar_answers.c.seq,
    sqlite_where=text("state = 'open'"),
    postgresql_where=text("state = 'open'"),
)
# A short code sent to a stored contact, to prove that whoever asks can read what goes there. The code itself stands
# sealed until it was sent or used; `hash` is keyed. It ends by use, by time, or by too many wrong ones.
contact_codes = _table(
    "contact_codes",
    _id(),
    _id("visit_id"),
    _id("person_id"),
    _id("contact_id"),
    _code("purpose"),
    Column("hash", String(64), nullable=False),
    _sealed("code"),
    Column("wrong", Integer, nullable=False),
    _at("made_at"),
    _at("expires_at"),
    _at("used_at", null=True),
    Index("ix_contact_codes_visit", "shop_id", "visit_id"),
    CheckConstraint("purpose in ('pass','lost_ticket','price','rights')", name="purpose"),
    parents={"visit_id": "visits", "person_id": "people"},
)
# A claim number typed into the page of lost tickets. It is looked up later, so that the page takes as long for unknown
# ones. A number is no secret and names nobody.
lost_requests = Table(
    "lost_requests",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("number", String(16), nullable=False),
    Column("at", Instant, nullable=False),
)
# A pass: the one-use right of somebody named by the customer to collect a visit's devices. `person_id` is the
# delegate, a person of their own, so that their name can go long before the customer's; `given_by` is the customer.
passes = _table(
    "passes",
    _id(),
    _id("visit_id"),
    _id("person_id"),
    _id("given_by"),
    _code("state"),
    Column("hash", String(64)),  # keyed; the code itself is shown once and never kept
    _at("made_at"),
    _at("confirmed_at", null=True),
    _at("expires_at"),
    _at("ended_at", null=True),
    _id("staff_id", null=True),
    Index("ix_passes_visit", "shop_id", "visit_id"),
    UniqueConstraint("hash"),
    CheckConstraint("state in ('asked','open','used','revoked','expired')", name="state"),
    parents={"visit_id": "visits", "person_id": "people"},
)
Index(
    "ix_passes_live",
    passes.c.shop_id,
    passes.c.expires_at,
    sqlite_where=text("state in ('asked','open')"),
    postgresql_where=text("state in ('asked','open')"),
)
Index("ix_passes_given_by", passes.c.shop_id, passes.c.given_by)
Index("ix_passes_person", passes.c.shop_id, passes.c.person_id)
# A secret address under which the shop's own calendar reads its pickups.
feeds = _table(
    "feeds",
    _id(),
    Column("name", String(80), nullable=False),
    Column("token_hash", String(64), nullable=False),
    _at("made_at"),
    _id("staff_id", null=True),
    _at("revoked_at", null=True),
    UniqueConstraint("token_hash"),
)
# How long a device that nobody collects must wait, by which law: a person reads the law, then says so here.
uncollected_rules = _table(
    "uncollected_rules",
    _id(),
    _code("code"),
    Column("name", String(120), nullable=False),
    Column("notice_after_days", Integer, nullable=False),  # on the shelf, before the notice may leave
    Column("wait_days", Integer, nullable=False),  # after the notice, before a person may decide
    Column("form", String(300), nullable=False),  # how the notice must be given
    Column("source", String(300), nullable=False),
    Column("checked_on", Date),
    _flag("verified"),
    _flag("active"),
    UniqueConstraint("shop_id", "code"),
    CheckConstraint("verified or not active", name="verified"),
)
# One law counts at a time.
Index(
    "uq_uncollected_rules_active",
    uncollected_rules.c.shop_id,
    unique=True,
    sqlite_where=text("active"),
    postgresql_where=text("active"),
)
# Every letter or gateway call acts once: the hash of its Message-ID, else of its bytes. No personal data.
taken_letters = Table(
    "taken_letters",
    metadata,
    Column("source", String(40), nullable=False),
    Column("key", String(64), nullable=False),
    Column("kind", String(20), nullable=False),
    Column("at", Instant, nullable=False),
    PrimaryKeyConstraint("source", "key"),
)
idempotency = _table(
    "idempotency",
    Column("key", String(80), nullable=False),
    Column("result", JSON, nullable=False),
    _at("at"),
    key=("key",),
)
taken_files = _table(
    "taken_files",
    Column("source", String(60), nullable=False),
    Column("digest", String(64), nullable=False),
    _at("at"),
    Column("taken", Integer, nullable=False),
    Column("refused", Integer, nullable=False),
    key=("source", "digest"),
)
taken_rows = _table(
    "taken_rows",
    Column("source", String(60), nullable=False),
    Column("row_key", String(64), nullable=False),
    Column("digest", String(64), nullable=False),
    _id("ticket_id"),
    _at("at"),
    # What the source said of it last: a hash of its word for the phase, the time and the version that it gave.
    Column("said", String(64), nullable=False, server_default=text("''")),
    _at("told_at", null=True),
    Column("version", String(80), nullable=False, server_default=text("''")),
    key=("source", "row_key"),
)
# How a source is doing, and how far it was read.
source_states = _table(
    "source_states",
    Column("source", String(60), nullable=False),
    Column("position", JSON, nullable=False),  # what its own room remembers: a change column's value, for instance
    _at("looked_at", null=True),
    _at("well_at", null=True),  # the last look without trouble
    _code("trouble"),
    _at("trouble_since", null=True),
    Column("taken", Integer, nullable=False, server_default=text("0")),
    Column("doubted", Integer, nullable=False, server_default=text("0")),
    Column("stale", Integer, nullable=False, server_default=text("0")),  # older than what was known
    key=("source",),
)
# What a person here said that a word of a source means, beside the settings.
source_words = _table(
    "source_words",
    Column("source", String(60), nullable=False),
    _code("kind"),
    Column("word", String(80), nullable=False),  # casefolded
    _code("ours"),
    _at("at"),
    _id("staff_id", null=True),
    key=("source", "kind", "word"),
)
# What a source told and a person has to decide about (core/sources.Doubt). Sealed under the key of the ticket's person,
# or under a key that what came from this source on that day shares. At most one is open of what a source speaks of.
doubts = _table(
    "doubts",
    _id(),
    Column("seq", Integer, nullable=False),
    Column("source", String(60), nullable=False),
    Column("row_key", String(64), nullable=False),
    Column("line", Integer, nullable=False),
    _code("kind"),
    _code("state"),
    _id("sealed_for"),
    _sealed("cells"),
    Column("digest", String(64), nullable=False),
    _id("ticket_id", null=True),
    _at("told_at", null=True),
    _at("since", null=True),  # when the source had been looked at before it said this
    _at("seen_at"),
    _at("settled_at", null=True),
    _code("settled_how"),
    _id("staff_id", null=True),
    UniqueConstraint("shop_id", "seq"),
    Index("ix_doubts_ticket", "shop_id", "ticket_id"),
    CheckConstraint("state in ('open','settled','overtaken')", name="state"),
)
Index(
    "uq_doubts_open",
    doubts.c.shop_id,
    doubts.c.source,
    doubts.c.row_key,
    unique=True,
    sqlite_where=text("state = 'open'"),
    postgresql_where=text("state = 'open'"),
)
# A key by which one of the shop's own scripts uses the API. Of the key itself only its hash is kept.
api_tokens = _table(
    "api_tokens",
    _id(),
    Column("name", String(80), nullable=False),
    Column("token_hash", String(64), nullable=False),
    Column("scopes", JSON, nullable=False),
    _at("made_at"),
    _id("staff_id", null=True),
    Column("used_on", Date),  # the day, not the moment
    _at("expires_at", null=True),
    _at("revoked_at", null=True),
    UniqueConstraint("token_hash"),
)
# A listener: a system of the shop's own that is told of events by signed calls. `heard` is the seq of the newest event
# that it took, so the story itself is the outbox. Address and keys are sealed under a key of its own, named by `id`.
listeners = _table(
    "listeners",
    _id(),
    Column("name", String(80), nullable=False),
    _sealed("address"),
    _sealed("secret"),
    _sealed("old_secret"),
    _at("old_until", null=True),
    Column("kinds", JSON, nullable=False),  # of events; empty: all
    _code("state"),
    Column("heard", Integer, nullable=False),
    Column("attempts", Integer, nullable=False),
    _at("next_at", null=True),
    Column("lease_by", String(36)),
    _at("lease_until", null=True),
    _code("trouble"),
    _at("trouble_since", null=True),
    _at("made_at"),
    _id("staff_id", null=True),
    UniqueConstraint("shop_id", "name"),
    CheckConstraint("state in ('on','paused','off')", name="state"),
)
# An event that a listener refused for good, kept to be offered again by a person.
refused_events = _table(
    "refused_events",
    _id("listener_id"),
    _id("event_id"),
    Column("seq", Integer, nullable=False),
    Column("status", Integer, nullable=False),
    _at("at"),
    key=("listener_id", "event_id"),
    parents={"listener_id": "listeners"},
)
# Claim tickets printed in advance, for when there is no power or no machine. The token is sealed under a key named by
# the row itself until the ticket is entered, then it stands with the ticket.
pad_tickets = _table(
    "pad_tickets",
    _id(),
    _id("pad_id"),
    Column("place", Integer, nullable=False),  # on its pad, from 1
    Column("number", String(16), nullable=False),
    Column("wordings", JSON, nullable=False),  # purpose -> version of the sentence printed beside its box
    Column("token_hash", String(64)),
    _sealed("token"),
    _code("state"),
    _at("printed_at"),
    _at("ended_at", null=True),
    _id("ticket_id", null=True),
    _id("staff_id", null=True),
    UniqueConstraint("shop_id", "number"),
    UniqueConstraint("token_hash"),
    Index("ix_pad_tickets_pad", "shop_id", "pad_id", "place"),
    CheckConstraint("state in ('printed','entered','void')", name="state"),
)
erasures = _table(
    "erasures",
    _id(),
    _at("at"),
    _code("reason"),
    Column("counts", JSON, nullable=False),
    _at("confirmed_at", null=True),
)
# One row per timed job and shop, so that two processes never do the same work twice.
job_runs = Table(
    "job_runs",
    metadata,
    Column("name", String(60), primary_key=True),
    Column("ran_at", Instant, nullable=False),
    Column("lease_by", String(36)),
    Column("lease_until", Instant),
)
# How far the machine's clock is believed, in one row: core/clock_trail.Trail.
clock_trails = Table(
    "clock_trails",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("believed_at", Instant, nullable=False),
    Column("leapt_at", Instant),
    Column("seen_seconds", Integer, nullable=False),
    Column("refuted", Boolean, nullable=False),
)
