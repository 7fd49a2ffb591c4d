"""What else was said of an item: who told it, what changed, how much and how often, since when, why not."""

from collections.abc import Sequence

from pipeline.extract.clauses import Clause
from pipeline.extract.marks import Marked
from pipeline.model import Change, Dose, Onset, SourceRole

LESS_IS_WORSE = ("poor", "reduced", "weak", "good")


def source_role(marked: Marked, clause: Clause) -> SourceRole | None:
    """Who told it, where the speech says so ("grandma says")."""
    for value, _ in marked.cued("sources", clause.a, clause.b):
        return value  # type: ignore[return-value]
    return None


def change(marked: Marked, clause: Clause, b: int, result: str | None) -> Change | None:
    """Compared with before: the last such words up to token ``b``. Less tight is better, less fed is worse."""
    last: Change | None = None
    for value, hit in marked.cued("change", clause.a, clause.b):
        if hit.a < b + 4 and value != "none":  # "came on suddenly" compares nothing
            less_of_it = value == "better" and marked.tokens[hit.a].text == "less" and result in LESS_IS_WORSE
            last = "worse" if less_of_it else value  # type: ignore[assignment]
    return last


def dose(marked: Marked, a: int, b: int) -> Dose | None:
    """How long and how often, as said in tokens ``a <= k < b``: "ten seconds, three times a day"."""
    seconds = times = days = None
    per = None
    tokens = marked.tokens
    for mark in marked.within(a, b):
        number = mark.number
        if number is None:
            continue
        if number.unit == "s":
            seconds = number.value
        elif number.unit == "1":
            times = number.value
        elif number.unit in ("d", "wk"):
            days = number.value * (7 if number.unit == "wk" else 1)
    words = [t.text for t in tokens[a:b]]
    for k, word in enumerate(words):
        if word in ("twice", "once") and times is None:
            times = 2.0 if word == "twice" else 1.0
        if word in ("a", "per", "each", "every", "after", "before") and k + 1 < len(words):
            following = words[k + 1]
            per = {"day": "day", "feed": "feed", "feeds": "feed", "feeding": "feed", "week": "week"}.get(following, per)
    if "daily" in words:
        per = per or "day"
    if days == 1 and per == "day":
        days = None
    if days == 7 and per == "week":
        days = None
    if seconds is None and times is None and per is None and days is None:
        return None
    return Dose(seconds=seconds, times=times, per=per, days=days)


def onset(marked: Marked, clause: Clause, *, told: bool) -> Onset | None:
    """Since when: "for three days", "two weeks ago", "suddenly". Of a finding, "for" is how long it was held."""
    for gives, _ in marked.cued("onset", clause.a, clause.b):
        if gives == "sudden" or (told and gives == "told_sudden"):
            return Onset(sudden=True)
        value, _, unit = gives.partition(" ")
        if unit:
            return Onset.model_validate({"value": float(value), "unit": unit})
    for mark in marked.within(clause.a, clause.b):
        number = mark.number
        if number is None or number.unit not in ("d", "wk", "mo"):
            continue
        before = marked.tokens[mark.a - 1].text if mark.a > clause.a else ""
        after = marked.tokens[mark.b].text if mark.b < clause.b else ""
        if before in ("since", "last", "past") or (told and before == "for") or after == "ago":
            return Onset(value=number.value, unit=number.unit)
    return None


def reason(marked: Marked, clauses: Sequence[Clause]) -> str | None:
    """Why something was not assessed, in the speaker's words."""
    for clause in clauses:
        for value, hit in marked.cued("reasons", clause.a, clause.b):
            if value == "reason":
                return " ".join(t.text for t in marked.tokens[hit.a : hit.b])
    return None


def skipped(marked: Marked, clause: Clause) -> tuple[int, int] | None:
    """Where a clause says that something was not looked at."""
    for value, hit in marked.cued("reasons", clause.a, clause.b):
        if value == "not_assessed":
            return hit.a, hit.b
    return None
