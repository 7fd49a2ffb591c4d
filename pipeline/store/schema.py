"""The tables. ``event`` is the record; every other table is derived from events and blobs and may be rebuilt.

    event ─┬─> infant ── infant_name, contact <── visit ──> recording <── transcript
           └─ (with the transcript's blob) ──> run, item ── evidence, remark, line ── line_item, passage ── passage_fts

Keys are texts (ULID, content hash, item id); ``event.seq`` gives the one order of replay. ``item`` repeats the infant,
the day and the age of its visit, so that a search by finding needs no join to filter or to order.
"""

import sqlalchemy as sa

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(column_0_N_label)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

event = sa.Table(
    "event",
    metadata,
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("id", sa.String(26), nullable=False, unique=True),
    sa.Column("at", sa.String(32), nullable=False),  # UTC, ISO 8601
    sa.Column("author", sa.Text, nullable=False),  # id of a practitioner; "" where nobody signed in by name
    sa.Column("infant", sa.String(26), index=True),
    sa.Column("visit", sa.String(26), index=True),
    sa.Column("type", sa.String(40), nullable=False, index=True),
    sa.Column("payload", sa.JSON, nullable=False),
    sa.Column("hash", sa.String(64), nullable=False, server_default=""),  # over it and the hash before (chain.py)
    sa.Column("salt", sa.String(32), nullable=False, server_default=""),  # "" where the payload was destroyed
    sa.Column("content", sa.String(64), nullable=False, server_default=""),  # salted hash of the payload as it came
    sa.Column("first_hash", sa.String(64)),  # of events from before revision 0005
    sqlite_autoincrement=True,  # a number is never given twice
)

infant = sa.Table(
    "infant",
    metadata,
    sa.Column("id", sa.String(26), primary_key=True),
    sa.Column("code_name", sa.Text, nullable=False),
    sa.Column("code_key", sa.Text, nullable=False, unique=True),  # the code name without regard to case
    sa.Column("legal_name", sa.Text),
    sa.Column("born", sa.Date),
    sa.Column("sex", sa.String(10)),
    sa.Column("gestation_weeks", sa.Integer),
    sa.Column("birth_weight_kg", sa.Float),
    sa.Column("risk_factors", sa.JSON, nullable=False),
    sa.Column("carers", sa.JSON, nullable=False),
    sa.Column("merged_into", sa.ForeignKey("infant.id"), index=True),  # the infant that this entry turned out to be
)

# Every name an infant was ever known by, from the event on that gave it.
infant_name = sa.Table(
    "infant_name",
    metadata,
    sa.Column("infant", sa.ForeignKey("infant.id"), primary_key=True),
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("seq", sa.Integer, nullable=False, index=True),
)

# ``filed_to``: whom it was filed to; ``infant``: who that turned out to be.
visit = sa.Table(
    "visit",
    metadata,
    sa.Column("id", sa.String(26), primary_key=True),
    sa.Column("filed_to", sa.ForeignKey("infant.id"), nullable=False, index=True),
    sa.Column("infant", sa.ForeignKey("infant.id"), nullable=False),
    sa.Column("day", sa.Date, nullable=False),
    sa.Column("at", sa.Time),
    sa.Column("age", sa.JSON(none_as_null=True)),
    sa.Column("opened", sa.Integer, nullable=False),  # the event that opened it
    sa.Column("recording", sa.ForeignKey("recording.id"), index=True),  # or the text typed; none while it is open
    sa.Column("stretches", sa.JSON(none_as_null=True)),  # [[start_ms, end_ms], ...] of the recording; null: all of it
    sa.Index("ix_visit_infant_day", "infant", "day"),
    sa.Index("ix_visit_day", "day"),
)

# What is no visit: a call, a report that came, an answered referral, a missed visit.
contact = sa.Table(
    "contact",
    metadata,
    sa.Column("id", sa.String(26), primary_key=True),  # of its event
    sa.Column("filed_to", sa.ForeignKey("infant.id"), nullable=False, index=True),
    sa.Column("infant", sa.ForeignKey("infant.id"), nullable=False),
    sa.Column("visit", sa.ForeignKey("visit.id")),
    sa.Column("day", sa.Date, nullable=False),
    sa.Column("at", sa.Time),
    sa.Column("what", sa.String(20), nullable=False),
    sa.Column("text", sa.Text, nullable=False),
    sa.Column("files", sa.JSON, nullable=False),
    sa.Index("ix_contact_infant_day", "infant", "day"),
)

recording = sa.Table(
    "recording",
    metadata,
    sa.Column("id", sa.String(64), primary_key=True),
    sa.Column("sha256", sa.String(64), nullable=False, index=True),
    sa.Column("media_type", sa.Text, nullable=False),
    sa.Column("duration_ms", sa.Integer, nullable=False),
    sa.Column("data", sa.JSON, nullable=False),
)

