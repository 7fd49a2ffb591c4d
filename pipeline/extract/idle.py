"""Marks that say nothing of the infant here: "okay", another subject's "good", a structure only pointed away from."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from pipeline.extract.clauses import Clause
from pipeline.extract.lexicon import CueReading, Hit
from pipeline.extract.marks import VIEWER, WORKING, Mark, Marked
from pipeline.vocabulary import Vocabulary


class Idle:
    """Decides for the marks of one clause."""

    def __init__(self, vocab: Vocabulary, marked: Marked, clause: Clause, marks: Sequence[Mark]) -> None:
        self._vocab = vocab
        self._marked = marked
        self._tokens = marked.tokens
        self._clause = clause
        self._marks = marks
        self._comparing = vocab.listed("comparisons")
        self._plain_words = vocab.listed("function_words")

    def is_idle(self, mark: Mark) -> bool:
        """Whether the mark is left out of the frames."""
        checks = (
            self._discourse,
            self._away,
            self._stranger,
            self._gain,
            self._existential,
            self._speakers_own,
            self._course,
            self._speaker,
            self._ample,
            self._shortfall,
            self._reason_to_come,
            self._praise,
            self._handling,
            self._infant,
            self._likeness,
            self._given_to,
            self._beside,
            self._part_of_head,
        )
        return any(check(mark) for check in checks)

    def _speakers_own(self, mark: Mark) -> bool:
        """ "resting my hands on the diaphragm": the hands that work are not the ones looked at."""
        if mark.kind != "site" or mark.a == self._clause.a:
            return False
        before = self._tokens[mark.a - 1].text
        return before == "my" or (before == "a" and mark.readings[0].site in WORKING)  # "a hand on the tummy"

    def _speaker(self, mark: Mark) -> bool:
        """ "I won't move his neck": what the speaker does not do is no finding."""
        before = self._tokens[mark.a - 1].text if mark.a > self._clause.a else ""
        meant = {r.concept for r in mark.readings if r.role == "means"}
        finds = mark.kind == "result" and any(self._vocab.concepts[c].kind == "finding" for c in meant)
        finds = finds and not meant <= {"exam.overall"}  # "I don't like that one"
        return before in ("i", "we") and finds and self._tokens[mark.a].text in ("wo", "will", "would", "did", "do")

    def _course(self, mark: Mark) -> bool:
        """ "this muscle from behind the ear to the collarbone": where it runs, not what is looked at."""
        sites = [m for m in self._marks if m.kind == "site"]
        for start, end in pairwise(sites):
            led = "from" in self._marked.words(max(self._clause.a, start.a - 3), start.a)
            if led and "to" in self._marked.words(start.b, end.a) and mark in (start, end):
                return True
        return False

    def _ample(self, mark: Mark) -> bool:
        """ "a good eighty-five degrees", "thirty-seven even": how the number is meant, no result."""
        numbers = [m for m in self._marks if m.kind == "number"]
        if mark.kind != "result":
            return False
        return (mark.word == "good" and any(n.a == mark.b and not self._tokens[mark.b - 1].stop for n in numbers)) or (
            mark.word == "even" and any(n.b == mark.a for n in numbers)
        )

    def _shortfall(self, mark: Mark) -> bool:
        """ "ten degrees short", "lacks the last ten degrees": what is missing is not how far it goes."""
        number = mark.number
        if number is None or number.unit not in ("", "deg"):
            return False
        missing = self._vocab.listed("missing")
        end = mark.b if self._tokens[mark.b - 1].stop else min(mark.b + 1, self._clause.b)
        after = self._marked.words(mark.b, end)
        before = self._marked.words(max(self._clause.a, mark.a - 3), mark.a) & {"lacks", "lacking", "missing", "loses"}
        return bool(after & missing) or (number.unit == "deg" and bool(before))

    def _reason_to_come(self, mark: Mark) -> bool:
        """ "Back in for hips, feet and spine": what the visit is about is not in hand yet."""
        if mark.kind != "site":
            return False
        begin = max(self._clause.a, mark.a - 8)
        hits = [h for v, h in self._marked.cued("acts", begin, mark.a) if v == "comes_for" and h.b <= mark.a]
        return bool(hits) and not any(m.kind in ("result", "number") for m in self._marks if m.a >= hits[0].b)

    def _praise(self, mark: Mark) -> bool:
        """ "There's a good lad": a word of the talk to the infant."""
        if mark.kind != "result":
            return False
        hits = self._marked.hits("acts", self._clause.a, self._clause.b)
        return any(hit.payloads[0].gives == "chat" and hit.a <= mark.a < mark.b <= hit.b for hit in hits)

    def _handling(self, mark: Mark) -> bool:
        """ "The toes fan when I stroke the sole": what brings out a finding is no treatment."""
        if mark.kind not in ("concept", "result") or mark.a < self._clause.a + 2:
            return False
        before = [t.text for t in self._tokens[mark.a - 2 : mark.a]]
        kinds = {self._vocab.concepts[r.concept].kind for r in mark.readings if r.role in ("say", "means")}
        return (
            bool(kinds)
            and kinds <= {"treatment", "advice"}
            and before[0] in ("when", "as", "if", "while")
            and before[1] in ("i", "you", "we")
        )

    def _likeness(self, mark: Mark) -> bool:
        """ "The masseter's tight, like a marble": what the tension is likened to is no lump beside it."""
        here = {r.concept for r in mark.readings if r.role in ("say", "means")}
        led = self._marked.words(max(self._clause.a, mark.a - 2), mark.a + 1)
        if "tissue.mass" not in here or "like" not in led:
            return False
        said = {r.concept for m in self._marks if m.b <= mark.a for r in m.readings if r.role == "means"}
        return "tissue.tension" in said

    def _part_of_head(self, mark: Mark) -> bool:
        """ "Flattening, left posterior": where on the head, and no fontanelle."""
        near = self._marked.words(max(self._clause.a, mark.a - 1), mark.b + 1)
        if mark.word not in ("posterior", "anterior") or near.isdisjoint(("left", "right")):
            return False
        before = self._marked.within(max(0, mark.a - 8), mark.a)
        return any("sign.plagiocephaly" in (*m.says(), *(r.concept for r in m.gives())) for m in before)

    def _beside(self, mark: Mark) -> bool:
        """ "T9's stuck, everything below that is fine": said of other segments, which are not named."""
        if mark.kind != "result":
            return False
        begin = max([self._clause.a, mark.a - 6, *(m.b for m in self._marks if m.b <= mark.a)])
        before = self._marked.words(begin, mark.a)
        return not before.isdisjoint(("everything", "all", "rest")) and bool(before & self._vocab.listed("beside_it"))

    def _given_to(self, mark: Mark) -> bool:
        """ "That gave her a fright": something was given to somebody, nothing gave way."""
        token = self._tokens[mark.b - 1]
        following = self._tokens[mark.b].text if mark.b < self._clause.b and not token.stop else ""
        gave = mark.kind in ("concept", "result") and token.text in ("gave", "gives", "give")
        return gave and following in self._vocab.listed("receivers")

    def _infant(self, mark: Mark) -> bool:
        """ "He takes two sucks and he's gone again": said of the infant."""
        if mark.kind != "result" or mark.word not in self._vocab.listed("infant_words"):
            return False
        before = [t.text for t in self._tokens[max(self._clause.a, mark.a - 3) : mark.a]]
        pairs = pairwise(before)
        return any(s in ("he", "she", "i", "we") and v in ("'s", "is", "was", "'ve", "have", "has") for s, v in pairs)

    def _existential(self, mark: Mark) -> bool:
        """ "There's no lump", "not sore there": the "there" finds nothing."""
        following = self._tokens[mark.a + 1].text if mark.a + 1 < len(self._tokens) else ""
        if mark.word == "there" and any(m.kind == "result" and m.b == mark.a and m.word != "not" for m in self._marks):
            return not self._tokens[mark.a - 1].stop
        return (
            mark.word == "there" and not self._tokens[mark.a].stop and following in ("'s", "is", "are", "was", "were")
        )

    def _gain(self, mark: Mark) -> bool:
        """ "up 400 grams" is a change of weight, no weight."""
        before = self._marked.words(max(self._clause.a, mark.a - 2), mark.a)
        unit = mark.number.unit if mark.number is not None else ""
        after = self._marked.words(mark.b, mark.b + 2)
        gained = before & {"up", "gained", "lost", "down", "gain", "on"} or after & {"up", "down", "heavier", "lighter"}
        return unit == "kg" and bool(gained)

    def _away(self, mark: Mark) -> bool:
        """ "away from the collarbone" is not at the collarbone; "flatter than on the left" is not on the left."""
        before = self._marked.words(max(self._clause.a, mark.a - 3), mark.a)
        if mark.kind == "side":
            return bool(before & self._comparing)
        if mark.kind == "concept" and all(self._vocab.concepts[c].kind == "plan" for c in mark.says()):
            return bool(before & self._comparing)  # "it's better than an ultrasound"
        return mark.kind == "site" and bool(
            before & {"away", "than", "cross", "crosses", "crossing", "toward", "towards"}
        )

    def _stranger(self, mark: Mark) -> bool:
        """ "Thursday's good", "the table's creaking": said of something that the vocabulary does not know."""
        if mark.kind != "result" or any(r.role == "say" for r in mark.readings):
            return False
        meant = {r.concept for r in mark.readings if r.role == "means"}
        whole = bool(meant) and meant <= {"exam.overall", "exam.symmetry"}
        if whole and self._tokens[self._clause.head].text in ("he", "she", "you", "everybody", "everyone"):
            return True  # "she's fine": said of the infant, or of somebody else, not of the structure in hand
        named = ("site", "concept", "level", "number", "side")  # "its partner's soft"
        plain = self._plain_words | self._vocab.listed("beside_it")  # "the one below is fine"
        known = {k for m in self._marks if m.kind in named for k in range(m.a, m.b)}
        for k in range(max(self._clause.a, mark.a - 3), mark.a):
            word = self._tokens[k - 1] if k > self._clause.a else None
            if self._tokens[k].text in ("'s", "is", "was", "are", "were") and word is not None and not word.stop:
                return k - 1 not in known and word.text not in plain and not word.text.isdigit()
        return False

    def _discourse(self, mark: Mark) -> bool:
        """ "Okay, …", "Good.": words that open a clause, or are all of it, are no result."""
        words = self._marked.words(mark.a, mark.b)
        connectives = self._vocab.listed("connectives")
        if mark.kind != "result" or not words <= connectives:
            return False
        whole = self._marked.words(self._clause.a, self._clause.b) <= connectives
        if not self._tokens[mark.b - 1].stop and any(
            m.kind in ("side", "concept") and m.a == mark.b for m in self._marks
        ):
            return False  # "Grand on the left", "Good suck"
        return mark.a < self._clause.head or whole

    def is_particle(self, hit: Hit[CueReading]) -> bool:
        """The "no" of "No, caesarean." answers; it denies nothing after its comma."""
        token = self._tokens[hit.a]
        return bool(token.text == "no" and token.stop == "," and hit.a <= self._clause.head)

    def _to_the_infant(self, mark: Mark) -> bool:
        """ "let me see your right shoulder, mister"."""
        chat = "chat" in self._marked.acts(self._clause.a, self._clause.b)
        return chat and self._tokens[mark.a].text == "your"

    def led(self, marks: Sequence[Mark]) -> list[Mark]:
        """ "left masseter": a side directly before a structure is the structure's own."""
        out: list[Mark] = []
        for mark in marks:
            if mark.side in VIEWER and self._to_the_infant(mark):
                mark = replace(mark, side=VIEWER[mark.side])
            before = out[-1] if out else None
            near = before is not None and before.kind == "side" and 0 <= mark.a - before.b <= 1
            led = near and before is not None and not self._marked.border(before.b, mark.a, self._clause.a)
            said = self._tokens[mark.a - 1].text if mark.a > self._clause.a else ""
            if led and before is not None and mark.kind in ("site", "level"):
                out[-1] = replace(mark, a=before.a, side=before.side)
            elif mark.kind == "site" and not mark.side and said in ("either", "each", "neither"):
                out.append(replace(mark, side="both"))  # "no clunk in either hip"
            else:
                out.append(mark)
        return out
