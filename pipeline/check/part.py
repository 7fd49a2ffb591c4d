"""The P.A.R.T. table: the findings that support each letter. Shown only where a practice asks for it.

Criteria: pain or tenderness, asymmetry, range of motion, tissue tone; two of four, one of them A or R (US Medicare
Benefit Policy Manual ch. 15 s. 240.1.2 as copied at medicarepaymentandreimbursement.com; published and seen; a
model only, it is not about infants).
"""

from typing import Literal

from pipeline.check.facts import Facts, fact_of
from pipeline.check.norms import Norms
from pipeline.model import Item
from pipeline.records import PartTable

Letter = Literal["P", "A", "R", "T"]
LETTERS: tuple[Letter, ...] = ("P", "A", "R", "T")


def part_table(items: tuple[Item, ...], norms: Norms) -> PartTable:
    """Sort the findings of a visit under the four letters."""
    facts = Facts([fact_of(item) for item in items], norms.parents)
    letters: dict[Letter, tuple[str, ...]] = {}
    for letter in LETTERS:
        found = [facts.matches(row.when) or () for row in norms.part if row.letter == letter]
        letters[letter] = tuple(sorted({i for group in found for fact in group for i in fact.items}))
    held = [letter for letter in LETTERS if letters[letter]]
    if len(held) < 2:
        why = f"{len(held)} of 4; two are needed"
    elif "A" in held or "R" in held:
        return PartTable(letters=letters, met=True, why=f"{' and '.join(held)} are supported")
    else:
        why = "one of the two must be A (asymmetry) or R (range of motion)"
    return PartTable(letters=letters, met=False, why=why)
