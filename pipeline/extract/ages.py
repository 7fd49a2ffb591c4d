"""The infant's age and gestation said aloud: a bare number of days, weeks or months near the beginning."""

from collections.abc import Sequence

from pipeline.extract.clauses import Clause
from pipeline.extract.drafts import Draft
from pipeline.extract.marks import Mark, Marked
from pipeline.extract.state import State

DAYS = {"d": 1.0, "wk": 7.0, "mo": 30.4375}
LATEST_CLAUSE = 50
BIRTH_CLAUSES = 3
BIRTH = frozenset(
    [
        *("history.caesarean", "history.vaginal_birth", "history.gestation", "history.assisted_birth"),
        *("history.breech", "history.long_labour", "history.birth_weight"),
    ]
)
BORN = frozenset({"born", "birth", "term", "gestation", "gestational", "labour", "labor", "delivered", "delivery"})
ELSEWHEN = frozenset({"in", "for", "every", "after", "about", "by", "ago", "last", "next", "until", "within", "since"})
UP_TO = frozenset({"until", "till", "til"})
TURNING = UP_TO | {"before", "from", "since", "after"}  # not the day of birth
GESTATION_WEEKS = (22, 43)
TERM_WEEKS = 34  # so many weeks, said alone at the beginning of a visit with a younger infant, are the gestation
FIRST_CLAUSES = 12


def told_ages(state: State, marked: Marked, clause: Clause, marks: Sequence[Mark]) -> list[Draft]:
    """Durations that say how old the infant is, or at how many weeks it was born; no other duration.

    It is the age where the known age says the same, or, with no age known, where it stands beside "old" or opens the
    visit alone. It is the gestation beside birth, term or "weeker", between 22 and 43 weeks.
    """
    concepts = {r.concept for m in marks for r in m.readings if r.concept}
    alone = all(r.role == "result" for m in marks for r in m.readings)  # "today" is a word of other things
    words = marked.words(clause.a, clause.b)
    born = bool(concepts & BIRTH or words & BORN) or state.birth_at >= state.clause - BIRTH_CLAUSES
    if concepts & BIRTH or words & BORN:
        state.birth_at = state.clause
    state.focus.born = state.birth_at >= state.clause - 1
    found = []
    for mark in marks:
        number = mark.number
        if number is None or number.unit not in DAYS:
            continue
        if _gestation(marked, clause, mark, state, born):
            found.append(_draft("history.gestation", number.value, "wk", mark))
        elif _age(marked, clause, mark, state, alone=alone):
            found.append(_draft("history.age", number.value, number.unit, mark))
    return found


def _gestation(marked: Marked, clause: Clause, mark: Mark, state: State, born: bool) -> bool:
    number, tokens = mark.number, marked.tokens
    if number is None or number.unit != "wk" or not GESTATION_WEEKS[0] <= number.value <= GESTATION_WEEKS[1]:
        return False
    if mark.b < len(tokens) and tokens[mark.b].text in ("old", "ago"):
        return False
    before = set(_before(marked, clause, mark)[-1:])
    lay = any(r.concept == "history.breech" for m in marked.within(clause.a, clause.b) for r in m.readings)
    if before & TURNING and (lay or not before & UP_TO):
        return False  # "breech until thirty-four weeks, and then she flipped"
    after = [t.text for t in tokens[mark.b : mark.b + 2]]
    if marked.tokens[clause.head].text in ("i", "we") and after[:1] == ["with"]:  # "I was forty-one weeks with her"
        return True
    asked = state.question is not None and "history.gestation" in state.question.open_concepts
    own = (
        state.age is not None and _near(number.value * 7, state.age.days) and "at" not in _before(marked, clause, mark)
    )
    bare = state.age is not None and state.clause <= FIRST_CLAUSES and number.value >= TERM_WEEKS
    alone = bare and marked.words(clause.a, clause.b) == marked.words(mark.a, mark.b)  # "Male infant. Forty-one weeks."
    return asked or tokens[mark.b - 1].text == "weeker" or ((born or alone) and not own)


def _age(marked: Marked, clause: Clause, mark: Mark, state: State, *, alone: bool) -> bool:
    number, tokens = mark.number, marked.tokens
    after = tokens[mark.b].text if mark.b < clause.b else ""
    old = after == "old" or [t.text for t in tokens[mark.b : mark.b + 2]] == ["of", "age"]
    if number is None or state.ledger.of("history.age"):
        return False
    if not old and (set(_before(marked, clause, mark)[-1:]) & ELSEWHEN or after in ("ago", "time")):
        return False
    if not old and tokens[mark.a].text in ("a", "an", "another", "half"):
        return False
    if old:
        return True
    if state.age is None:
        said_of = marked.words(max(clause.a, mark.a - 1), mark.a) & {"'s", "is"} or after in ("today", "now", "exactly")
        said_of = said_of or (after == "" and number.unit == "mo")
        return state.clause <= 3 and alone and number.value >= 2 and bool(said_of)
    known = [d for d in (state.age.days, state.age.corrected_days) if d is not None]
    return state.clause <= LATEST_CLAUSE and any(_near(number.value * DAYS[number.unit], d) for d in known)


def _before(marked: Marked, clause: Clause, mark: Mark) -> list[str]:
    return [t.text for t in marked.tokens[max(clause.a, mark.a - 2) : mark.a]]


def _near(days: float, known: int) -> bool:
    return abs(days - known) <= max(3.5, 0.12 * known)


def _draft(concept: str, value: float, unit: str, mark: Mark) -> Draft:
    step = ("concept", concept, "a duration beside age or birth", mark.a, mark.b)
    return Draft(concept, "whole_body", "none", None, "value", mark.a, mark.b, value, unit, steps=(step,))
