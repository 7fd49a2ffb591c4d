"""What each clause does (observe, ask, teach, announce, advise ...), by cues and by the sentence it stands in."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.extract.clauses import Clause
from pipeline.extract.marks import Marked
from pipeline.model import ClauseClass, Kind

ALL: frozenset[Kind] = frozenset({"finding", "history", "treatment", "advice", "plan", "impression"})
DOING: frozenset[Kind] = frozenset({"treatment", "advice", "plan"})
NOTHING: frozenset[Kind] = frozenset()
ADVISING = frozenset({"advise", "home"})
INVERTED = frozenset({"is", "are", "was", "were", "does", "did", "has", "have"})
CONDITIONS = frozenset({"any", "anything", "if", "should", "whenever"})
FOUND = ("sign.", "motion.", "tissue.", "alignment.", "joint.", "tone.")
PRESENT = frozenset({"'s", "is", "are", "'re"})
GOES_ON = ("teach", "earlier", "outside", "other")
FINITE = PRESENT | INVERTED | {"he", "she", "it", "they", "we", "i", "you", "there", "had", "do", "'ve", "'d", "that"}
PERSONAL = frozenset({"she", "he", "hers", "his", "her", "here", "this", "mine"})


@dataclass(frozen=True, slots=True)
class Act:
    """The act of one clause, the class it is accounted under when it gives no item, and the cue that decided."""

    name: str
    silent: ClauseClass | None = None
    why: str = ""


OBSERVE = Act("observe")
_SILENT = {
    "question": ClauseClass.QUESTION,
    "hypothetical": ClauseClass.HYPOTHETICAL,
    "earlier": ClauseClass.CHAT,
    "outside": ClauseClass.CHAT,
    "other": ClauseClass.CHAT,
    "teach": ClauseClass.TEACHING,
    "doubt": ClauseClass.CHAT,
    "retract": ClauseClass.COMMAND,
}


def acts_of(marked: Marked, clauses: Sequence[Clause]) -> list[Act]:
    """One act a clause, in order."""
    acts: list[Act] = []
    warned = _warned(marked, clauses)
    asked = _asked_as_list(marked, clauses)
    now = -1  # the clause that tells today's state after an earlier one
    for n, clause in enumerate(clauses):
        before = acts[-1] if acts and not clause.hard and n != now else None
        last_of_sentence = n + 1 == len(clauses) or clauses[n + 1].hard
        act = _act(marked, clause, before, last_of_sentence)
        if n in asked and act is OBSERVE:
            act = _silent("question", "question")
        if n in warned and act.silent is None:
            act = _silent("hypothetical", "what to come back for")
        follows = clauses[n + 1] if n + 1 < len(clauses) else None
        if follows is not None and act.name == "earlier" and _still_so(marked, follows):
            act = OBSERVE
        elif follows is not None and act.silent is None and _was_until(marked, clause, follows, last_of_sentence):
            act, now = _silent("earlier", "was so until today"), n + 1
        acts.append(act)
    return acts


def _act(marked: Marked, clause: Clause, before: Act | None, last: bool) -> Act:
    cues = marked.acts(clause.a, clause.b)
    if "retract" in cues:
        return _silent("retract", "command")
    if _asks(marked, clause, last, "question" in cues):
        return _silent("question", "question")
    if any(value == "not_assessed" for value, _ in marked.cued("reasons", clause.a, clause.b)):
        return OBSERVE
    turned = clause.joint in ("but", "though", "whereas", "although")
    if "hypothetical" in cues or (before is not None and before.name == "hypothetical" and not turned):
        return _silent("hypothetical", "condition")
    if "watch_for" in cues:
        return _silent("hypothetical", "what to watch for")
    if cues & {"earlier", "ago"} and "today" not in cues:
        return _silent("earlier", "earlier visit")
    if "outside" in cues:
        return _silent("outside", "told by somebody who saw the infant elsewhere")
    if "other" in cues:
        return _silent("other", "somebody else's body")
    if "doubt" in cues:
        return _silent("doubt", "only thought")
    if "teach" in cues or _of_any(marked, clause):
        return _silent("teach", "explanation")
    if before is not None and before.name in GOES_ON and not turned and "today" not in cues:
        opening = marked.words(clause.head, clause.head + 3)
        if before.name != "teach" or not opening & PERSONAL:
            return _silent(before.name, "goes on from the clause before")
    if "bid" in cues:
        return Act("bid", ClauseClass.CHAT, "asks somebody in the room to do something")
    if "announce" in cues:
        return Act("announce", ClauseClass.ANNOUNCEMENT, "about to look")
    if "advise" in cues:
        return Act("advise", None, "advice")
    if "chat" in cues:
        return Act("chat", ClauseClass.CHAT, "small talk")
    return OBSERVE


def _asked_as_list(marked: Marked, clauses: Sequence[Clause]) -> set[int]:
    """ "High temperature, funny turns, ever held his breath?": complaints named without a verb are asked of as well."""
    asked: set[int] = set()
    row: list[int] = []
    for n, clause in enumerate(clauses):
        row = [] if clause.hard else row
        if marked.tokens[clause.b - 1].stop == "?":
            asked.update(row)
        concepts = {r.concept for m in marked.within(clause.a, clause.b) for r in m.readings if r.role != "result"}
        bare = not marked.words(clause.a, clause.b) & FINITE
        told = concepts and all(c.startswith(("symptom.", "history.")) for c in concepts)
        row = [*row, n] if bare and told else []
    return asked


def _warned(marked: Marked, clauses: Sequence[Clause]) -> set[int]:
    """ "Any green vomit, or she's floppy, straight to emergency": all that stands before the place to go to."""
    warned: set[int] = set()
    begin = 0
    for n, clause in enumerate(clauses):
        begin = n if clause.hard else begin
        if marked.tokens[clauses[begin].head].text in CONDITIONS and "contact" in marked.acts(clause.a, clause.b):
            warned.update(range(begin, n + 1))
    return warned


def _was_until(marked: Marked, clause: Clause, following: Clause, far: bool) -> bool:
    """ "It was high on the left, and that's level today": the past tense before a "today" is an earlier visit."""
    past = marked.words(clause.a, clause.b) & {"was", "were", "had"}
    here = marked.acts(clause.a, clause.b)
    if _still_so(marked, following):
        return False
    if past and not far and _is_now(marked, clause, following):
        return True
    points = not far or marked.tokens[following.head].text in ("it", "that", "they", "now", "today")
    points = points or any(m.kind == "result" for m in marked.within(following.head, following.head + 1))
    return bool(past) and points and "today" not in here and "today" in marked.acts(following.a, following.b)


def _still_so(marked: Marked, following: Clause) -> bool:
    """ "The right one was sticky last time, and it still is": the earlier state is today's."""
    opening = [t.text for t in marked.tokens[following.head : min(following.head + 3, following.b)]]
    if len(opening) < 3 or opening[0] not in ("it", "he", "she", "that", "they") or opening[1] != "still":
        return False
    said = any(m.kind in ("result", "concept", "site", "number") for m in marked.within(following.a, following.b))
    return opening[2] in ("is", "are", "does", "do", "has", "have") and not said


