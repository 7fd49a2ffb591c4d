"""The clinician's own words, measured: one narration put right, the next one heard with what was learned and without.

    python benchmarks/ownwords.py [--voices awb,en-gb] [--work FOLDER] [--no-write]     writes benchmarks/ownwords.json

For each voice two invented narrations name the same trade terms in other sentences (those of repair/heard.jsonl, each
term moved into the next sentence for the second one). The first is spoken, heard, and put right as a person would: the
stretch that was heard for a term, and the term. The second is heard twice: as the program comes, and with these own
words. Counted: terms right, and terms written that nobody said. Synthetic speech: take as relative.
Needs flite and espeak-ng (Debian).
"""

import argparse
import json
import sys
import tempfile
from difflib import SequenceMatcher
from itertools import pairwise
from pathlib import Path
from typing import Any

from hearing_notes import RememberingHearer
from hearing_speech import speak_file
from repair import DATA, holds, letters

from pipeline.audio import open_sound
from pipeline.config import Config, Settings
from pipeline.errors import InputError
from pipeline.model import Transcript
from pipeline.ownwords import add_own_word
from pipeline.vocabulary import Vocabulary, load_vocabulary

HERE = Path(__file__).parent
TERMS = 40  # in each narration
THREADS = 2


def narrations(voice: str, vocab: Vocabulary) -> tuple[list[str], list[str], list[str]]:
    """Terms of the vocabulary that were misheard of a like voice, and two sentences with each."""
    like = {"en-gb": "esgb", "en-us": "esus"}.get(voice, voice)
    lines = [json.loads(line) for line in (DATA / "heard.jsonl").read_text(encoding="utf-8").splitlines()]
    rows = [row for line in lines if line["voice"] == like for row in line["sentences"]]
    known = {term for term, _ in vocab.terms()}
    missed = [r for r in rows if not holds(r["heard"], r["term"]) and r["term"] in r["said"] and r["term"] in known]
    pairs = list(pairwise(missed[: TERMS + 1]))
    second = [after["said"].replace(after["term"], before["term"]) for before, after in pairs]
    return [before["term"] for before, _ in pairs], [before["said"] for before, _ in pairs], second


def hear(said: list[str], voice: str, name: str, work: Path, vocab: Vocabulary) -> Transcript:
    text = work / f"{name}-{voice}.txt"
    text.write_text("\n".join(said) + "\n", encoding="utf-8")
    sound = speak_file(voice, text, work / f"{name}-{voice}.wav", None)
    if sound is None:
        raise SystemExit(f"voice {voice}: no synthesiser (apt-get install flite espeak-ng)")
    return RememberingHearer(vocab, work, THREADS).hear(open_sound(sound))


def stretches(said: list[str], heard: Transcript, terms: list[str]) -> list[tuple[str, str]]:
    """What was heard where a term was said and does not stand: (heard, term)."""
    spoken = [(letters(word), n) for n, sentence in enumerate(said) for word in sentence.split()]
    got = [letters(word.text) for word in heard.words]
    found: dict[int, list[int]] = {}
    for tag, a0, a1, b0, b1 in SequenceMatcher(None, [w for w, _ in spoken], got, autojunk=False).get_opcodes():
        for n in {spoken[k][1] for k in range(a0, a1)} if tag == "replace" else ():
            words = {letters(word) for word in terms[n].split()}
            if any(word in words for word, at in spoken[a0:a1] if at == n):
                found.setdefault(n, []).extend(range(b0, b1))
    learned = []
    for n, at in found.items():
        text = " ".join(heard.words[i].text for i in range(min(at), max(at) + 1)).strip(" .,;:?!").lower()
        if not holds(text, terms[n]):
            learned.append((text, terms[n]))
    return learned


def counted(said: list[str], heard: Transcript, terms: list[str]) -> dict[str, int]:
    """Terms that stand where they were said, by the alignment; own terms written where nobody said them."""
    text = letters(heard.quote((0, len(heard.words))))
    right = sum(letters(term).rstrip("s") in text for term in terms)
    known = {letters(term).rstrip("s") for term in terms}
    false = sum(max(0, text.count(term) - letters(" ".join(said)).count(term)) for term in known)
    return {"terms": len(terms), "right": right, "false": false}


def measure(voice: str, work: Path, vocab: Vocabulary) -> dict[str, Any]:
    terms, first, second = narrations(voice, vocab)
    heard = hear(first, voice, "first", work, vocab)
    with tempfile.TemporaryDirectory() as home:
        config = Config(home=Path(home), settings=Settings())
        kept = 0
        for text, term in stretches(first, heard, terms):
            try:
                add_own_word(config, vocab, text, term)
                kept += 1
            except InputError as error:  # no term of the vocabulary, or a term heard: nothing to learn
                sys.stderr.write(f"  {text!r} for {term!r} is not kept: {error}\n")
        own = load_vocabulary(personal=config.own_words)
        before, after = (hear(second, voice, "second", work, words) for words in (vocab, own))
    return {
        "first": counted(first, heard, terms),
        "own words kept": kept,
        "second, as it comes": counted(second, before, terms),
        "second, with own words": counted(second, after, terms),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--voices", default="en-gb,awb")
    parser.add_argument("--work", type=Path, default=Path(tempfile.gettempdir()) / "handspoken-ownwords")
    parser.add_argument("--no-write", action="store_true")
    args = parser.parse_args()
    args.work.mkdir(parents=True, exist_ok=True)
    vocab = load_vocabulary()
    figures = {}
    for voice in args.voices.split(","):
        figures[voice] = measure(voice, args.work, vocab)
        sys.stdout.write(f"{voice} {json.dumps(figures[voice])}\n")
    if not args.no_write:
        told = {"about": "benchmarks/ownwords.py; synthetic voices, CPU int8; take as relative", "voices": figures}
        (HERE / "ownwords.json").write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
