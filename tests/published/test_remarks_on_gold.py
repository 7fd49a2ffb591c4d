"""The tracked table of pressing remarks on known items is what the check raises today, each with a person's judgement."""

import csv
import importlib.util
from pathlib import Path

FOLDER = Path(__file__).parents[2] / "benchmarks"


def test_each_pressing_remark_on_known_items_stands_in_the_table_with_its_judgement() -> None:
    spec = importlib.util.spec_from_file_location("remarks_on_gold", FOLDER / "remarks_on_gold.py")
    assert spec is not None
    assert spec.loader is not None
    table = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(table)
    with (FOLDER / "remarks_on_gold.tsv").open(encoding="utf-8", newline="") as file:
        kept = list(csv.DictReader(file, delimiter="\t"))
    paths = sorted((FOLDER / "narrations").glob("*.json"))
    names = {path.stem for path in paths}

    raised = {(row["narration"], row["urgency"], row["remark"]) for path in paths for row in table.rows_of(path)}

    assert raised == {(row["narration"], row["urgency"], row["remark"]) for row in kept if row["narration"] in names}
    assert [row["remark"] for row in kept if not row["judgement"].startswith("justified")] == []
