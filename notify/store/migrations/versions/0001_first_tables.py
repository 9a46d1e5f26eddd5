"""The first tables, as the first release had them. Long because it was generated from the schema, table by table."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import notify.store.types

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Goes one step forward."""
    op.create_table(
        "api_tokens",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("made_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.Column("used_on", sa.Date(), nullable=True),
        sa.Column("expires_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("revoked_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_api_tokens")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_api_tokens_token_hash")),
    )
    op.create_table(
        "bench_orders",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("made_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("tickets", sa.JSON(), nullable=False),
        sa.Column("by_hand", sa.JSON(), nullable=False),
        sa.Column("gain", sa.Float(), nullable=False),
        sa.Column("kept_before", sa.Float(), nullable=False),
        sa.Column("kept_after", sa.Float(), nullable=False),
        sa.Column("moved_id", sa.String(length=36), nullable=True),
        sa.Column("why", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("inputs", sa.String(length=64), nullable=False),
        sa.Column("before_id", sa.String(length=36), nullable=True),
        sa.Column("settled_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.CheckConstraint("state in ('suggested','standing','refused','old')", name=op.f("ck_bench_orders_state")),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_bench_orders")),
    )
    op.create_index(
        "ix_bench_orders_standing",
        "bench_orders",
        ["shop_id"],
        unique=True,
        sqlite_where=sa.text("state = 'standing'"),
        postgresql_where=sa.text("state = 'standing'"),
    )
    op.create_index(
        "ix_bench_orders_suggested",
        "bench_orders",
        ["shop_id"],
        unique=True,
        sqlite_where=sa.text("state = 'suggested'"),
        postgresql_where=sa.text("state = 'suggested'"),
    )
    op.create_table(
        "clock_trails",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("believed_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("leapt_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("seen_seconds", sa.Integer(), nullable=False),
        sa.Column("refuted", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clock_trails")),
    )
    op.create_table(
        "contact_reads",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("reader_kind", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("reader_id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("contact_id", sa.String(length=36), nullable=True),
        sa.Column("place", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("last_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("times", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_contact_reads")),
    )
    op.create_index("ix_contact_reads_at", "contact_reads", ["shop_id", "at"], unique=False)
    op.create_index("ix_contact_reads_person", "contact_reads", ["shop_id", "person_id"], unique=False)
    op.create_table(
        "doubts",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("source", sa.String(length=60), nullable=False),
        sa.Column("row_key", sa.String(length=64), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("sealed_for", sa.String(length=36), nullable=False),
        sa.Column("cells_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("ticket_id", sa.String(length=36), nullable=True),
        sa.Column("told_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("since", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("seen_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("settled_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("settled_how", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.CheckConstraint("state in ('open','settled','overtaken')", name=op.f("ck_doubts_state")),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_doubts")),
        sa.UniqueConstraint("shop_id", "seq", name=op.f("uq_doubts_shop_id_seq")),
    )
    op.create_index("ix_doubts_ticket", "doubts", ["shop_id", "ticket_id"], unique=False)
    op.create_index(
        "uq_doubts_open",
        "doubts",
        ["shop_id", "source", "row_key"],
        unique=True,
        sqlite_where=sa.text("state = 'open'"),
        postgresql_where=sa.text("state = 'open'"),
    )
    op.create_table(
        "erasures",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("reason", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("counts", sa.JSON(), nullable=False),
        sa.Column("confirmed_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_erasures")),
    )
    op.create_table(
        "feeds",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("made_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.Column("revoked_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_feeds")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_feeds_token_hash")),
    )
    op.create_table(
        "forecast_runs",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("ran_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("stamp", sa.String(length=120), nullable=False),
        sa.Column("next_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("tickets", sa.Integer(), nullable=False),
        sa.Column("ordered_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("shop_id", name=op.f("pk_forecast_runs")),
    )
    op.create_table(
        "hours",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("weekday", sa.Integer(), nullable=False),
        sa.Column("opens", sa.Time(), nullable=False),
        sa.Column("closes", sa.Time(), nullable=False),
        sa.Column("capacity", sa.Integer(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=True),
        sa.CheckConstraint("capacity >= 0", name=op.f("ck_hours_capacity")),
        sa.CheckConstraint("weekday between 0 and 6", name=op.f("ck_hours_weekday")),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_hours")),
    )
    op.create_table(
        "idempotency",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("result", sa.JSON(), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("shop_id", "key", name=op.f("pk_idempotency")),
    )
    op.create_table(
        "job_runs",
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("ran_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("lease_by", sa.String(length=36), nullable=True),
        sa.Column("lease_until", notify.store.types.Instant(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_job_runs")),
    )
    op.create_table(
        "listeners",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("address_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("secret_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("old_secret_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("old_until", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("kinds", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("heard", sa.Integer(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("lease_by", sa.String(length=36), nullable=True),
        sa.Column("lease_until", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("trouble", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("trouble_since", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("made_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.CheckConstraint("state in ('on','paused','off')", name=op.f("ck_listeners_state")),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_listeners")),
        sa.UniqueConstraint("shop_id", "name", name=op.f("uq_listeners_shop_id_name")),
    )
    op.create_table(
        "lost_requests",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("number", sa.String(length=16), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lost_requests")),
    )
    op.create_table(
        "pad_tickets",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("pad_id", sa.String(length=36), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=16), nullable=False),
        sa.Column("wordings", sa.JSON(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=True),
        sa.Column("token_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("printed_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("ended_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("ticket_id", sa.String(length=36), nullable=True),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.CheckConstraint("state in ('printed','entered','void')", name=op.f("ck_pad_tickets_state")),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_pad_tickets")),
        sa.UniqueConstraint("shop_id", "number", name=op.f("uq_pad_tickets_shop_id_number")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_pad_tickets_token_hash")),
    )
    op.create_index("ix_pad_tickets_pad", "pad_tickets", ["shop_id", "pad_id", "place"], unique=False)
    op.create_table(
        "people",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("language", sa.String(length=8), nullable=False),
        sa.Column("name_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("child", sa.Boolean(), nullable=False),
        sa.Column("created_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("told_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("forgotten_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_people")),
    )
    op.create_table(
        "repair_kinds",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("device_class", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("learned", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.Column("learned_sum", sa.Float(), server_default=sa.text("0"), nullable=False),
        sa.Column("learned_squares", sa.Float(), server_default=sa.text("0"), nullable=False),
        sa.Column("catch_all", sa.Boolean(), nullable=False),
        sa.CheckConstraint("minutes between 1 and 6000", name=op.f("ck_repair_kinds_minutes")),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_repair_kinds")),
        sa.UniqueConstraint("shop_id", "name", name=op.f("uq_repair_kinds_shop_id_name")),
    )
    op.create_index(
        "uq_repair_kinds_catch_all",
        "repair_kinds",
        ["shop_id"],
        unique=True,
        sqlite_where=sa.text("catch_all"),
        postgresql_where=sa.text("catch_all"),
    )
    op.create_table(
        "replies",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(length=36), nullable=True),
        sa.Column("ticket_id", sa.String(length=36), nullable=True),
        sa.Column("person_id", sa.String(length=36), nullable=True),
        sa.Column("sealed_for", sa.String(length=36), nullable=False),
        sa.Column("message_id", sa.String(length=36), nullable=True),
        sa.Column("channel", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("kind", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("sender_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("subject_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("text_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("letter_id_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("taken_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("seen_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.CheckConstraint(
            "kind in ('stop','start','help','erasure','question','other','calendar','auto')",
            name=op.f("ck_replies_kind"),
        ),
        sa.CheckConstraint("state in ('new','seen')", name=op.f("ck_replies_state")),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_replies")),
        sa.UniqueConstraint("shop_id", "seq", name=op.f("uq_replies_shop_id_seq")),
    )
    op.create_index(
        "ix_replies_new",
        "replies",
        ["shop_id", "seq"],
        unique=False,
        sqlite_where=sa.text("state = 'new'"),
        postgresql_where=sa.text("state = 'new'"),
    )
    op.create_index("ix_replies_person", "replies", ["shop_id", "person_id"], unique=False)
    op.create_index("ix_replies_ticket", "replies", ["shop_id", "ticket_id"], unique=False)
    op.create_index("ix_replies_visit", "replies", ["shop_id", "visit_id"], unique=False)
    op.create_table(
        "retention_rules",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("data_class", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("period", sa.String(length=60), nullable=False),
        sa.Column("clock", sa.String(length=40), nullable=False),
        sa.Column("exceptions", sa.JSON(), nullable=False),
        sa.Column("source", sa.String(length=300), nullable=False),
        sa.Column("checked_on", sa.Date(), nullable=True),
        sa.Column("made_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.PrimaryKeyConstraint("shop_id", "data_class", "valid_from", name=op.f("pk_retention_rules")),
    )
    op.create_table(
        "shop_settings",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("key", sa.String(length=60), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("shop_id", "key", "valid_from", name=op.f("pk_shop_settings")),
    )
    op.create_table(
        "shops",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("created_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("changed", sa.String(length=36), nullable=False),
        sa.Column("booked", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shops")),
    )
    op.create_table(
        "shown_stamps",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("stamp", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("shop_id", name=op.f("pk_shown_stamps")),
    )
    op.create_table(
        "source_states",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("source", sa.String(length=60), nullable=False),
        sa.Column("position", sa.JSON(), nullable=False),
        sa.Column("looked_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("well_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("trouble", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("trouble_since", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("taken", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.Column("doubted", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.Column("stale", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.PrimaryKeyConstraint("shop_id", "source", name=op.f("pk_source_states")),
    )
    op.create_table(
        "source_words",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("source", sa.String(length=60), nullable=False),
        sa.Column("kind", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("word", sa.String(length=80), nullable=False),
        sa.Column("ours", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.PrimaryKeyConstraint("shop_id", "source", "kind", "word", name=op.f("pk_source_words")),
    )
    op.create_table(
        "special_days",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("opens", sa.Time(), nullable=True),
        sa.Column("closes", sa.Time(), nullable=True),
        sa.Column("capacity", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=120), nullable=False),
        sa.Column("as_usual", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_special_days")),
    )
    op.create_table(
        "staff",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("role", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("password_hash", sa.String(length=200), nullable=False),
        sa.Column("pin_hash", sa.String(length=200), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("at_bench", sa.Boolean(), nullable=False),
        sa.Column("created_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("email_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("phone_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("rings_by", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.CheckConstraint("rings_by in ('','email','sms','both')", name=op.f("ck_staff_rings_by")),
        sa.CheckConstraint("role in ('counter','technician','owner')", name=op.f("ck_staff_role")),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_staff")),
        sa.UniqueConstraint("shop_id", "name", name=op.f("uq_staff_shop_id_name")),
    )
    op.create_table(
        "suppliers",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("cutoff", sa.Time(), nullable=True),
        sa.Column("delivers_at", sa.Time(), nullable=True),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("zone", sa.String(length=60), server_default=sa.text("('')"), nullable=False),
        sa.Column("working_days", sa.String(length=7), server_default=sa.text("'1111100'"), nullable=False),
        sa.Column("closed_days", sa.JSON(), nullable=False),
        sa.Column("holidays_of", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("redelivers", sa.Boolean(), nullable=False),
        sa.Column("delays", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_suppliers")),
        sa.UniqueConstraint("shop_id", "name", name=op.f("uq_suppliers_shop_id_name")),
    )
    op.create_table(
        "suppressions",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("channel", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("key_id", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("reason", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.Column("ended_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("ended_how", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.CheckConstraint("channel in ('email','sms')", name=op.f("ck_suppressions_channel")),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_suppressions")),
    )
    op.create_index("ix_suppressions_hash", "suppressions", ["shop_id", "hash"], unique=False)
    op.create_table(
        "taken_files",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("source", sa.String(length=60), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("taken", sa.Integer(), nullable=False),
        sa.Column("refused", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("shop_id", "source", "digest", name=op.f("pk_taken_files")),
    )
    op.create_table(
        "taken_letters",
        sa.Column("source", sa.String(length=40), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("source", "key", name=op.f("pk_taken_letters")),
    )
    op.create_table(
        "taken_rows",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("source", sa.String(length=60), nullable=False),
        sa.Column("row_key", sa.String(length=64), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("ticket_id", sa.String(length=36), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("said", sa.String(length=64), server_default=sa.text("('')"), nullable=False),
        sa.Column("told_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("version", sa.String(length=80), server_default=sa.text("('')"), nullable=False),
        sa.PrimaryKeyConstraint("shop_id", "source", "row_key", name=op.f("pk_taken_rows")),
    )
    op.create_table(
        "throttles",
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("window_from", notify.store.types.Instant(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_throttles")),
    )
    op.create_table(
        "uncollected_rules",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("code", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notice_after_days", sa.Integer(), nullable=False),
        sa.Column("wait_days", sa.Integer(), nullable=False),
        sa.Column("form", sa.String(length=300), nullable=False),
        sa.Column("source", sa.String(length=300), nullable=False),
        sa.Column("checked_on", sa.Date(), nullable=True),
        sa.Column("verified", sa.Boolean(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.CheckConstraint("verified or not active", name=op.f("ck_uncollected_rules_verified")),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_uncollected_rules")),
        sa.UniqueConstraint("shop_id", "code", name=op.f("uq_uncollected_rules_shop_id_code")),
    )
    op.create_index(
        "uq_uncollected_rules_active",
        "uncollected_rules",
        ["shop_id"],
        unique=True,
        sqlite_where=sa.text("active"),
        postgresql_where=sa.text("active"),
    )
    op.create_table(
        "visits",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("waits_here", sa.Boolean(), nullable=False),
        sa.Column("opened_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("idempotency", sa.String(length=64), nullable=True),
        sa.Column("changed", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_visits")),
        sa.UniqueConstraint("shop_id", "idempotency", name=op.f("uq_visits_shop_id_idempotency")),
    )
    op.create_table(
        "wordings",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("wording", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("language", sa.String(length=8), nullable=False),
        sa.Column("text", sa.String(length=2000), nullable=False),
        sa.Column("first_shown_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("shop_id", "wording", "language", name=op.f("pk_wordings")),
    )
    op.create_table(
        "absences",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=False),
        sa.Column("starts_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("ends_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.CheckConstraint("starts_at < ends_at", name=op.f("ck_absences_ends")),
        sa.ForeignKeyConstraint(
            ["shop_id", "staff_id"], ["staff.shop_id", "staff.id"], name=op.f("fk_absences_shop_id_staff_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_absences")),
    )
    op.create_index("ix_absences_ends", "absences", ["shop_id", "ends_at"], unique=False)
    op.create_table(
        "bookings",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("visit_id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("local_start", sa.String(length=16), nullable=False),
        sa.Column("zone", sa.String(length=60), nullable=False),
        sa.Column("fold", sa.Integer(), nullable=False),
        sa.Column("start_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("end_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("seat", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("changes", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("organizer_token", sa.String(length=64), nullable=False),
        sa.Column("made_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("changed_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("invited", sa.Boolean(), nullable=False),
        sa.Column("reminded", sa.Boolean(), nullable=False),
        sa.Column("invite_stamp", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("invite_contact_id", sa.String(length=36), nullable=True),
        sa.Column("reply_sequence", sa.Integer(), nullable=True),
        sa.Column("reply_stamp", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("partstat", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("stays", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.CheckConstraint("state in ('booked','cancelled','missed','kept')", name=op.f("ck_bookings_state")),
        sa.CheckConstraint("seat >= 0", name=op.f("ck_bookings_seat")),
        sa.ForeignKeyConstraint(
            ["shop_id", "visit_id"], ["visits.shop_id", "visits.id"], name=op.f("fk_bookings_shop_id_visit_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_bookings")),
        sa.UniqueConstraint("shop_id", "organizer_token", name=op.f("uq_bookings_shop_id_organizer_token")),
    )
    op.create_index("ix_bookings_start", "bookings", ["shop_id", "start_at"], unique=False)
    op.create_index("ix_bookings_uid", "bookings", ["shop_id", "uid"], unique=False)
    op.create_index("ix_bookings_visit", "bookings", ["shop_id", "visit_id"], unique=False)
    op.create_index(
        "uq_bookings_live",
        "bookings",
        ["shop_id", "visit_id"],
        unique=True,
        sqlite_where=sa.text("state = 'booked'"),
        postgresql_where=sa.text("state = 'booked'"),
    )
    op.create_index(
        "uq_bookings_place",
        "bookings",
        ["shop_id", "start_at", "seat"],
        unique=True,
        sqlite_where=sa.text("state = 'booked'"),
        postgresql_where=sa.text("state = 'booked'"),
    )
    op.create_table(
        "consents",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("channel", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("purpose", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("allowed", sa.Boolean(), nullable=False),
        sa.Column("basis", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("wording", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("language", sa.String(length=8), nullable=False),
        sa.Column("how", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.Column("lookup", sa.String(length=64), nullable=True),
        sa.Column("evidence_id", sa.String(length=36), nullable=True),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["shop_id", "person_id"], ["people.shop_id", "people.id"], name=op.f("fk_consents_shop_id_person_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_consents")),
    )
    op.create_index("ix_consents_person", "consents", ["shop_id", "person_id"], unique=False)
    op.create_table(
        "contact_codes",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("visit_id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("contact_id", sa.String(length=36), nullable=False),
        sa.Column("purpose", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("code_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("wrong", sa.Integer(), nullable=False),
        sa.Column("made_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("expires_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("used_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.CheckConstraint("purpose in ('pass','lost_ticket','price','rights')", name=op.f("ck_contact_codes_purpose")),
        sa.ForeignKeyConstraint(
            ["shop_id", "person_id"], ["people.shop_id", "people.id"], name=op.f("fk_contact_codes_shop_id_person_id")
        ),
        sa.ForeignKeyConstraint(
            ["shop_id", "visit_id"], ["visits.shop_id", "visits.id"], name=op.f("fk_contact_codes_shop_id_visit_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_contact_codes")),
    )
    op.create_index("ix_contact_codes_visit", "contact_codes", ["shop_id", "visit_id"], unique=False)
    op.create_table(
        "contacts",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("channel", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("address_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("lookup", sa.String(length=64), nullable=True),
        sa.Column("lookup_key", sa.String(length=20), nullable=True),
        sa.Column("in_repaired_device", sa.Boolean(), nullable=False),
        sa.Column("undeliverable_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("undeliverable_why", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("suppressed_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("suppressed_how", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("created_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("replaced_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.CheckConstraint("channel in ('email','sms')", name=op.f("ck_contacts_channel")),
        sa.ForeignKeyConstraint(
            ["shop_id", "person_id"], ["people.shop_id", "people.id"], name=op.f("fk_contacts_shop_id_person_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_contacts")),
    )
    op.create_index("ix_contacts_lookup", "contacts", ["shop_id", "lookup"], unique=False)
    op.create_index("ix_contacts_lookup_key", "contacts", ["lookup_key", "shop_id", "id"], unique=False)
    op.create_index("ix_contacts_person", "contacts", ["shop_id", "person_id"], unique=False)
    op.create_table(
        "data_holds",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("visit_id", sa.String(length=36), nullable=False),
        sa.Column("reason", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("note_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("made_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("review_on", sa.Date(), nullable=False),
        sa.Column("rung_for", sa.Date(), nullable=True),
        sa.Column("ended_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.Column("ended_by", sa.String(length=36), nullable=True),
        sa.CheckConstraint("reason in ('dispute','unpaid','uncollected','legal')", name=op.f("ck_data_holds_reason")),
        sa.ForeignKeyConstraint(
            ["shop_id", "person_id"], ["people.shop_id", "people.id"], name=op.f("fk_data_holds_shop_id_person_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_data_holds")),
    )
    op.create_index("ix_data_holds_person", "data_holds", ["shop_id", "person_id"], unique=False)
    op.create_index("ix_data_holds_visit", "data_holds", ["shop_id", "visit_id"], unique=False)
    op.create_table(
        "events",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(length=36), nullable=False),
        sa.Column("ticket_id", sa.String(length=36), nullable=True),
        sa.Column("kind", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("recorded_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("actor_kind", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("actor_id", sa.String(length=36), nullable=True),
        sa.Column("codes", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["shop_id", "visit_id"], ["visits.shop_id", "visits.id"], name=op.f("fk_events_shop_id_visit_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_events")),
        sa.UniqueConstraint("shop_id", "seq", name=op.f("uq_events_shop_id_seq")),
    )
    op.create_index(
        "ix_events_handover",
        "events",
        ["shop_id", "at"],
        unique=False,
        sqlite_where=sa.text("kind = 'handover_done'"),
        postgresql_where=sa.text("kind = 'handover_done'"),
    )
    op.create_index(
        "ix_events_refused",
        "events",
        ["shop_id", "at"],
        unique=False,
        sqlite_where=sa.text("kind = 'handover_refused'"),
        postgresql_where=sa.text("kind = 'handover_refused'"),
    )
    op.create_index("ix_events_ticket", "events", ["shop_id", "ticket_id", "seq"], unique=False)
    op.create_index("ix_events_visit", "events", ["shop_id", "visit_id", "seq"], unique=False)
    op.create_table(
        "messages",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(length=36), nullable=False),
        sa.Column("about", sa.String(length=48), nullable=False),
        sa.Column("cause", sa.String(length=80), nullable=False),
        sa.Column("notice", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("sealed_for", sa.String(length=36), nullable=False),
        sa.Column("channel", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("resend", sa.Integer(), nullable=False),
        sa.Column("contact_id", sa.String(length=36), nullable=True),
        sa.Column("refs", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("reason", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("created_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("due_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("expires_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("ambiguous", sa.Integer(), nullable=False),
        sa.Column("lease_by", sa.String(length=36), nullable=True),
        sa.Column("lease_until", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("message_id", sa.String(length=120), nullable=True),
        sa.Column("bytes_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("sentence_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("parts", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.Column("composed_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("waited", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("free_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("ended_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("provider_id", sa.String(length=120), nullable=True),
        sa.Column("delivery", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("delivery_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.CheckConstraint(
            "delivery in ('','handed_over','delayed','unknown','delivered','failed')", name=op.f("ck_messages_delivery")
        ),
        sa.CheckConstraint(
            "state in ('waiting','sent','to_call','called','dropped','skipped','given_up')",
            name=op.f("ck_messages_state"),
        ),
        sa.CheckConstraint("state in ('waiting','to_call') or ended_at is not null", name=op.f("ck_messages_ended")),
        sa.CheckConstraint(
            "state not in ('dropped','skipped','given_up') or reason <> ''", name=op.f("ck_messages_reason")
        ),
        sa.ForeignKeyConstraint(
            ["shop_id", "visit_id"], ["visits.shop_id", "visits.id"], name=op.f("fk_messages_shop_id_visit_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_messages")),
        sa.UniqueConstraint(
            "shop_id", "about", "cause", "notice", "person_id", "channel", "resend", name="uq_messages_identity"
        ),
        sa.UniqueConstraint("shop_id", "seq", name=op.f("uq_messages_shop_id_seq")),
    )
    op.create_index("ix_messages_cause", "messages", ["shop_id", "cause"], unique=False)
    op.create_index(
        "ix_messages_due",
        "messages",
        ["shop_id", "due_at", "seq"],
        unique=False,
        sqlite_where=sa.text("state = 'waiting'"),
        postgresql_where=sa.text("state = 'waiting'"),
    )
    op.create_index(
        "ix_messages_given_up",
        "messages",
        ["shop_id", "ended_at"],
        unique=False,
        sqlite_where=sa.text("state = 'given_up'"),
        postgresql_where=sa.text("state = 'given_up'"),
    )
    op.create_index(
        "ix_messages_parts",
        "messages",
        ["shop_id", "composed_at"],
        unique=False,
        sqlite_where=sa.text("parts > 0"),
        postgresql_where=sa.text("parts > 0"),
    )
    op.create_index(
        "ix_messages_provider",
        "messages",
        ["shop_id", "channel", "provider_id"],
        unique=False,
        sqlite_where=sa.text("provider_id is not null"),
        postgresql_where=sa.text("provider_id is not null"),
    )
    op.create_index(
        "ix_messages_to_call",
        "messages",
        ["shop_id", "seq"],
        unique=False,
        sqlite_where=sa.text("state = 'to_call'"),
        postgresql_where=sa.text("state = 'to_call'"),
    )
    op.create_index(
        "ix_messages_to_shop",
        "messages",
        ["shop_id", "seq"],
        unique=False,
        sqlite_where=sa.text("person_id = ''"),
        postgresql_where=sa.text("person_id = ''"),
    )
    op.create_index("ix_messages_visit", "messages", ["shop_id", "visit_id", "seq"], unique=False)
    op.create_table(
        "passes",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("visit_id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("given_by", sa.String(length=36), nullable=False),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=True),
        sa.Column("made_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("confirmed_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("expires_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("ended_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.CheckConstraint("state in ('asked','open','used','revoked','expired')", name=op.f("ck_passes_state")),
        sa.ForeignKeyConstraint(
            ["shop_id", "person_id"], ["people.shop_id", "people.id"], name=op.f("fk_passes_shop_id_person_id")
        ),
        sa.ForeignKeyConstraint(
            ["shop_id", "visit_id"], ["visits.shop_id", "visits.id"], name=op.f("fk_passes_shop_id_visit_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_passes")),
        sa.UniqueConstraint("hash", name=op.f("uq_passes_hash")),
    )
    op.create_index("ix_passes_given_by", "passes", ["shop_id", "given_by"], unique=False)
    op.create_index(
        "ix_passes_live",
        "passes",
        ["shop_id", "expires_at"],
        unique=False,
        sqlite_where=sa.text("state in ('asked','open')"),
        postgresql_where=sa.text("state in ('asked','open')"),
    )
    op.create_index("ix_passes_person", "passes", ["shop_id", "person_id"], unique=False)
    op.create_index("ix_passes_visit", "passes", ["shop_id", "visit_id"], unique=False)
    op.create_table(
        "past_jobs",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("kind_id", sa.String(length=36), nullable=False),
        sa.Column("ticket_id", sa.String(length=36), nullable=True),
        sa.Column("minutes", sa.Float(), nullable=False),
        sa.Column("ended_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("source", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("counts", sa.Boolean(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=True),
        sa.CheckConstraint("source in ('own','import')", name=op.f("ck_past_jobs_source")),
        sa.CheckConstraint("minutes >= 0", name=op.f("ck_past_jobs_minutes")),
        sa.ForeignKeyConstraint(
            ["shop_id", "kind_id"],
            ["repair_kinds.shop_id", "repair_kinds.id"],
            name=op.f("fk_past_jobs_shop_id_kind_id"),
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_past_jobs")),
        sa.UniqueConstraint("shop_id", "digest", name=op.f("uq_past_jobs_shop_id_digest")),
        sa.UniqueConstraint("shop_id", "ticket_id", name=op.f("uq_past_jobs_shop_id_ticket_id")),
    )
    op.create_index("ix_past_jobs_ended", "past_jobs", ["shop_id", "ended_at"], unique=False)
    op.create_index("ix_past_jobs_kind", "past_jobs", ["shop_id", "kind_id", "ended_at"], unique=False)
    op.create_table(
        "refused_events",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("listener_id", sa.String(length=36), nullable=False),
        sa.Column("event_id", sa.String(length=36), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["shop_id", "listener_id"],
            ["listeners.shop_id", "listeners.id"],
            name=op.f("fk_refused_events_shop_id_listener_id"),
        ),
        sa.PrimaryKeyConstraint("shop_id", "listener_id", "event_id", name=op.f("pk_refused_events")),
    )
    op.create_table(
        "requests",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("visit_id", sa.String(length=36), nullable=False),
        sa.Column("kind", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("how", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("received_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("proved_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("extended_to", sa.Date(), nullable=True),
        sa.Column("note_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("reason", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("ended_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("lifted_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.CheckConstraint(
            "kind in ('access','correction','erasure','restriction','objection')", name=op.f("ck_requests_kind")
        ),
        sa.CheckConstraint("state in ('open','done','refused','withdrawn')", name=op.f("ck_requests_state")),
        sa.ForeignKeyConstraint(
            ["shop_id", "person_id"], ["people.shop_id", "people.id"], name=op.f("fk_requests_shop_id_person_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_requests")),
        sa.UniqueConstraint("shop_id", "seq", name=op.f("uq_requests_shop_id_seq")),
    )
    op.create_index(
        "ix_requests_open",
        "requests",
        ["shop_id", "due_on"],
        unique=False,
        sqlite_where=sa.text("state = 'open'"),
        postgresql_where=sa.text("state = 'open'"),
    )
    op.create_index("ix_requests_person", "requests", ["shop_id", "person_id"], unique=False)
    op.create_table(
        "sessions",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=False),
        sa.Column("created_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("last_seen_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("expires_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["shop_id", "staff_id"], ["staff.shop_id", "staff.id"], name=op.f("fk_sessions_shop_id_staff_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_sessions")),
    )
    op.create_table(
        "tickets",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("visit_id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("number", sa.String(length=16), nullable=False),
        sa.Column("phase", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("outcome", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("reason", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("device_class", sa.String(length=40), server_default=sa.text("'other'"), nullable=False),
        sa.Column("device_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("fault_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("condition_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("accessories_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("price_agreed", sa.BigInteger(), nullable=True),
        sa.Column("price_limit", sa.BigInteger(), nullable=True),
        sa.Column("deposit", sa.BigInteger(), nullable=True),
        sa.Column("paid", sa.Boolean(), nullable=False),
        sa.Column("shelf", sa.String(length=20), server_default=sa.text("('')"), nullable=False),
        sa.Column("safety", sa.JSON(), nullable=False),
        sa.Column("follows_id", sa.String(length=36), nullable=True),
        sa.Column("technician_id", sa.String(length=36), nullable=True),
        sa.Column("kind_id", sa.String(length=36), nullable=True),
        sa.Column("worked_seconds", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.Column("promise_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("token_hash", sa.String(length=64), nullable=True),
        sa.Column("token_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("created_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("phase_since", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("outcome in ('','repaired','unrepaired')", name=op.f("ck_tickets_outcome")),
        sa.CheckConstraint(
            "phase in ('taken_in','inspecting','in_line','on_bench','proving','on_shelf','handed_back','left_behind')",
            name=op.f("ck_tickets_phase"),
        ),
        sa.ForeignKeyConstraint(
            ["shop_id", "person_id"], ["people.shop_id", "people.id"], name=op.f("fk_tickets_shop_id_person_id")
        ),
        sa.ForeignKeyConstraint(
            ["shop_id", "visit_id"], ["visits.shop_id", "visits.id"], name=op.f("fk_tickets_shop_id_visit_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_tickets")),
        sa.UniqueConstraint("shop_id", "number", name=op.f("uq_tickets_shop_id_number")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_tickets_token_hash")),
    )
    op.create_index(
        "ix_tickets_follows",
        "tickets",
        ["shop_id", "follows_id"],
        unique=False,
        sqlite_where=sa.text("follows_id is not null"),
        postgresql_where=sa.text("follows_id is not null"),
    )
    op.create_index("ix_tickets_person", "tickets", ["shop_id", "person_id"], unique=False)
    op.create_index("ix_tickets_phase", "tickets", ["shop_id", "phase", "phase_since"], unique=False)
    op.create_index("ix_tickets_visit", "tickets", ["shop_id", "visit_id"], unique=False)
    op.create_table(
        "visit_people",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("visit_id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("role", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.ForeignKeyConstraint(
            ["shop_id", "person_id"], ["people.shop_id", "people.id"], name=op.f("fk_visit_people_shop_id_person_id")
        ),
        sa.ForeignKeyConstraint(
            ["shop_id", "visit_id"], ["visits.shop_id", "visits.id"], name=op.f("fk_visit_people_shop_id_visit_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "visit_id", "role", "person_id", name=op.f("pk_visit_people")),
    )
    op.create_index("ix_visit_people_person", "visit_people", ["shop_id", "person_id", "visit_id"], unique=False)
    op.create_table(
        "calendar_answers",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("booking_id", sa.String(length=36), nullable=False),
        sa.Column("visit_id", sa.String(length=36), nullable=False),
        sa.Column("reply_id", sa.String(length=36), nullable=True),
        sa.Column("method", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("partstat", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("stamp", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("decision", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("wants_start", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("wants_end", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("settled_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("settled_how", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.CheckConstraint("state in ('noted','open','settled')", name=op.f("ck_calendar_answers_state")),
        sa.ForeignKeyConstraint(
            ["shop_id", "booking_id"],
            ["bookings.shop_id", "bookings.id"],
            name=op.f("fk_calendar_answers_shop_id_booking_id"),
        ),
        sa.ForeignKeyConstraint(
            ["shop_id", "visit_id"], ["visits.shop_id", "visits.id"], name=op.f("fk_calendar_answers_shop_id_visit_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_calendar_answers")),
        sa.UniqueConstraint("shop_id", "seq", name=op.f("uq_calendar_answers_shop_id_seq")),
    )
    op.create_index("ix_calendar_answers_booking", "calendar_answers", ["shop_id", "booking_id"], unique=False)
    op.create_index(
        "ix_calendar_answers_open",
        "calendar_answers",
        ["shop_id", "seq"],
        unique=False,
        sqlite_where=sa.text("state = 'open'"),
        postgresql_where=sa.text("state = 'open'"),
    )
    op.create_table(
        "forecasts",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("ticket_id", sa.String(length=36), nullable=False),
        sa.Column("made_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("without", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("grid", sa.JSON(), nullable=False),
        sa.Column("level", sa.Float(), nullable=False),
        sa.Column("quantile_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("promise_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("chance", sa.Float(), nullable=True),
        sa.Column("decides", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=False),
        sa.Column("model", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("inputs", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(
            ["shop_id", "ticket_id"], ["tickets.shop_id", "tickets.id"], name=op.f("fk_forecasts_shop_id_ticket_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "ticket_id", name=op.f("pk_forecasts")),
    )
    op.create_table(
        "notes",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("ticket_id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("text_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.Column("event_id", sa.String(length=36), nullable=True),
        sa.ForeignKeyConstraint(
            ["shop_id", "ticket_id"], ["tickets.shop_id", "tickets.id"], name=op.f("fk_notes_shop_id_ticket_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_notes")),
    )
    op.create_index("ix_notes_ticket", "notes", ["shop_id", "ticket_id"], unique=False)
    op.create_table(
        "parts",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("ticket_id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("name_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("label", sa.String(length=16), nullable=False),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("supplier_id", sa.String(length=36), nullable=True),
        sa.Column("needed_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("ordered_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("due_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("arrived_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("article", sa.String(length=60), server_default=sa.text("('')"), nullable=False),
        sa.Column("order_ref", sa.String(length=60), server_default=sa.text("('')"), nullable=False),
        sa.Column("slip", sa.String(length=60), server_default=sa.text("('')"), nullable=False),
        sa.Column("cost", sa.BigInteger(), nullable=True),
        sa.Column("ended_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("instead_of", sa.String(length=36), nullable=True),
        sa.Column("late_days", sa.Integer(), nullable=True),
        sa.Column("told_late_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("changes", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.ForeignKeyConstraint(
            ["shop_id", "ticket_id"], ["tickets.shop_id", "tickets.id"], name=op.f("fk_parts_shop_id_ticket_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_parts")),
        sa.UniqueConstraint("shop_id", "label", name=op.f("uq_parts_shop_id_label")),
    )
    op.create_index("ix_parts_due", "parts", ["shop_id", "state", "due_at"], unique=False)
    op.create_index("ix_parts_parcel", "parts", ["shop_id", "supplier_id", "due_at"], unique=False)
    op.create_index("ix_parts_ticket", "parts", ["shop_id", "ticket_id"], unique=False)
    op.create_table(
        "promises",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("ticket_id", sa.String(length=36), nullable=False),
        sa.Column("turn", sa.Integer(), nullable=False),
        sa.Column("scored", sa.Boolean(), nullable=False),
        sa.Column("made_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("promise_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("why", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("chance", sa.Float(), nullable=True),
        sa.Column("level", sa.Float(), nullable=True),
        sa.Column("quantile_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("grid", sa.JSON(), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=True),
        sa.Column("model", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("inputs", sa.String(length=64), server_default=sa.text("('')"), nullable=False),
        sa.Column("ready_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("left_out", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("pit", sa.Float(), nullable=True),
        sa.Column("settled_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("warned_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["shop_id", "ticket_id"], ["tickets.shop_id", "tickets.id"], name=op.f("fk_promises_shop_id_ticket_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_promises")),
        sa.UniqueConstraint("shop_id", "ticket_id", "turn", name=op.f("uq_promises_shop_id_ticket_id_turn")),
    )
    op.create_index("ix_promises_promise", "promises", ["shop_id", "promise_at"], unique=False)
    op.create_index(
        "ix_promises_unsettled",
        "promises",
        ["shop_id", "promise_at"],
        unique=False,
        sqlite_where=sa.text("settled_at is null"),
        postgresql_where=sa.text("settled_at is null"),
    )
    op.create_table(
        "questions",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("ticket_id", sa.String(length=36), nullable=False),
        sa.Column("person_id", sa.String(length=36), nullable=False),
        sa.Column("kind", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("wording_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("price", sa.BigInteger(), nullable=True),
        sa.Column("part_id", sa.String(length=36), nullable=True),
        sa.Column("state", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("answer", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("asked_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("expires_at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("answered_at", notify.store.types.Instant(timezone=True), nullable=True),
        sa.Column("answered_how", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("said_by_sealed", sa.LargeBinary(), nullable=True),
        sa.Column("staff_id", sa.String(length=36), nullable=True),
        sa.CheckConstraint(
            "state in ('open','answered','taken_back','withdrawn','expired')", name=op.f("ck_questions_state")
        ),
        sa.ForeignKeyConstraint(
            ["shop_id", "ticket_id"], ["tickets.shop_id", "tickets.id"], name=op.f("fk_questions_shop_id_ticket_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_questions")),
    )
    op.create_index("ix_questions_ticket", "questions", ["shop_id", "ticket_id"], unique=False)
    op.create_table(
        "receipts",
        sa.Column("shop_id", sa.String(length=36), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("message_id", sa.String(length=36), nullable=False),
        sa.Column("at", notify.store.types.Instant(timezone=True), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("verdict", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("code", sa.String(length=40), server_default=sa.text("('')"), nullable=False),
        sa.Column("text", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["shop_id", "message_id"], ["messages.shop_id", "messages.id"], name=op.f("fk_receipts_shop_id_message_id")
        ),
        sa.PrimaryKeyConstraint("shop_id", "id", name=op.f("pk_receipts")),
    )
    op.create_index("ix_receipts_message", "receipts", ["shop_id", "message_id"], unique=False)


def downgrade() -> None:
    """There is no way back: restore a backup instead."""
    op.drop_index("ix_receipts_message", table_name="receipts")
    op.drop_table("receipts")
    op.drop_index("ix_questions_ticket", table_name="questions")
    op.drop_table("questions")
    op.drop_index(
        "ix_promises_unsettled",
        table_name="promises",
        sqlite_where=sa.text("settled_at is null"),
        postgresql_where=sa.text("settled_at is null"),
    )
    op.drop_index("ix_promises_promise", table_name="promises")
    op.drop_table("promises")
    op.drop_index("ix_parts_ticket", table_name="parts")
    op.drop_index("ix_parts_parcel", table_name="parts")
    op.drop_index("ix_parts_due", table_name="parts")
    op.drop_table("parts")
    op.drop_index("ix_notes_ticket", table_name="notes")
    op.drop_table("notes")
    op.drop_table("forecasts")
    op.drop_index(
        "ix_calendar_answers_open",
        table_name="calendar_answers",
        sqlite_where=sa.text("state = 'open'"),
        postgresql_where=sa.text("state = 'open'"),
    )
    op.drop_index("ix_calendar_answers_booking", table_name="calendar_answers")
    op.drop_table("calendar_answers")
    op.drop_index("ix_visit_people_person", table_name="visit_people")
    op.drop_table("visit_people")
    op.drop_index("ix_tickets_visit", table_name="tickets")
    op.drop_index("ix_tickets_phase", table_name="tickets")
    op.drop_index("ix_tickets_person", table_name="tickets")
    op.drop_index(
        "ix_tickets_follows",
        table_name="tickets",
        sqlite_where=sa.text("follows_id is not null"),
        postgresql_where=sa.text("follows_id is not null"),
    )
    op.drop_table("tickets")
    op.drop_table("sessions")
    op.drop_index("ix_requests_person", table_name="requests")
    op.drop_index(
        "ix_requests_open",
        table_name="requests",
        sqlite_where=sa.text("state = 'open'"),
        postgresql_where=sa.text("state = 'open'"),
    )
    op.drop_table("requests")
    op.drop_table("refused_events")
    op.drop_index("ix_past_jobs_kind", table_name="past_jobs")
    op.drop_index("ix_past_jobs_ended", table_name="past_jobs")
    op.drop_table("past_jobs")
    op.drop_index("ix_passes_visit", table_name="passes")
    op.drop_index("ix_passes_person", table_name="passes")
    op.drop_index(
        "ix_passes_live",
        table_name="passes",
        sqlite_where=sa.text("state in ('asked','open')"),
        postgresql_where=sa.text("state in ('asked','open')"),
    )
    op.drop_index("ix_passes_given_by", table_name="passes")
    op.drop_table("passes")
    op.drop_index("ix_messages_visit", table_name="messages")
    op.drop_index(
        "ix_messages_to_shop",
        table_name="messages",
        sqlite_where=sa.text("person_id = ''"),
        postgresql_where=sa.text("person_id = ''"),
    )
    op.drop_index(
        "ix_messages_to_call",
        table_name="messages",
        sqlite_where=sa.text("state = 'to_call'"),
        postgresql_where=sa.text("state = 'to_call'"),
    )
    op.drop_index(
        "ix_messages_provider",
        table_name="messages",
        sqlite_where=sa.text("provider_id is not null"),
        postgresql_where=sa.text("provider_id is not null"),
    )
    op.drop_index(
        "ix_messages_parts",
        table_name="messages",
        sqlite_where=sa.text("parts > 0"),
        postgresql_where=sa.text("parts > 0"),
    )
    op.drop_index(
        "ix_messages_given_up",
        table_name="messages",
        sqlite_where=sa.text("state = 'given_up'"),
        postgresql_where=sa.text("state = 'given_up'"),
    )
    op.drop_index(
        "ix_messages_due",
        table_name="messages",
        sqlite_where=sa.text("state = 'waiting'"),
        postgresql_where=sa.text("state = 'waiting'"),
    )
    op.drop_index("ix_messages_cause", table_name="messages")
    op.drop_table("messages")
    op.drop_index("ix_events_visit", table_name="events")
    op.drop_index("ix_events_ticket", table_name="events")
    op.drop_index(
        "ix_events_refused",
        table_name="events",
        sqlite_where=sa.text("kind = 'handover_refused'"),
        postgresql_where=sa.text("kind = 'handover_refused'"),
    )
    op.drop_index(
        "ix_events_handover",
        table_name="events",
        sqlite_where=sa.text("kind = 'handover_done'"),
        postgresql_where=sa.text("kind = 'handover_done'"),
    )
    op.drop_table("events")
    op.drop_index("ix_data_holds_visit", table_name="data_holds")
    op.drop_index("ix_data_holds_person", table_name="data_holds")
    op.drop_table("data_holds")
    op.drop_index("ix_contacts_person", table_name="contacts")
    op.drop_index("ix_contacts_lookup_key", table_name="contacts")
    op.drop_index("ix_contacts_lookup", table_name="contacts")
    op.drop_table("contacts")
    op.drop_index("ix_contact_codes_visit", table_name="contact_codes")
    op.drop_table("contact_codes")
    op.drop_index("ix_consents_person", table_name="consents")
    op.drop_table("consents")
    op.drop_index(
        "uq_bookings_place",
        table_name="bookings",
        sqlite_where=sa.text("state = 'booked'"),
        postgresql_where=sa.text("state = 'booked'"),
    )
    op.drop_index(
        "uq_bookings_live",
        table_name="bookings",
        sqlite_where=sa.text("state = 'booked'"),
        postgresql_where=sa.text("state = 'booked'"),
    )
    op.drop_index("ix_bookings_visit", table_name="bookings")
    op.drop_index("ix_bookings_uid", table_name="bookings")
    op.drop_index("ix_bookings_start", table_name="bookings")
    op.drop_table("bookings")
    op.drop_index("ix_absences_ends", table_name="absences")
    op.drop_table("absences")
    op.drop_table("wordings")
    op.drop_table("visits")
    op.drop_index(
        "uq_uncollected_rules_active",
        table_name="uncollected_rules",
        sqlite_where=sa.text("active"),
        postgresql_where=sa.text("active"),
    )
    op.drop_table("uncollected_rules")
    op.drop_table("throttles")
    op.drop_table("taken_rows")
    op.drop_table("taken_letters")
    op.drop_table("taken_files")
    op.drop_index("ix_suppressions_hash", table_name="suppressions")
    op.drop_table("suppressions")
    op.drop_table("suppliers")
    op.drop_table("staff")
    op.drop_table("special_days")
    op.drop_table("source_words")
    op.drop_table("source_states")
    op.drop_table("shown_stamps")
    op.drop_table("shops")
    op.drop_table("shop_settings")
    op.drop_table("retention_rules")
    op.drop_index("ix_replies_visit", table_name="replies")
    op.drop_index("ix_replies_ticket", table_name="replies")
    op.drop_index("ix_replies_person", table_name="replies")
    op.drop_index(
        "ix_replies_new",
        table_name="replies",
        sqlite_where=sa.text("state = 'new'"),
        postgresql_where=sa.text("state = 'new'"),
    )
    op.drop_table("replies")
    op.drop_index(
        "uq_repair_kinds_catch_all",
        table_name="repair_kinds",
        sqlite_where=sa.text("catch_all"),
        postgresql_where=sa.text("catch_all"),
    )
    op.drop_table("repair_kinds")
    op.drop_table("people")
    op.drop_index("ix_pad_tickets_pad", table_name="pad_tickets")
    op.drop_table("pad_tickets")
    op.drop_table("lost_requests")
    op.drop_table("listeners")
    op.drop_table("job_runs")
    op.drop_table("idempotency")
    op.drop_table("hours")
    op.drop_table("forecast_runs")
    op.drop_table("feeds")
    op.drop_table("erasures")
    op.drop_index(
        "uq_doubts_open",
        table_name="doubts",
        sqlite_where=sa.text("state = 'open'"),
        postgresql_where=sa.text("state = 'open'"),
    )
    op.drop_index("ix_doubts_ticket", table_name="doubts")
    op.drop_table("doubts")
    op.drop_index("ix_contact_reads_person", table_name="contact_reads")
    op.drop_index("ix_contact_reads_at", table_name="contact_reads")
    op.drop_table("contact_reads")
    op.drop_table("clock_trails")
    op.drop_index(
        "ix_bench_orders_suggested",
        table_name="bench_orders",
        sqlite_where=sa.text("state = 'suggested'"),
        postgresql_where=sa.text("state = 'suggested'"),
    )
    op.drop_index(
        "ix_bench_orders_standing",
        table_name="bench_orders",
        sqlite_where=sa.text("state = 'standing'"),
        postgresql_where=sa.text("state = 'standing'"),
    )
    op.drop_table("bench_orders")
    op.drop_table("api_tokens")
