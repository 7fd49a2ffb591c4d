"""Denials in 2,376 judged spans of written reports: the public negation kit in benchmarks/negation.

Source: chapmanbe/negex at commit d136b972b5d214959807ad5de1881a3225541fe7, Apache License 2.0, Copyright 2008 Imre Solti.
How the file is read: benchmarks/negation/README.md.
"""

from negation import figures, ours, read_rows


def test_the_kit_is_whole() -> None:
    rows = read_rows()

    assert len(rows) == 2376
    assert sum(row.negated for row in rows) == 491


def test_denials_are_found_as_the_judges_found_them() -> None:
    rows = read_rows()
    said, _ = ours(rows)

    found = figures(rows, said)

    assert found["precision"] >= 0.96
    assert found["f1"] >= 0.967
