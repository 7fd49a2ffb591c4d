"""The infant's age and gestation said aloud: a bare number of days, weeks or months near the beginning."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.extract.clauses import Clause
from pipeline.extract.marks import Mark, Marked
from pipeline.extract.resolve import Draft
from pipeline.vocabulary import Vocabulary

if TYPE_CHECKING:
    from pipeline.extract.fold import State

DAYS = {"d": 1.0, "wk": 7.0, "mo": 30.4375}
OPENING_CLAUSES = 25
GESTATION_WEEKS = (22, 43)


def told_age(vocab: Vocabulary, state: "State", marked: Marked, clause: Clause, marks: Sequence[Mark]) -> Draft | None:
    """A duration that says how old the infant is, or at how many weeks it was born; None for any other duration.

    It is the age where the known age says the same, or, with no age known, where it opens the visit and stands beside
    no other matter. It is the gestation beside birth, term or "weeker", between 22 and 43 weeks.
    """
    tokens = marked.tokens
    concepts = {r.concept for m in marks for r in m.readings if r.concept}
    born = any(
        c.startswith(
            ("history.caesarean", "history.vaginal", "history.gestation", "history.assisted", "history.breech")
        )
        for c in concepts
    )
    for mark in marks:
        number = mark.number
        if number is None or number.unit not in DAYS:
            continue
        weeker = tokens[mark.b - 1].text == "weeker"
        before = tokens[mark.a - 1].text if mark.a > clause.a else ""
        words = {t.text for t in tokens[clause.a : clause.b]}
        gestation = number.unit == "wk" and GESTATION_WEEKS[0] <= number.value <= GESTATION_WEEKS[1]
        birth = (
            weeker
            or (before == "at" and (born or "born" in words))
            or bool(words & {"born", "term", "gestation", "gestational"})
        )
        asked = state.question is not None and "history.gestation" in state.question.open_concepts
        if gestation and (birth or asked) and "old" not in words:
            return _draft("history.gestation", number.value, "wk", mark)
        if "history.age" in {r.item.concept for r in state.ledger.records.values()}:
            continue
        if before in ("in", "for", "every", "after", "about", "by", "ago", "last", "next", "until", "within") or (
            mark.b < clause.b and tokens[mark.b].text in ("ago", "time")
        ):
            continue
        old = mark.b < len(tokens) and tokens[mark.b].text == "old"
        if tokens[mark.a].text in ("a", "an", "another", "half") and not old:
            continue
        if state.age is not None:
            days = number.value * DAYS[number.unit]
            fits = any(
                abs(days - known) <= max(3.5, 0.12 * known)
                for known in (state.age.days, state.age.corrected_days)
                if known is not None
            )
            if fits and state.clause <= 2 * OPENING_CLAUSES:
                return _draft("history.age", number.value, number.unit, mark)
        elif old or (state.clause <= 3 and not concepts and not born and number.value >= 2):
            return _draft("history.age", number.value, number.unit, mark)
    return None


def _draft(concept: str, value: float, unit: str, mark: Mark) -> Draft:
    step = ("concept", concept, "a duration beside age or birth", mark.a, mark.b)
    return Draft(concept, "whole_body", "none", None, "value", mark.a, mark.b, value, unit, steps=(step,))
