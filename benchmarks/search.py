"""Speed of asking 100,000 invented visits with 1,000,000 lines, a plain LIKE scan and plain FTS5 beside it.

    python benchmarks/search.py [--visits 100000] [--questions 200] [--to benchmarks/search.json]

The record is made in a temporary folder and deleted afterwards. Every subject does the same work on the same database
in the same run: the newest 50 answers with infant, day and text, and how many there are (ours: counted to a thousand).
The peers look for the words of the question in what was said; they know no hierarchy, no denial, no number and no age.
"handspoken, reading noted" is what a person waits for: the answer, and the entry in the log of who read what.
"""

import argparse
import json
import os
import platform
import random
import resource
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from pipeline.config import Config, Settings
from pipeline.readings import note_read
from pipeline.search import Answer, Options, Search, compile_lexicon, load_lexicon
from pipeline.store import Store
from pipeline.store.reading import Reader
from pipeline.store.wanted import quoted
from pipeline.timeline import timeline_of
from pipeline.vocabulary import Concept, Vocabulary, load_vocabulary

Took = tuple[float, float]
TODAY = date(2026, 11, 25)
LINES_A_VISIT = 10
VISITS_AN_INFANT = 5
ASIDE = ("no", "which", "babies", "had", "at", "the", "over", "under")  # said in no line
LONG = "Heron"  # the infant with forty visits
SIDES = ("left", "right", "both", "none")
SMALL_TALK = (
    "grandma", "pram", "sunshine", "button", "morning", "sleepy", "giggle", "blanket", "window", "traffic", "holiday",
    "brother", "kettle", "garden", "pacifier", "cot", "song", "yawn", "sock", "mobile",
)  # fmt: skip


COLUMNS = {
    "infant": "id, code_name, code_key, born, sex, gestation_weeks, risk_factors, carers",
    "visit": "id, filed_to, infant, day, age, opened",
    "item": "id, visit, infant, day, age_days, corrected_days, position, kind, concept, site, side, result, value, "
    "unit, start_ms, end_ms, data",
    "evidence": "item, position, role, start_ms, end_ms, i0, i1, quote",
    "line": "visit, id, position, section, text, data",
    "line_item": "visit, line, item",
    "passage": "visit, start_ms, end_ms, text",
}


