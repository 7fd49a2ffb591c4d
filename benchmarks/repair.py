"""Repair by sound, measured: terms won back, terms made wrong, ordinary talk left alone, speed.

    python benchmarks/repair.py      writes benchmarks/repair.json

heard.jsonl: invented sentences, each with one trade term, spoken by five synthetic voices (espeak-ng en-us and en-gb;
flite slt, rms and awb) and decoded freely by Whisper base (int8, beam 5, no hotwords): what it truly mishears. The
half of a term is the parity of its MD5; figures were set on the tuning half only. lay.txt: invented ordinary talk;
its odd pieces were looked at while tuning, of its even pieces one false term. narrations/: invented visits without
recognition errors; every change in them is wrong.
"""

import hashlib
import json
import re
import sys
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

from pipeline.model import SpeechModel, Transcript, Word
from pipeline.repair import accept, propose, repaired
from pipeline.repair.targets import Lexicon, lexicon_of
from pipeline.vocabulary import Vocabulary, load_vocabulary
from pipeline.vtt import read_vtt

HERE = Path(__file__).parent
DATA = HERE / "repair"
WORD_MS = 300


def transcript_of(sentences: list[str], chances: list[list[float]] | None = None) -> Transcript:
    """One utterance a sentence; probabilities as the recogniser gave them, or none for given text."""
    words: list[Word] = []
    spans = []
    for n, sentence in enumerate(sentences):
        first = len(words)
        for k, text in enumerate(sentence.split()):
            i = len(words)
            p = chances[n][k] if chances else 1.0
            word = Word(i=i, text=text, start_ms=i * WORD_MS, end_ms=(i + 1) * WORD_MS, p=p)
            words.append(replace(word, source="free") if chances else word)
        if len(words) > first:
            spans.append((first, len(words)))
    model = SpeechModel(name="benchmark", sha256="0" * 64)
    return Transcript(id="benchmark", recording="benchmark", model=model, words=tuple(words), utterances=tuple(spans))


def letters(text: str) -> str:
    """Letters only; spellings that the vocabulary takes for one are one."""
    return (
        re.sub(r"[^a-z0-9]", "", text.lower())
        .replace("fontanelle", "fontanel")
        .replace("moulding", "molding")
        .replace("babinsky", "babinski")
    )


def holds(text: str, term: str) -> bool:
    """Whether the term stands in the text, in singular or plural."""
    return letters(term).rstrip("s") in letters(text)


def can_be_restored(term: str, lexicon: Lexicon) -> bool:
    """Whether the vocabulary knows the term, or all its trade words: no repair can know more."""
    known = {target.text for target in lexicon.targets}
    trade = [word for word in term.lower().split() if lexicon.is_trade(word)]
    return term.lower() in known or (bool(trade) and all(word in known for word in trade))


def measure_heard(vocab: Vocabulary) -> dict[str, dict[str, float]]:
    """Recall before and after, and the terms put in that nobody said, by half."""
    lexicon = lexicon_of(vocab)
    count: dict[str, Counter[str]] = {"tuning": Counter(), "held out": Counter()}
    for line in (DATA / "heard.jsonl").read_text(encoding="utf-8").splitlines():
        rows = json.loads(line)["sentences"]
        heard = transcript_of([row["heard"] for row in rows], [row["p"] for row in rows])
        proposals = propose(heard, vocab)
        done = accept(heard, proposals, None)
        right = transcript_of([row["said"] for row in rows])
        changed = [p for p in propose(right, vocab) if p.kind == "accept"]
        for row, before, after, said in zip(rows, heard.utterances, done.utterances, right.utterances, strict=True):
            half = count["held out" if int(hashlib.md5(row["term"].encode()).hexdigest(), 16) % 2 else "tuning"]
            was, now = holds(heard.quote(before), row["term"]), holds(done.quote(after), row["term"])
            here = [p for p in proposals if before[0] <= p.words[0] < before[1]]
            false = [p for p in here if p.kind == "accept" and not holds(row["said"], p.meant)]
            half["false terms"] += len(false)
            half["false terms where the term was heard right"] += len(false) if was else 0
            half["false terms in the text as said"] += sum(said[0] <= p.words[0] < said[1] for p in changed)
            half["words"] += before[1] - before[0]
            if can_be_restored(row["term"], lexicon):
                half["terms"] += 1
                half["heard"] += was
                half["after repair"] += now
                meant = [s.text for word in done.words[after[0] : after[1]] for s in word.suggestions]
                half["suggested only"] += not now and any(
                    holds(row["term"], text) or holds(text, row["term"]) for text in meant
                )
    return {
        name: {
            **dict(half),
            "recall heard": round(half["heard"] / half["terms"], 3),
            "recall after repair": round(half["after repair"] / half["terms"], 3),
            "recall with suggestions": round((half["after repair"] + half["suggested only"]) / half["terms"], 3),
            "misheard won back": round(
                (half["after repair"] - half["heard"]) / max(1, half["terms"] - half["heard"]), 3
            ),
        }
        for name, half in count.items()
    }


def false_terms(transcripts: list[Transcript], vocab: Vocabulary) -> dict[str, float | list[str]]:
    """Changes in text that needs none."""
    words = sum(len(t.words) for t in transcripts)
    found = [(t, propose(t, vocab)) for t in transcripts]
    changed = [f"{p.heard} -> {p.meant}" for _, proposals in found for p in proposals if p.kind == "accept"]
    asked = sum(len(w.suggestions) > 0 for t, proposals in found for w in accept(t, proposals, None).words)
    return {
        "words": words,
        "changed": changed,
        "changed per 1000 words": round(1000 * len(changed) / max(1, words), 2),
        "asked": asked,
    }


def lay_pieces() -> list[Transcript]:
    """The pieces of lay.txt; one utterance a sentence."""
    text = (DATA / "lay.txt").read_text(encoding="utf-8")
    body = "\n".join(line for line in text.split("\n") if not line.startswith("#"))
    pieces = [piece.replace("\n", " ") for piece in body.split("\n\n") if piece.strip()]
    return [transcript_of(re.split(r"(?<=[.?!])\s+", piece.strip())) for piece in pieces]


def speed(transcripts: list[Transcript], vocab: Vocabulary) -> int:
    """Words a second of processor time, proposing and accepting, the best of three, the lexicon compiled."""
    best = 0.0
    for _ in range(3):
        begin = time.process_time()
        for transcript in transcripts:
            repaired(transcript, vocab)
        best = max(best, sum(len(t.words) for t in transcripts) / (time.process_time() - begin))
    return int(round(best, -2))


def main() -> None:
    """Measure all and write the figures."""
    vocab = load_vocabulary()
    begin = time.process_time()
    lexicon = lexicon_of(vocab)
    compile_s = time.process_time() - begin
    pieces = lay_pieces()
    narrations = [read_vtt(path) for path in sorted((HERE / "narrations").glob("*.vtt"))]
    figures = {
        "vocabulary": {"terms by sound": len(lexicon.targets), "listed mishearings": len(lexicon.misheard)},
        "misheard": measure_heard(vocab),
        "ordinary talk, tuning": false_terms(pieces[0::2], vocab),
        "ordinary talk, held out": false_terms(pieces[1::2], vocab),
        "narrations": false_terms(narrations, vocab),
        "compile, s of processor time": round(compile_s, 2),
        "words a second": speed(narrations, vocab),
    }
    text = json.dumps(figures, indent=2, ensure_ascii=False)
    (HERE / "repair.json").write_text(text + "\n", encoding="utf-8")
    sys.stdout.write(text + "\n")


if __name__ == "__main__":
    main()
