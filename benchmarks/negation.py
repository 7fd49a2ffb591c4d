"""Negation on 2,376 given spans of written reports: ours beside two general libraries as shipped.

    python benchmarks/negation.py [--no-peers] [--no-write] [--errors]

The figures go to ``negation.json``. The peers run in an environment of their own, made under ``build/``; where it can't
be made they are left out, with the reason. The data, its licence and its caveats: ``negation/README.md``.
"""

import argparse
import csv
import json
import random
import re
import subprocess
import sys
import time
import venv
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from pipeline.extract.assertion import negated_span  # noqa: E402  (the checkout need not be installed)
from pipeline.vocabulary import load_vocabulary  # noqa: E402

FOLDER = ROOT / "benchmarks/negation"
FIGURES = ROOT / "benchmarks/negation.json"
PEERS = ROOT / "build/negation-peers"
# spaCy 3.7 was built against numpy 1
PEER_PACKAGES = ("medspacy==1.3.1", "negspacy==1.0.4", "numpy<2", "pandas<3")
RESAMPLES = 400


@dataclass(frozen=True)
class Row:
    """One judged span: half-open character range ``[start, end)`` of the concept in the lower-cased sentence."""

    sentence: str
    start: int
    end: int
    negated: bool


def read_rows() -> list[Row]:
    """The rows of the kit, lower-cased after the concept is found: its capitals would give it away."""
    rows = []
    with (FOLDER / "Annotations-1-120-random.txt").open(encoding="ascii", newline="") as file:
        for _, concept, sentence, gold, *_ in csv.reader(file, delimiter="\t"):
            sentence, concept = " ".join(sentence.split()), " ".join(concept.split())
            start = sentence.find(concept.upper())
            if start < 0:
                start = max(0, sentence.lower().find(concept.lower()))  # 11 concepts do not occur verbatim
            end = min(len(sentence), start + len(concept))
            rows.append(Row(sentence.lower(), start, end, gold.strip() == "Negated"))
    return rows


def figures(rows: Sequence[Row], said: Sequence[bool]) -> dict[str, float]:
    """Precision, recall and F1 of the class Negated."""
    both = sum(row.negated and answer for row, answer in zip(rows, said, strict=True))
    precision = both / max(1, sum(said))
    recall = both / max(1, sum(row.negated for row in rows))
    f1 = 2 * precision * recall / max(1e-9, precision + recall)
    return {"precision": round(precision, 4), "recall": round(recall, 4), "f1": round(f1, 4)}


def interval(rows: Sequence[Row], said: Sequence[bool]) -> list[float]:
    """The 95 % interval of F1 over resamples of distinct sentences (rows of one sentence stay together)."""
    groups: dict[str, list[int]] = defaultdict(list)
    for i, row in enumerate(rows):
        groups[row.sentence].append(i)
    keys, draw, values = list(groups), random.Random(1), []
    for _ in range(RESAMPLES):
        picked = [i for key in draw.choices(keys, k=len(keys)) for i in groups[key]]
        values.append(figures([rows[i] for i in picked], [said[i] for i in picked])["f1"])
    values.sort()
    return [values[int(0.025 * RESAMPLES)], values[int(0.975 * RESAMPLES) - 1]]


def ours(rows: Sequence[Row]) -> tuple[list[bool], float]:
    """Our answers and sentences a second of processor time, warm."""
    vocab = load_vocabulary()
    negated_span(rows[0].sentence, rows[0].start, rows[0].end, vocab)
    began = time.process_time()
    said = [negated_span(row.sentence, row.start, row.end, vocab) for row in rows]
    return said, len(rows) / (time.process_time() - began)


def peers(rows: Sequence[Row]) -> tuple[dict[str, Any], str]:
    """The answers of both libraries, or nothing and the reason why not."""
    python = PEERS / "bin/python"
    try:
        if not (PEERS / "complete").exists():
            venv.create(PEERS, with_pip=True, clear=True)
            subprocess.run([python, "-m", "pip", "install", "-q", *PEER_PACKAGES], check=True, capture_output=True)
            (PEERS / "complete").touch()
        asked = json.dumps([(row.sentence, row.start, row.end) for row in rows])
        done = subprocess.run([python, FOLDER / "peers.py"], input=asked, check=True, capture_output=True, text=True)
    except subprocess.CalledProcessError as error:
        tail = re.sub(r"\s+", " ", str(error.stderr or ""))[-300:]
        return {}, f"peers left out: {Path(str(error.cmd[0])).name} failed: {tail}"
    except OSError as error:
        return {}, f"peers left out: {error.strerror}"
    answers: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answers, ""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--no-peers", action="store_true", help="ours alone")
    parser.add_argument("--no-write", action="store_true", help="leave negation.json as it is")
    parser.add_argument("--errors", action="store_true", help="print our errors")
    args = parser.parse_args()

    rows = read_rows()
    said, pace = ours(rows)
    out: dict[str, Any] = json.loads(FIGURES.read_text(encoding="utf-8")) if FIGURES.exists() else {}
    out["handspoken"] = {**figures(rows, said), "f1_95": interval(rows, said)}
    speeds = {"handspoken": pace}
    reason = "peers left out: asked for" if args.no_peers else ""
    if not args.no_peers:
        answers, reason = peers(rows)
        for name, answer in answers.items():
            out[name] = {**figures(rows, answer["negated"]), "f1_95": interval(rows, answer["negated"])}
            speeds[name] = answer["sentences_per_second"]
    lines = [f"{len(rows)} spans, {sum(row.negated for row in rows)} negated"]
    lines += [f"{name:18} {out[name]}  {pace:.0f} sentences/s" for name, pace in speeds.items()]
    lines += [reason] if reason else []
    if args.errors:
        wrong = [(row, answer) for row, answer in zip(rows, said, strict=True) if row.negated != answer]
        lines += [
            f"{'+' if answer else '-'} [{row.sentence[row.start : row.end]}] {row.sentence}" for row, answer in wrong
        ]
    sys.stdout.write("\n".join(lines) + "\n")
    if not args.no_write:
        FIGURES.write_text(json.dumps(out, indent=1, sort_keys=True) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