class Invented:
    """Rows of an invented record; the same seed gives the same rows."""

    def __init__(self, vocab: Vocabulary, visits: int, seed: int = 7) -> None:
        self._random = random.Random(seed)
        self._visits = visits
        self._sites = [site.id for site in vocab.sites.values()]
        self._labels = {site.id: site.label for site in vocab.sites.values()}
        self._concepts = [c for c in vocab.concepts.values() if c.say]
        # a few are said at nearly every visit, most are rare
        self._weights = [1 / (n + 1) ** 0.9 for n in range(len(self._concepts))]
        self._random.shuffle(self._concepts)

    def rows(self) -> Iterator[tuple[str, tuple[Any, ...]]]:
        """(table, row) in an order that the foreign keys allow."""
        number = 0
        for n in range(max(1, (self._visits - 40) // VISITS_AN_INFANT)):
            yield from self._infant(f"I{n:025d}", f"infant{n}")
            for _ in range(VISITS_AN_INFANT):
                number += 1
                yield from self._visit(f"V{number:025d}", f"I{n:025d}", self._random.randrange(1, 1000))
        key = f"I{'H' * 25}"
        yield from self._infant(key, LONG)
        for n in range(40):
            number += 1
            yield from self._visit(f"V{number:025d}", key, 400 - n * 7)

    def _infant(self, key: str, name: str) -> Iterator[tuple[str, tuple[Any, ...]]]:
        sex, weeks = self._random.choice(("female", "male")), self._random.randrange(34, 42)
        yield "infant", (key, name, name.casefold(), "2026-01-01", sex, weeks, "[]", "[]")

    def _visit(self, visit: str, infant: str, days_ago: int) -> Iterator[tuple[str, tuple[Any, ...]]]:
        day = (TODAY - timedelta(days=days_ago)).isoformat()
        age = self._random.randrange(3, 400)
        corrected = age - self._random.choice((0, 0, 0, 21))
        ages = json.dumps({"days": age, "corrected_days": corrected, "as_said": ""})
        yield "visit", (visit, infant, infant, day, ages, 1)
        for at, concept in enumerate(self._random.choices(self._concepts, self._weights, k=LINES_A_VISIT)):
            yield from self._line(visit, infant, day, age, corrected, at, concept)

    def _line(
        self, visit: str, infant: str, day: str, age: int, corrected: int, at: int, concept: Concept
    ) -> Iterator[tuple[str, tuple[Any, ...]]]:
        pick = self._random
        site = concept.site or pick.choice(self._sites)
        side = pick.choice(SIDES) if concept.sided else "none"
        result = pick.choice(list(concept.results))
        measured = concept.measure if result == "value" else None
        value = round(pick.uniform(measured.low, measured.high), 1) if measured else None
        unit = measured.unit if measured else None
        item = f"{visit[-20:]}-{at}"
        start, end = at * 4000, at * 4000 + 3500
        data = json.dumps({"degree": pick.choice((None, "slight", "marked")), "change": None, "detail": None})
        where = f"{side} " * (side in ("left", "right")) + self._labels[site]
        said = f"The {where}, {concept.say[0]} {result.replace('_', ' ')}, {pick.choice(SMALL_TALK)}."
        yield "item", (item, visit, infant, day, age, corrected, at, concept.kind, concept.id, site, side, result,
                       value, unit, start, end, data)  # fmt: skip
        yield "evidence", (item, 0, "said", start, end, at * 8, at * 8 + 8, said)
        text = f"{where}: {concept.label}, {concept.results[result].label}"
        yield "line", (visit, item, at, "found", text, "{}")
        yield "line_item", (visit, item, item)
        yield "passage", (visit, start, end, said)


def load(home: Path, vocab: Vocabulary, visits: int) -> dict[str, float]:
    """Make the record, its full-text index included; seconds and megabytes."""
    Store(home).close()
    start = time.perf_counter()
    connection = sqlite3.connect(home / "record.db", isolation_level=None)
    connection.execute("PRAGMA synchronous=OFF")
    connection.execute("PRAGMA cache_size=-200000")
    connection.execute("BEGIN")
    waiting: dict[str, list[tuple[Any, ...]]] = {}
    for table, row in Invented(vocab, visits).rows():
        waiting.setdefault(table, []).append(row)
        if table == "passage" and len(waiting[table]) == 50_000:
            flush(connection, waiting)
    flush(connection, waiting)
    connection.execute("COMMIT")
    connection.execute("ANALYZE")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    size = (home / "record.db").stat().st_size
    return {"load_s": round(time.perf_counter() - start, 1), "size_mb": round(size / 2**20)}


def flush(connection: sqlite3.Connection, waiting: dict[str, list[tuple[Any, ...]]]) -> None:
    for table, columns in COLUMNS.items():
        marks = ",".join("?" * (columns.count(",") + 1))
        connection.executemany(f"INSERT INTO {table} ({columns}) VALUES ({marks})", waiting.get(table, []))
    waiting.clear()


def questions(vocab: Vocabulary, number: int) -> list[tuple[str, str, Options]]:
    """Mixed questions with their kind, in a fixed order."""
    pick = random.Random(11)
    concepts = [c for c in vocab.concepts.values() if c.say]
    sites = [s for s in vocab.sites.values() if s.say]

    def concept() -> str:
        return pick.choice(concepts).say[0].replace("~", "").strip()

    def site() -> str:
        return pick.choice(sites).say[0].replace("~", "").strip()

    kinds: list[tuple[str, Callable[[], str]]] = [
        ("structured, common", lambda: pick.choice(["tight", "tight left SCM", "jaw", "hip", "normal", "neck tight"])),
        ("structured, any concept", concept),
        ("structured, any place", lambda: f"{pick.choice(['tight', 'limited rotation', 'tender'])} {site()}"),
        ("denied", lambda: f"no {concept()}"),
        ("side and age", lambda: f"{pick.choice(['left', 'right'])} {concept()} under {pick.randrange(2, 9)} months"),
        ("number", lambda: f"head circumference over {pick.randrange(33, 52)} cm"),
        ("days", lambda: f"{concept()} since 2026-{pick.randrange(6, 11):02d}-01"),
        ("first visit", lambda: f"which babies had {concept()} at the first visit"),
        ("infant", lambda: f"infant{pick.randrange(5000)} {site()}"),
        ("full text, common", lambda: pick.choice(SMALL_TALK)),
        ("full text, two words", lambda: " ".join(pick.sample(SMALL_TALK, 2))),
        ("full text, rare", lambda: "marmalade"),
        ("combined", lambda: f"tight {site()} {pick.choice(SMALL_TALK)}"),
        ("combined, common", lambda: f"tight left SCM {pick.choice(SMALL_TALK)}"),
    ]
    orders = (Options(), Options(order="oldest"), Options(by="infant"), Options(by="line"))
    return [(kind, ask(), orders[n % 4]) for n, (kind, ask) in enumerate(kinds[i % len(kinds)] for i in range(number))]


def like_scan(connection: sqlite3.Connection, words: list[str]) -> None:
    """The same answers by LIKE over what was said."""
    where = " AND ".join("passage.text LIKE ?" for _ in words) or "1"
    peer(connection, f"FROM passage JOIN visit ON visit.id = passage.visit WHERE {where}", [f"%{w}%" for w in words])


def plain_fts(connection: sqlite3.Connection, words: list[str]) -> None:
    """The same answers by FTS5 over what was said."""
    source = "FROM passage_fts JOIN passage ON passage.row = passage_fts.rowid JOIN visit ON visit.id = passage.visit"
    peer(connection, f"{source} WHERE passage_fts MATCH ?", [quoted(" ".join(words)) or '""'])


def peer(connection: sqlite3.Connection, source: str, given: list[str]) -> None:
    joined = source.replace(" WHERE", " JOIN infant ON infant.id = visit.infant WHERE")
    connection.execute(
        f"SELECT infant.code_name, visit.day, passage.text, passage.start_ms {joined} ORDER BY visit.day DESC LIMIT 50",
        given,
    ).fetchall()
    connection.execute(f"SELECT count(*) {source}", given).fetchone()


def figures(took: list[Took]) -> dict[str, float]:
    """Median, 95th centile and worst, in milliseconds, by the wall and of the processor."""
    found: dict[str, float] = {"n": len(took)}
    for name, seconds in zip(("", "processor_"), zip(*took, strict=True), strict=True):
        ordered = sorted(seconds)
        found[f"{name}p50_ms"] = round(1000 * statistics.median(ordered), 1)
        found[f"{name}p95_ms"] = round(1000 * ordered[round(0.95 * (len(ordered) - 1))], 1)
        found[f"{name}worst_ms"] = round(1000 * ordered[-1], 1)
    return found


def timed(work: Callable[[], object]) -> Took:
    """Seconds by the wall and of the processor: on a machine that others use too the second tells more."""
    start, busy = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - start, time.process_time() - busy


def cold(home: Path, runs: int = 12) -> dict[str, float]:
    """The command in a process of its own: seconds by the wall, and of the processor."""
    command = [sys.executable, "-m", "pipeline", "search", "tight left SCM", "--limit", "5"]
    root = Path(__file__).resolve().parent.parent
    given = os.environ | {"HANDSPOKEN_HOME": str(home), "PYTHONPATH": str(root)}
    wall, cpu = [], []
    for _ in range(runs + 1):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        wall.append(timed(partial(subprocess.run, command, check=True, capture_output=True, env=given, cwd=root))[0])
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        cpu.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    wall, cpu = wall[1:], cpu[1:]  # the first compiles the words
    return {
        "median_s": round(statistics.median(wall), 3), "best_s": round(min(wall), 3),
        "processor_median_s": round(statistics.median(cpu), 3), "n": runs,
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--visits", type=int, default=100_000)
    parser.add_argument("--questions", type=int, default=200)
    parser.add_argument("--work", type=Path, help="where the temporary folder goes")
    parser.add_argument("--to", type=Path)
    given = parser.parse_args()
    vocab = load_vocabulary()
    report: dict[str, Any] = {
        "machine": f"{os.cpu_count()} cores, {platform.machine()}",
        "sqlite": sqlite3.sqlite_version,
        "load_before": round(os.getloadavg()[0], 1),
        "visits": given.visits,
        "lines": given.visits * LINES_A_VISIT,
    }
    with tempfile.TemporaryDirectory(dir=given.work) as folder:
        home = Path(folder)
        report |= load(home, vocab, given.visits)
        report |= measured(home, vocab, given.questions)
        report["cold"] = cold(home)
    report["load_after"] = round(os.getloadavg()[0], 1)
    text = json.dumps(report, indent=1)
    sys.stdout.write(text + "\n")
    if given.to:
        given.to.write_text(text + "\n")


def measured(home: Path, vocab: Vocabulary, number: int) -> dict[str, Any]:
    """Every question by every subject, one after the other; and the long infant's course."""
    search = Search(compile_lexicon(vocab))
    asked = questions(vocab, number)
    seconds: dict[str, list[Took]] = {
        "handspoken": [],
        "handspoken, reading noted": [],
        "plain FTS5": [],
        "LIKE scan": [],
    }
    by_kind: dict[str, list[Took]] = {}
    config = Config(home=home, settings=Settings())
    noted: list[Took] = []
    with Reader(home) as reader:
        connection = sqlite3.connect(f"file:{home / 'record.db'}?mode=ro", uri=True)
        connection.execute("PRAGMA mmap_size=268435456")
        connection.execute("PRAGMA cache_size=-65536")
        search.ask(reader, "tight", today=TODAY)
        answers: list[Answer] = []

        def ask(question: str, options: Options) -> None:
            answers.append(search.ask(reader, question, today=TODAY, options=options))

        for kind, question, options in asked:
            words = [w for w in question.split() if w not in ASIDE]
            took = timed(partial(ask, question, options))
            seconds["handspoken"].append(took)
            shown = [hit.visit for hit in answers.pop().hits]
            noting = timed(partial(note_read, config, "lines", "command", visits=shown))
            seconds["handspoken, reading noted"].append((took[0] + noting[0], took[1] + noting[1]))
            if shown:  # where nothing was found nothing is noted
                noted.append(noting)
            by_kind.setdefault(kind, []).append(took)
            seconds["plain FTS5"].append(timed(partial(plain_fts, connection, words)))
            seconds["LIKE scan"].append(timed(partial(like_scan, connection, words)))
        connection.close()
        lexicon = load_lexicon(config)
        course = [timed(lambda: timeline_of(reader, LONG, lexicon, home)) for _ in range(30)]
    return {
        "questions": {name: figures(took) for name, took in seconds.items()},
        "by_kind": {kind: figures(took) for kind, took in by_kind.items()},
        "noting_the_reading": figures(noted),
        "timeline_40_visits": figures(course),
    }


if __name__ == "__main__":
    main()
