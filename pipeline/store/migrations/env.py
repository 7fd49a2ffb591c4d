"""Alembic's entry: runs the revisions on the connection that the store hands over, in one transaction."""

from alembic import context

from pipeline.store.fts import create_fts, guard_events
from pipeline.store.schema import metadata

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=metadata,
    render_as_batch=True,
    transactional_ddl=True,
    # the index and its shadow tables are made by create_fts()
    include_name=lambda name, kind, _: not (kind == "table" and (name or "").startswith("passage_fts")),
)
with context.begin_transaction():
    context.run_migrations()
create_fts(connection)
guard_events(connection)
