"""How well and how fast items are found in narrations with known items; the figures go to ``extraction.json``.

    python benchmarks/extraction.py [FOLDER ...] [--errors] [--readings] [--only d01,d03] [--no-write]

A folder holds pairs of NAME.vtt and NAME.json (age, gestation_weeks, items). Without one, ``benchmarks/narrations`` is
taken. ``--readings`` scores the spoken snippets of ``tests/readings`` too, by the same rules; the errors of
``closed.yaml`` are never printed, so that no rule is made for its sentences.
"""

import argparse
import json
import re
import sys
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml
from score import Slots, score

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from pipeline.ages import parse_age  # noqa: E402  (the checkout need not be installed)
from pipeline.extract import Extractor  # noqa: E402
from pipeline.model import Age, Transcript, Word  # noqa: E402
from pipeline.run import extraction_json  # noqa: E402
from pipeline.vocabulary import load_vocabulary  # noqa: E402
from pipeline.vtt import parse_vtt, read_vtt, stamp  # noqa: E402

FIGURES = ROOT / "benchmarks/extraction.json"
EDGES = re.compile(r"^[^\w'%°]+|[^\w'%°]+$")
READINGS = ("open", "sixty", "fresh", "classes", "told", "everyday", "closed", "later")
UNSEEN = ("closed", "later")  # no rule is made for their sentences


@dataclass(frozen=True)
class Case:
    """A transcript and what is to be made of it."""

    name: str
    transcript: Transcript
    age: Age | None
    gold: list[Slots]


def narrations(folder: Path, only: Sequence[str] = ()) -> list[Case]:
    """The narrations of a folder in the order of their names."""
    cases = []
    for path in sorted(folder.glob("*.vtt")):
        if only and path.stem not in only:
            continue
        data = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        age = parse_age(data["age"], data["gestation_weeks"])
        cases.append(Case(path.stem, read_vtt(path), age, data["items"]))
    return cases


def rows(name: str) -> list[dict[str, Any]]:
    """The rows of one file of readings (tests/readings/README.md)."""
    found: list[dict[str, Any]] = yaml.safe_load((ROOT / f"tests/readings/{name}.yaml").read_text(encoding="utf-8"))
    return found


def reading(row: dict[str, Any]) -> Case:
    """A row of the readings as it was spoken: one utterance a string, 0.3 s a word."""
    said = row["say"] if isinstance(row["say"], list) else [row["say"]]
    clock, blocks = 0, ["WEBVTT"]
    for cue in [*([row["before"]] if "before" in row else []), *said]:
        end = clock + 300 * len(cue.split())
        blocks.append(f"{stamp(clock)} --> {stamp(end)}\n{cue}")
        clock = end + 600
    age = parse_age(row["age"], row.get("gestation_weeks")) if "age" in row else None
    gold = [{**item, "optional": item.get("optional", False) or "one_of" in item} for item in row["items"]]
    return Case(row["id"], parse_vtt("\n\n".join(blocks) + "\n"), age, gold)


def readings(name: str) -> list[Case]:
    """The snippets of one file of readings."""
    return [reading(row) for row in rows(name)]


def bare(transcript: Transcript) -> Transcript:
    """The transcript as a recogniser without punctuation and capitals would give it."""
    words: list[Word] = []
    utterances: list[tuple[int, int]] = []
    for i0, i1 in transcript.utterances:
        first = len(words)
        for word in transcript.words[i0:i1]:
            text = EDGES.sub("", word.text.lower())
            if text:
                words.append(Word(i=len(words), text=text, start_ms=word.start_ms, end_ms=word.end_ms))
        if len(words) > first:
            utterances.append((first, len(words)))
    return transcript.model_copy(update={"words": tuple(words), "utterances": tuple(utterances)})


def measure(extractor: Extractor, cases: Sequence[Case], *, plain: bool = False) -> tuple[dict[str, float], list[str]]:
    """The contract's figures over all cases; ``plain``: without punctuation and capitals."""
    sets: list[tuple[str, Iterable[Slots], Iterable[Slots]]] = []
    vocab = load_vocabulary()
    for case in cases:
        transcript = bare(case.transcript) if plain else case.transcript
        made = extractor.extract(transcript, age=case.age)
        sets.append((case.name, case.gold, extraction_json(made, vocab)["items"]))
    return score(sets)


def speed(extractor: Extractor, cases: Sequence[Case], rounds: int = 5) -> float:
    """Words a second of processor time, warm: the best of some rounds over all cases."""
    words = sum(len(case.transcript.words) for case in cases)
    best = float("inf")
    for _ in range(rounds):
        began = time.process_time()
        for case in cases:
            extractor.extract(case.transcript, age=case.age)
        best = min(best, time.process_time() - began)
    return words / best


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="*", type=Path, metavar="FOLDER")
    parser.add_argument("--errors", action="store_true", help="print every error")
    parser.add_argument("--readings", action="store_true", help="score tests/readings too")
    parser.add_argument("--only", default="", help="names of narrations, comma between; writes no figures")
    parser.add_argument("--no-write", action="store_true", help="leave extraction.json as it is")
    args = parser.parse_args()

    only = [name for name in args.only.split(",") if name]
    sets = [(folder.resolve().name, narrations(folder, only)) for folder in args.folders]
    sets = sets or [("narrations", narrations(ROOT / "benchmarks/narrations", only))]
    if args.readings:
        sets += [(f"readings/{name}", readings(name)) for name in READINGS]

    extractor = Extractor(load_vocabulary())
    figures: dict[str, dict[str, float]] = json.loads(FIGURES.read_text(encoding="utf-8")) if FIGURES.exists() else {}
    out: list[str] = []
    for name, cases in sets:
        found, errors = measure(extractor, cases)
        without, _ = measure(extractor, cases, plain=True)
        found["strict_f1_without_punctuation"] = without["strict_f1"]
        found["swapped_without_punctuation"] = without["swapped"]
        out += [f"== {name}: {len(cases)} texts, {sum(len(case.transcript.words) for case in cases)} words"]
        out += [f"{key:32} {value}" for key, value in found.items()]
        if args.errors and name.removeprefix("readings/") not in UNSEEN:
            out += errors
        if not name.startswith("readings/"):
            found["words_per_second"] = round(speed(extractor, cases), -3)  # rounded, so that noise makes no diff
            out += [f"{'words_per_second':32} {found['words_per_second']:.0f}"]
        figures[name] = found
    sys.stdout.write("\n".join(out) + "\n")
    if not only and not args.no_write:
        FIGURES.write_text(json.dumps(figures, indent=1, sort_keys=True) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
