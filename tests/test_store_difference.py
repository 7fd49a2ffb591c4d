"""Only rows that differ are written, whatever stood there before."""

import random

import pytest
import sqlalchemy as sa

from pipeline.store.difference import Difference

METADATA = sa.MetaData()
KEYED = sa.Table(
    "keyed",
    METADATA,
    sa.Column("visit", sa.Text, primary_key=True),
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("position", sa.Integer),
    sa.Column("data", sa.JSON),
)
NUMBERED = sa.Table(
    "numbered",
    METADATA,
    sa.Column("row", sa.Integer, primary_key=True),
    sa.Column("visit", sa.Text),
    sa.Column("line", sa.Text),
    sa.Column("text", sa.Text),
)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("table", [KEYED, NUMBERED], ids=lambda table: str(table.name))
def test_rows_end_as_wanted_and_those_of_others_stay(table: sa.Table, seed: int) -> None:
    choose = random.Random(seed)

    def some(visit: str) -> list[dict[str, object]]:
        ids = choose.sample("abcdefgh", choose.randint(0, 8))
        if table is KEYED:
            return [
                {"visit": visit, "id": key, "position": n, "data": {"x": choose.choice([1, [2], None])}}
                for n, key in enumerate(ids)
            ]
        texts = ids + choose.choices(ids, k=2) if ids else []  # what was said twice stands twice
        return [{"visit": visit, "line": choose.choice([None, "l"]), "text": text} for text in texts]

    def stands(connection: sa.Connection, visit: str) -> list[str]:
        rows = connection.execute(sa.select(table).where(table.c.visit == visit)).mappings()
        return sorted(repr({name: row[name] for name in row if name != "row"}) for row in rows)

    engine = sa.create_engine("sqlite://")
    METADATA.create_all(engine)
    with engine.begin() as connection:
        for visit in ("mine", "other"):
            if rows := some(visit):
                connection.execute(table.insert(), rows)
        other = stands(connection, "other")
        for _ in range(3):
            wanted = some("mine")
            difference = Difference(connection, table, table.c.visit == "mine", wanted)
            difference.remove()
            difference.bring_up()
            assert stands(connection, "mine") == sorted(repr(row) for row in wanted)
            before = connection.exec_driver_sql("SELECT total_changes()").scalar()
            again = Difference(connection, table, table.c.visit == "mine", wanted)
            again.remove()
            again.bring_up()
            assert connection.exec_driver_sql("SELECT total_changes()").scalar() == before, "nothing differs"
        assert stands(connection, "other") == other
