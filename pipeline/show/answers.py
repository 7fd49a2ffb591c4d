"""Answers to a question, as lines for a terminal and as one JSON object."""

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from pipeline.config import Config
from pipeline.search import Answer, Hit
from pipeline.search.tell import counted, shortened
from pipeline.times import age as age_told
from pipeline.times import clock, fragment

NOTE_PAGE = "note.html"
_WHAT = {"line": ("line", "lines"), "visit": ("visit", "visits"), "infant": ("infant", "infants")}


def plays(config: Config, hit: Hit) -> str:
    """The page and the stretch that play a hit (W3C media fragment); of an encrypted record what opens the page."""
    folder = config.note_folder(hit.visit)
    if folder is None:
        return f"handspoken review {hit.visit}"
    return f"{folder / NOTE_PAGE}#{fragment(hit.start_ms, hit.end_ms)}"


def answer_lines(answer: Answer, config: Config) -> Iterator[str]:
    """How the question was understood, then each answer with what plays it."""
    yield f"Understood: {'; '.join(answer.understood)}"
    if answer.suggestions:
        yield f"Did you mean {' or '.join(answer.suggestions)}?"
    if not answer.hits:
        yield "Nothing on record answers that."
        return
    yield counted(answer.count)
    for hit in answer.hits:
        age = f"  {age_told(hit.age_days)}" if hit.age_days is not None else ""
        yield f"{hit.infant}  {hit.day}{age}  {clock(hit.start_ms)}  {hit.line}"
        if (around := shortened(hit.around or hit.quote, hit.quote)) != hit.line:
            yield f"    “{around}”"
        if hit.others:
            yield f"    and {hit.others} more {'lines' if hit.others > 1 else 'line'} of this visit"
        yield f"    the sound was {hit.gone}" if hit.gone else f"    {plays(config, hit)}"
    if answer.total is None or answer.total > len(answer.hits):
        yield f"Shown: the first {len(answer.hits)} {_WHAT[answer.by][len(answer.hits) > 1]}; --limit shows more."


def answer_json(answer: Answer, config: Config) -> dict[str, Any]:
    """The answer as one object; every hit with what plays it."""
    hits = [asdict(hit) | {"day": hit.day.isoformat(), "plays": plays(config, hit)} for hit in answer.hits]
    return {
        "question": answer.question,
        "understood": list(answer.understood),
        "suggestions": list(answer.suggestions),
        "by": answer.by,
        "total": answer.total,
        "count": asdict(answer.count),
        "hits": hits,
    }
