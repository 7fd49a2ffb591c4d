"""The parents' sheet is in plain language: Flesch-Kincaid reading grade at most 6, with the words that we write.

Formula: Kincaid, Fishburne, Rogers and Chissom 1975, Naval Technical Training Command Research Branch Report 8-75.
Syllables: vowels of the CMU Pronouncing Dictionary (vocab/pronunciations.gz). The text measured is ours: what a
clinician said and the sheet quotes is not.
"""

import gzip
import re
from datetime import date

import pytest

from pipeline.model import Dose, Infant, Item, Note
from pipeline.render.papers import Paper, paper
from pipeline.resources import data_path
from pipeline.vocabulary import load_vocabulary

HIGHEST_GRADE = 6.0
VOWELS = {"AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"}  # ARPAbet
VOCAB = load_vocabulary()
ADVICE = [concept for concept in VOCAB.concepts.values() if concept.kind == "advice"]


def _syllables() -> dict[str, int]:
    text = gzip.decompress(data_path("vocab/pronunciations.gz").read_bytes()).decode("utf-8", "replace")
    found: dict[str, int] = {}
    for line in text.splitlines():
        word, _, sounds = line.partition(" ")
        if word and word not in found:
            found[word.lower()] = sum(sound.rstrip("012") in VOWELS for sound in sounds.split())
    return found


def grade(text: str, syllables: dict[str, int]) -> float:
    """Flesch-Kincaid grade of sentences."""
    sentences = [s for s in re.split(r"[.!?:]\s*", text) if s.strip()]
    words = re.findall(r"[a-z']+", text.lower())
    unknown = [word for word in words if word not in syllables]
    assert not unknown, unknown
    return 0.39 * len(words) / len(sentences) + 11.8 * sum(syllables[w] for w in words) / len(words) - 15.59


def sheet(*items: Item) -> Paper | None:
    note = Note(visit="v", recording="r", infant=Infant(id="i", code_name="Wren"), on=date(2026, 11, 25), sections=())
    return paper("parents", note, items, "")


def _item(concept: str, **slots: object) -> Item:
    return Item.model_validate(
        {"id": concept, "kind": "advice", "concept": concept, "result": "given", "evidence": ()} | slots
    )


def test_all_that_we_write_on_it_reads_at_grade_six_or_below() -> None:
    dose = Dose(times=3, per="day", seconds=600)
    made = sheet(*(_item(concept.id, side="left", dose=dose, detail="x") for concept in ADVICE))
    assert made is not None
    ours = [line for block in made.blocks for line in (block.title, *block.lines, *block.fields) if "“" not in line]
    text = " ".join(f"{line.rstrip('.')}." for line in ours if line)
    plain = re.sub(r"\d+", "ten", text)

    assert grade(plain, _syllables()) <= HIGHEST_GRADE


def test_the_grade_tells_hard_words_from_easy_ones() -> None:
    syllables = _syllables()

    assert grade("The cat sat on the mat.", syllables) < 1
    assert grade("Therapeutic intervention facilitates rehabilitation.", syllables) > 15


@pytest.mark.parametrize("concept", [c.id for c in ADVICE])
def test_each_kind_of_advice_reaches_the_sheet(concept: str) -> None:
    assert sheet(_item(concept, detail="words that were said")) is not None


def test_advice_that_was_not_given_is_not_on_it() -> None:
    assert sheet(_item("advice.tummy_time", result="not_assessed")) is None