def _is_now(marked: Marked, clause: Clause, following: Clause) -> bool:
    """ "The left foot was turning in, and yeah, it's straight": a state in the past, and the same thing's state now."""
    past = {"was", "were", "had", "been"}
    states = [m for m in marked.within(clause.a, clause.b) if marked.words(max(clause.a, m.a - 2), m.a + 1) & past]
    found = any(r.concept.startswith(FOUND) for m in states for r in m.gives())
    opening = [t.text for t in marked.tokens[following.head : following.head + 2]]
    present = len(opening) == 2 and opening[0] in ("it", "that", "they") and opening[1] in PRESENT
    told = [m.kind for m in marked.within(following.head, following.b)]
    return found and present and "result" in told and "site" not in told


def _of_any(marked: Marked, clause: Clause) -> bool:
    """ "A lag at four months isn't great": what holds of any infant of an age."""
    if marked.tokens[clause.head].text not in ("a", "an", "any", "some"):
        return False
    for mark in marked.within(clause.a, clause.b):
        aged = mark.number is not None and mark.number.unit in ("wk", "mo", "a")
        if aged and marked.tokens[mark.a - 1].text in ("at", "by", "under", "over", "before", "after"):
            return bool(marked.words(mark.b, clause.b) & (INVERTED | {"'s", "can", "would", "should"}))
    return False


def _silent(name: str, why: str) -> Act:
    return Act(name, _SILENT[name], why)


def _asks(marked: Marked, clause: Clause, last: bool, cued: bool) -> bool:
    """A question by its mark or its opening; a tag hung on a statement does not make one of it."""
    marked_so = last and marked.tokens[clause.b - 1].stop == "?"
    if not marked_so:
        inverted = marked.tokens[clause.head].text in INVERTED and "n't" not in marked.words(
            clause.head, clause.head + 2
        )
        return cued and (inverted or marked.tokens[clause.b - 1].stop != ".")
    for value, hit in marked.cued("tags", clause.a, clause.b):
        if value == "tag" and hit.b == clause.b and hit.a > clause.head and marked.tokens[hit.a - 1].stop == ",":
            return False
    return True


def kinds_of(act: Act, present: set[Kind], cues: set[str]) -> frozenset[Kind]:
    """The kinds of item that a clause of this act may give. ``present``: kinds of the concepts it names."""
    if act.name == "bid":
        return frozenset({"finding", "advice", "plan"})  # findings only after a comma: "turn him left, all the way"
    if act.name == "outside":
        return frozenset({"history"})
    if act.silent is not None and act.name not in ("announce", "chat"):
        return NOTHING
    own = bool(cues & {"treat", "announce"}) and not (cues & ADVISING and "advice" in present)
    if "intend" in cues and "treat" not in cues:
        present = present - {"treatment"}  # "I'd like to do a little work on the neck"
    if "treatment" in present and (own or "advice" not in present):
        return frozenset({"treatment", "plan"} if "plan" in present else {"treatment"})
    if "plan" in present:
        return frozenset({"plan", "advice"})
    if "advice" in present or act.name == "advise":
        return frozenset({"advice", "plan"})
    if act.name == "announce":
        return frozenset({"treatment", "plan"})
    if "home" in cues:
        return frozenset({"history", "advice", "plan"})  # "she had a fever at home": told, not seen here
    return ALL - DOING
