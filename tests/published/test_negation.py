"""Denials in 2,376 judged spans of written reports: the public negation kit in benchmarks/negation.

Source: chapmanbe/negex at commit d136b972b5d214959807ad5de1881a3225541fe7, Apache License 2.0, Copyright 2008 Imre Solti.
How the file is read: benchmarks/negation/README.md.
"""

import csv
from pathlib import Path

from pipeline.extract.assertion import negated_span
from pipeline.vocabulary import load_vocabulary

KIT = Path(__file__).parents[2] / "benchmarks/negation/Annotations-1-120-random.txt"


def _rows() -> list[tuple[str, int, int, bool]]:
    rows = []
    with KIT.open(encoding="ascii", newline="") as file:
        for _, concept, sentence, judged, *_ in csv.reader(file, delimiter="\t"):
            sentence, concept = " ".join(sentence.split()), " ".join(concept.split())
            start = sentence.find(concept.upper())
            if start < 0:  # eleven do not stand in the sentence as they are given
                start = max(0, sentence.lower().find(concept.lower()))
            rows.append((sentence.lower(), start, start + len(concept), judged.strip() == "Negated"))
    return rows


def test_the_kit_is_whole() -> None:
    rows = _rows()

    assert len(rows) == 2376
    assert sum(denied for *_, denied in rows) == 491


def test_denials_are_found_as_the_judges_found_them() -> None:
    vocab = load_vocabulary()
    judged = [(negated_span(sentence, start, end, vocab), denied) for sentence, start, end, denied in _rows()]
    both = sum(ours and denied for ours, denied in judged)

    precision = both / sum(ours for ours, _ in judged)
    recall = both / sum(denied for _, denied in judged)

    assert precision >= 0.96
    assert 2 * precision * recall / (precision + recall) >= 0.967