transcript = sa.Table(
    "transcript",
    metadata,
    sa.Column("sha256", sa.String(64), primary_key=True),  # of its JSON blob
    sa.Column("recording", sa.ForeignKey("recording.id"), nullable=False, index=True),
    sa.Column("version", sa.Integer, nullable=False),  # 1, 2, ... of its recording
    sa.Column("model_sha256", sa.String(64), nullable=False),
    sa.Column("vocab_hash", sa.String(64), nullable=False),
)

run = sa.Table(
    "run",
    metadata,
    sa.Column("visit", sa.ForeignKey("visit.id"), primary_key=True),
    sa.Column("transcript", sa.ForeignKey("transcript.sha256"), nullable=False),
    sa.Column("program", sa.Text, nullable=False),
    sa.Column("vocab_hash", sa.String(64), nullable=False),
    sa.Column("basis", sa.String(64), nullable=False, server_default=""),  # hash of all that the draft was made by
)

item = sa.Table(
    "item",
    metadata,
    sa.Column("id", sa.String(36), primary_key=True),
    sa.Column("visit", sa.ForeignKey("visit.id"), nullable=False, index=True),
    sa.Column("infant", sa.ForeignKey("infant.id"), nullable=False),
    sa.Column("day", sa.Date, nullable=False),
    sa.Column("age_days", sa.Integer),
    sa.Column("corrected_days", sa.Integer),
    sa.Column("position", sa.Integer, nullable=False),  # in spoken order
    sa.Column("kind", sa.String(12), nullable=False),
    sa.Column("concept", sa.String(64), nullable=False),
    sa.Column("site", sa.String(64)),
    sa.Column("side", sa.String(5), nullable=False),
    sa.Column("level", sa.String(16)),
    sa.Column("result", sa.String(40)),
    sa.Column("value", sa.Float),
    sa.Column("unit", sa.String(16)),
    sa.Column("start_ms", sa.Integer, nullable=False),
    sa.Column("end_ms", sa.Integer, nullable=False),
    sa.Column("data", sa.JSON, nullable=False),  # the whole item less its evidence
    # Found in the order of days (wanted.py), filtered without a look at the row.
    sa.Index("ix_item_concept", "concept", "result", "day", "side", "age_days", "corrected_days", "value", "unit"),
    sa.Index("ix_item_site_concept", "site", "concept", "result", "day", "side", "age_days", "corrected_days"),
    sa.Index("ix_item_site_day", "site", "day"),
    sa.Index("ix_item_infant_day", "infant", "day"),
)

evidence = sa.Table(
    "evidence",
    metadata,
    sa.Column("item", sa.ForeignKey("item.id"), primary_key=True),
    sa.Column("position", sa.Integer, primary_key=True),
    sa.Column("role", sa.String(10), nullable=False),
    sa.Column("start_ms", sa.Integer, nullable=False),
    sa.Column("end_ms", sa.Integer, nullable=False),
    sa.Column("i0", sa.Integer, nullable=False),
    sa.Column("i1", sa.Integer, nullable=False),
    sa.Column("quote", sa.Text, nullable=False),
)

remark = sa.Table(
    "remark",
    metadata,
    sa.Column("visit", sa.ForeignKey("visit.id"), primary_key=True),
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("rule", sa.Text, nullable=False),
    sa.Column("urgency", sa.String(16), nullable=False),
    sa.Column("data", sa.JSON, nullable=False),
)

line = sa.Table(
    "line",
    metadata,
    sa.Column("visit", sa.ForeignKey("visit.id"), primary_key=True),
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("position", sa.Integer, nullable=False),  # from the top of the note
    sa.Column("section", sa.Text, nullable=False),
    sa.Column("text", sa.Text, nullable=False),
    sa.Column("data", sa.JSON, nullable=False),
)

line_item = sa.Table(
    "line_item",
    metadata,
    sa.Column("visit", sa.String(26), primary_key=True),
    sa.Column("line", sa.Text, primary_key=True),
    sa.Column("item", sa.ForeignKey("item.id"), primary_key=True, index=True),
    sa.ForeignKeyConstraint(["visit", "line"], ["line.visit", "line.id"]),
)

# What full text is searched in: every utterance, and the lines that a person typed (``line`` set).
passage = sa.Table(
    "passage",
    metadata,
    sa.Column("row", sa.Integer, primary_key=True),
    sa.Column("visit", sa.ForeignKey("visit.id"), nullable=False, index=True),
    sa.Column("line", sa.Text),
    sa.Column("start_ms", sa.Integer, nullable=False),
    sa.Column("end_ms", sa.Integer, nullable=False),
    sa.Column("text", sa.Text, nullable=False),
)

# Stored files that are destroyed, and what stands in their place (null: nothing), by the event that did it.
destroyed = sa.Table(
    "destroyed",
    metadata,
    sa.Column("sha256", sa.String(64), primary_key=True),
    sa.Column("instead", sa.String(64)),
    sa.Column("seq", sa.Integer, nullable=False),
)

# Of one visit, children before parents; made anew at each run.
DRAFT_TABLES = (passage, line_item, line, remark, evidence, item, run)
# All that rebuild() empties, children before parents.
DERIVED_TABLES = (*DRAFT_TABLES, transcript, contact, visit, recording, infant_name, infant, destroyed)
