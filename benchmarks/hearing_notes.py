"""From spoken narrations to items: heard, extracted, and scored beside the same words given as text.

    python benchmarks/hearing_notes.py FOLDER --only d09,d11 [--voice slt] [--work FOLDER] [--to FILE]

FOLDER holds NAME.vtt and NAME.json, as benchmarks/extraction.py takes them. Synthetic speech: take as relative. A wrong
or invented item of which the person was warned (a flag, or a word heard unsurely) is counted apart.
"""

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from extraction import Case, narrations
from hearing import Remembering
from hearing_measure import normal
from hearing_speech import speak_file
from rapidfuzz.distance import Levenshtein
from score import UNSCORED, pair_up, score, scored

from pipeline.audio import open_sound
from pipeline.config import cache_folder
from pipeline.draft.points import unsure_words
from pipeline.extract import Extractor
from pipeline.hear import Hearer, embedded_model
from pipeline.model import Age, Transcript
from pipeline.repair import doubt_numbers, repaired
from pipeline.run import extraction_json
from pipeline.vocabulary import Vocabulary, load_vocabulary


class RememberingHearer(Hearer):
    """The program's hearer on an engine that remembers."""

    def __init__(self, vocab: Vocabulary, work: Path, threads: int) -> None:
        model = embedded_model()
        super().__init__(model, vocab, refine=lambda heard, scorer: repaired(heard, vocab, scorer))
        from pipeline.hear.listen import Listener
        from pipeline.hear.lists import load_lists
        from pipeline.hear.terms import Terms

        engine = Remembering(model, work / "memo", "cpu", threads)
        self.__dict__["_listener"] = Listener(engine, Terms(vocab), load_lists(), self._refine)


def heard_of(case: Case, hearer: Hearer, voice: str, work: Path, piper: Path | None) -> Transcript | None:
    text = work / f"{case.name}.txt"
    cues = [case.transcript.quote(span) for span in case.transcript.utterances]
    text.write_text("\n".join(cues) + "\n")
    sound = speak_file(voice, text, work / f"{case.name}-{voice}.wav", piper)
    return None if sound is None else hearer.hear(open_sound(sound))


def warned(made: Sequence[bool], gold: Any, items: list[dict[str, Any]]) -> dict[str, int]:
    """Wrong and invented items, and how many of each carried a warning; swapped sides without one."""
    wanted, got = scored(gold), scored(items)
    mark = {
        id(one): flag
        for one, flag in zip(
            got, [f for f, item in zip(made, items, strict=True) if item["concept"] not in UNSCORED], strict=True
        )
    }
    pairs, _, invented = pair_up(wanted, got)
    slots = ("side", "result", "value", "level")
    wrong = [m for g, m in pairs if any(g[slot] != m[slot] for slot in slots) and not g["optional"]]
    swapped = [m for g, m in pairs if {g["side"], m["side"]} == {"left", "right"}]
    return {
        "wrong": len(wrong),
        "wrong, warned of": sum(mark[id(m)] for m in wrong),
        "invented": len(invented),
        "invented, warned of": sum(mark[id(m)] for m in invented),
        "sides swapped without warning": sum(not mark[id(m)] for m in swapped),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", default="")
    parser.add_argument("--voice", default="slt")
    parser.add_argument("--piper", type=Path)
    parser.add_argument("--work", type=Path, default=cache_folder() / "benchmark")
    parser.add_argument("--threads", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--to", type=Path)
    given = parser.parse_args()
    given.work.mkdir(parents=True, exist_ok=True)
    vocab = load_vocabulary()
    hearer, extractor = RememberingHearer(vocab, given.work, given.threads), Extractor(vocab)
    sets: dict[str, list[Any]] = {"as text": [], "heard": []}
    total: dict[str, int] = {}
    words = errors = 0
    for case in narrations(given.folder, [name for name in given.only.split(",") if name]):
        heard = heard_of(case, hearer, given.voice, given.work, given.piper)
        if heard is None:
            sys.stderr.write(f"left out: {case.name}, the synthesiser of {given.voice} is missing\n")
            continue
        said, found = (normal(" ".join(w.text for w in t.words)) for t in (case.transcript, heard))
        words, errors = words + len(said), errors + Levenshtein.distance(said, found)
        sets["as text"].append((case.name, case.gold, _items(case.transcript, case.age, extractor, vocab)[0]))
        items, marks = _items(heard, case.age, extractor, vocab)
        sets["heard"].append((case.name, case.gold, items))
        for name, count in warned(marks, case.gold, items).items():
            total[name] = total.get(name, 0) + count
        sys.stderr.write(f"{case.name}: {score([sets['heard'][-1]])[0]}\n")
    figures = {
        "narrations": [name for name, _, _ in sets["heard"]],
        "voice": given.voice,
        "WER": round(100 * errors / max(1, words), 1),
        **{name: score(rows)[0] for name, rows in sets.items()},
        "errors of heard items": total,
    }
    text = json.dumps(figures, indent=1) + "\n"
    sys.stdout.write(text)
    if given.to:
        given.to.write_text(text)


def _items(
    transcript: Transcript, age: Age | None, extractor: Extractor, vocab: Vocabulary
) -> tuple[list[dict[str, Any]], list[bool]]:
    """Contract items, and whether each carries a warning."""
    words = doubt_numbers(transcript, age)
    made = extractor.extract(words, age=age)
    return extraction_json(made, vocab)["items"], [bool(i.flags or unsure_words(i, words)) for i in made.items]


if __name__ == "__main__":
    main()
