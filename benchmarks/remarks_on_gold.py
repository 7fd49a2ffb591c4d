"""Which pressing remarks the check raises from the known items of narrations, and by what; kept in a tracked table.

    python benchmarks/remarks_on_gold.py [FOLDER ...]

A folder holds NAME.json (age, gestation_weeks, items); ``benchmarks/narrations`` if none is given. Every remark of
urgency refer, same day or emergency and every one of the safeguarding class is a row of ``remarks_on_gold.tsv``. A
person's judgement in the last column is kept; a new row has ``?``. Exit code 1 if a row has no judgement.
"""

import csv
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from pipeline.ages import parse_age  # noqa: E402  (the checkout need not be installed)
from pipeline.check import check, load_norms  # noqa: E402
from pipeline.model import Infant, Item, Span, Urgency  # noqa: E402

TABLE = ROOT / "benchmarks/remarks_on_gold.tsv"
PRESSING = (Urgency.REFER, Urgency.SAME_DAY, Urgency.EMERGENCY)
COLUMNS = ("narration", "urgency", "class", "remark", "title", "items", "judgement")
OUTSIDE_THE_ITEM = ("quote", "optional", "start", "end", "confidence", "note")


def items_of(rows: list[dict[str, Any]]) -> tuple[Item, ...]:
    """The known items as the extraction would hand them on, said one second after the other."""
    made = []
    for n, row in enumerate(rows):
        span = Span(start_ms=1000 * n, end_ms=1000 * n + 900, words=(n, n + 1), quote=row["quote"])
        kept = {key: value for key, value in row.items() if key not in OUTSIDE_THE_ITEM}
        made.append(Item.model_validate({**kept, "id": f"{n:03}", "evidence": (span,)}))
    return tuple(made)


def rows_of(path: Path) -> Iterator[dict[str, str]]:
    """The rows of one narration, without judgement. The sex is left open: it decides no danger sign but by weight."""
    data = json.loads(path.read_text(encoding="utf-8"))
    told, items = data["gestation_weeks"], items_of(data["items"])
    weeks = None if told is None else int(told)  # completed weeks
    infant = Infant(id=path.stem, code_name=path.stem, gestation_weeks=weeks, sex=data.get("sex"))
    by_id = {item.id: item for item in items}
    for remark in check(items, infant=infant, age=parse_age(data["age"], weeks), norms=load_norms()):
        if remark.urgency in PRESSING or remark.safeguarding:
            based_on = [by_id[i] for i in remark.items]
            yield {
                "narration": path.stem,
                "urgency": remark.urgency.value,
                "class": "safeguarding" if remark.safeguarding else "",
                "remark": remark.id,
                "title": remark.title,
                "items": "; ".join(f'{i.concept} {i.site} {i.side} {i.result} "{i.quote}"' for i in based_on),
            }


def rule_of(row: dict[str, str]) -> str:
    """The rule of a row's remark: a judgement holds for the rule, whatever places its id names."""
    return row["remark"].split(":")[0]


def main(folders: list[Path]) -> int:
    """Write the table anew; returns the exit code."""
    judged = {}
    if TABLE.exists():
        with TABLE.open(encoding="utf-8", newline="") as file:
            kept = list(csv.DictReader(file, delimiter="\t"))
        judged = {(row["narration"], rule_of(row)): row["judgement"] for row in kept}
    else:
        kept = []
    paths = sorted(path for folder in folders for path in folder.glob("*.json"))
    tried = {path.stem for path in paths}
    rows = [row for path in paths for row in rows_of(path)]
    for row in rows:
        row["judgement"] = judged.get((row["narration"], rule_of(row)), "?")
    rows += [row for row in kept if row["narration"] not in tried]
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, COLUMNS, delimiter="\t", lineterminator="\n")
        table.writeheader()
        table.writerows(sorted(rows, key=lambda row: row["narration"]))
    counts = [f"{urgency.value} {sum(row['urgency'] == urgency for row in rows)}" for urgency in PRESSING]
    counts += [f"safeguarding {sum(bool(row['class']) for row in rows)}", f"narrations read {len(tried)}"]
    sys.stdout.write(", ".join(counts) + "\n")
    return int(any(row["judgement"] == "?" for row in rows))


if __name__ == "__main__":
    sys.exit(main([Path(arg) for arg in sys.argv[1:]] or [ROOT / "benchmarks/narrations"]))
