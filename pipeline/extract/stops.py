"""Stops for utterances that a recogniser wrote without any: where a statement is whole and the next one begins.

A statement is whole once something was said (a result, a number, a denial, a sign) of something (a structure, a
concept, "that"). The next one begins where a further structure, concept or side is named or denied that no preposition
or "and" ties to it; its articles, degree words and joining words go with it. It also begins with a subject and verb of
its own ("she's", "let me"), with "okay" and the like, and with a question. Between two sides of one structure stands a
comma, between two statements a full stop; a question ends before the answer to it.
"""

from bisect import bisect_left, bisect_right
from dataclasses import replace

from pipeline.extract.acts import DOING
from pipeline.extract.lexicon import Lexicon
from pipeline.extract.marks import Mark, Marked
from pipeline.extract.results import fit_result
from pipeline.extract.statements import Statement, apart, speaks
from pipeline.extract.tokens import Stop, Token
from pipeline.model import Kind

TOPICS = ("site", "level", "concept")
TOLD = ("result", "number")
NEAR = 3  # words from "no" to what it denies
PAUSE_MS = 300
SILENT = ("hypothetical", "teach", "earlier", "outside", "other")


class Stops:
    """Infers the stops of one utterance at a time; compiled once."""

    def __init__(self, lexicon: Lexicon) -> None:
        vocab, stem = lexicon.vocab, lexicon.tokeniser.stem
        self.vocab = vocab
        self.clauses = lexicon.cues["clauses"]
        self.determiners = vocab.listed("determiners")
        self.connectives = vocab.listed("connectives")
        self.leads = self.determiners | self.connectives | {"any"}
        self.prepositions = vocab.listed("prepositions") | vocab.listed("ties")
        self.being = vocab.listed("being")
        self.binding = self.prepositions | self.being  # what follows one of these goes with it
        self.having = vocab.listed("having")
        self.awaiting = vocab.listed("awaiting")
        self.subjects = vocab.listed("subjects")
        self.objects = vocab.listed("objects")
        self.finite = vocab.listed("finite")
        self.third_person = vocab.listed("third_person")
        self.dependent = vocab.listed("dependent")
        self.standing = vocab.listed("pointing") | {"he", "she"}
        self.denying = vocab.listed("denying")
        self.answers = vocab.listed("answer_words")
        self.nouns = frozenset(stem(say.split()[-1]) for site in vocab.sites.values() for say in site.say)
        self.nouns -= {stem(word) for word in self.prepositions}  # "back not looked at"

    def __call__(self, marked: Marked) -> list[Token]:
        """The tokens of an utterance with the stops that were left out. ``marked``: read with any word as a start."""
        return _Reading(self, marked).tokens()


class _Reading:
    """One utterance, read from left to right."""

    def __init__(self, stops: Stops, marked: Marked) -> None:
        self._of = stops
        self._marked = marked
        self._tokens = marked.tokens
        named = {c for m in marked.marks for c in m.says()}
        self._marks = apart([m for m in marked.marks if m.kind != "result" or speaks(m, named)])
        self._degrees = {k for hit in marked.degrees for k in range(hit.a, hit.b)}
        self._repairs = {
            k for hit in marked.cues.get("repair", ()) for k in hit.fixed
        }  # "no, correction" denies nothing
        self._nots = {
            hit.a for hit in marked.cues.get("negation", ()) if hit.payloads[0].gives == "not"
        } - self._repairs
        self._denials = {k for k in self._nots if self._tokens[k].text in stops.denying}
        acts = marked.cued("acts", 0, len(self._tokens))
        self._asking = {hit.a for v, hit in acts if v == "question"}
        self._silent = sorted(hit.a for v, hit in acts if v in SILENT)
        self._cues = {
            hit.a: {p.gives for p in hit.payloads} for hit in stops.clauses.find(range(len(self._tokens)), self._tokens)
        }
        self._found: dict[int, Stop] = {}
        self._begin(0)

    def tokens(self) -> list[Token]:
        """The tokens with their stops."""
        at = {m.a: n for n, m in enumerate(self._marks)}
        for k in range(len(self._tokens)):
            if k:
                self._word(k)
            if k in at:
                self._mark(at[k])
        for hit in self._marked.cues.get("repair", ()):
            if hit.payloads[0].gives == "swap" and hit.a > 1:  # "ninety left, eighty right. Sorry, other way round."
                before = hit.a - 1 - (self._tokens[hit.a - 1].text in ("sorry", "no", "wait"))
                self._found[before] = self._found[hit.b - 1] = "."
            elif hit.a > 0 and self._tokens[hit.a].text != "not":
                self._found.setdefault(hit.a - 1, ",")
        if self._now.asks:
            self._found[len(self._tokens) - 1] = "?"
        return [replace(t, stop=self._found[k]) if k in self._found else t for k, t in enumerate(self._tokens)]

    # ------------------------------------------------------------ borders

    def _cut(self, k: int, stop: Stop) -> None:
        """A statement ends before token ``k``."""
        now = self._now
        if k > now.begin:
            stop = "," if now.depends and stop == "." else stop
            self._found[k - 1] = "?" if now.asks else stop
            self._begin(k)
            joined = self._tokens[k].text in ("or", "and")
            self._now.depends = self._now.depends or (now.depends and joined)  # "if there's blood, or green vomit"

    def _begin(self, k: int) -> None:
        head = k
        while head < len(self._tokens) - 1 and self._tokens[head].text in self._of.connectives:
            head += 1
        asks = any(h in self._asking for h in range(k, head + 1))
        depends = bool(self._marked.words(k, head + 1) & self._of.dependent)
        self._now = Statement(k, k, asks=asks, depends=depends)

    def _end(self) -> Stop:
        """The stop that ends the statement; what follows a condition or an explanation belongs to it."""
        now = self._now
        silent = bisect_left(self._silent, now.begin) < bisect_right(self._silent, now.end)
        return "," if now.depends or silent or not now.told else "."

    def _word(self, k: int) -> None:
        """A pause, an answer, or a word that may begin a clause by itself."""
        now, before, text = self._now, self._tokens[k - 1].text, self._tokens[k].text
        if k in self._cues and k >= now.end:
            self._cue(k, self._cues[k], before)
        elif now.asks and k - now.begin > 1 and text in self._of.answers:
            self._cut(k, "?")
        elif now.whole and self._tokens[k].gap_ms >= PAUSE_MS and before not in self._of.binding | self._of.leads:
            self._cut(k, self._end())

    def _cue(self, k: int, kinds: set[str], before: str) -> None:
        now, text = self._now, self._tokens[k].text
        bound = bool(self._cues.get(k - 1, set()) & {"binder", "turn"})
        bound = bound or before in self._of.prepositions or before in self._of.determiners
        bound = bound and k - 1 not in self._repairs
        joined = before in self._of.connectives and k - 1 >= now.end
        if "opener" in kinds:
            result = now.named and not now.told and now.end == k  # "flexion okay"
            after = self._tokens[k + 1].text if k + 1 < len(self._tokens) else ""
            if not bound and not result and after not in ("and", "but", ""):
                self._cut(k, ".")
        elif "asker" in kinds:
            if joined or (now.explicit and not bound and not now.asks and before not in self._of.standing):
                self._cut(k - 1 if joined else k, ".")
        elif "turn" in kinds:
            if now.told and not bound:
                self._cut(k, ",")
        elif text in self._of.dependent and not (joined and now.told):
            now.depends = True
        elif "subject" in kinds and k > now.begin and not self._no_subject(k, before):
            if joined and now.told:
                self._cut(k - 1, ",")
            elif not joined and not bound:
                self._cut(k, self._end())

    def _no_subject(self, k: int, before: str) -> bool:
        """ "get it to the right": an object; "wouldn't call", "she doesn't": a verb that has its subject before it."""
        of, text = self._of, self._tokens[k].text
        after = self._tokens[k + 1].text if k + 1 < len(self._tokens) else ""
        if text in ("can", "could") and after == "you":
            return False
        if text not in of.subjects:
            return self._now.end == k or before in of.subjects or before in of.finite or before in ("n't", "not", "to")
        if text not in of.objects:
            return False
        third = after in of.third_person or (len(after) > 3 and after[-1] == "s")
        return not (third if text == "it" else after in of.finite) and after not in ("'d", "'ll")

    def _mark(self, n: int) -> None:
        mark, following = self._marks[n], self._after(n)
        near = following is not None and following.a == mark.b
        if mark.kind == "side" and self._led(n):
            return  # "left hip": read with its structure
        if near and mark.kind == "result" and mark.a in self._denials:
            return  # "nothing overriding"
        if near and following and following.kind == "site" and mark.number is not None and not mark.number.unit:
            return  # "one arm"
        denial = self._denial(mark)
        if denial == mark.a - 1 == self._now.end and self._replaces(mark):
            self._found[denial - 1] = self._found[denial] = ","
            return  # "t six, no, t seven"
        lead = self._lead(n, mark.a if denial is None else denial)
        stop = self._stop(n, lead, denial is not None) if lead > self._now.begin else ""
        if stop:
            named = self._now.named and stop == ","
            self._cut(lead, stop)
            self._now.named = self._now.named or named
        if n and self._led(n - 1):
            self._now.side = self._now.side or self._marks[n - 1]
        self._take(mark, denial is not None)

    def _replaces(self, mark: Mark) -> bool:
        """The same slot is said anew."""
        last = self._now.last
        if last is None or last.kind != mark.kind or mark.kind in ("site", "concept"):
            return False
        return mark.kind != "result" or bool({r.concept for r in mark.gives()} & {r.concept for r in last.gives()})

    def _denial(self, mark: Mark) -> int | None:
        """Where the "no" of the mark stands: "no yellow at all", "not breech"; not that of "it is not tight"."""
        now = self._now
        near = next((k for k in range(max(now.end, mark.a - NEAR), mark.a) if k in self._denials), None)
        if near is None and mark.kind == "concept" and mark.a > now.end and self._tokens[mark.a - 1].text == "not":
            near = mark.a - 1 if self._tokens[mark.a - 2].text not in self._of.being else None
        return near

    def _after(self, n: int) -> Mark | None:
        return self._marks[n + 1] if n + 1 < len(self._marks) else None

    def _led(self, n: int) -> bool:
        """The mark after a bare side word is the structure whose side it is."""
        mark, following, now = self._marks[n], self._after(n), self._now
        plain = mark.b - mark.a == 1 and self._tokens[mark.a].text in ("left", "right", "both")
        if plain and mark.side == "both" and now.whole and now.placed and now.side is None:
            return False  # "upper traps tight, both | scalenes okay"
        near = plain and following is not None and following.kind in ("site", "concept") and following.a == mark.b
        return near and following is not None and self._kinds(following) != {"impression"}

    def _lead(self, n: int, at: int) -> int:
        """Where the phrase of a mark begins: with its side, articles, degree words and joining words."""
        side, now = self._marks[n - 1] if n else None, self._now
        if side is not None and side.kind == "side" and side.b == at:
            further = now.side is not None and now.side is not side  # "to the left, to the right | no rooting"
            at = side.a if self._led(n - 1) or further else at
        floor = max(now.end if at >= now.end else at, now.begin)
        while at > floor and (self._tokens[at - 1].text in self._of.leads or at - 1 in self._degrees):
            at -= 1
        return at

    def _stop(self, n: int, lead: int, denied: bool) -> Stop:
        """The stop before the mark, "" where it belongs to the statement being read."""
        mark, now, before = self._marks[n], self._now, self._tokens[lead - 1].text
        if lead - now.begin > 1 and not now.asks and self._heads(n) and not self._bound(lead):
            return "," if self._end() == "," and now.told else "."
        if not now.whole:
            return "." if self._after_chat(n, lead, denied) else ""
        inside = mark.kind in TOPICS and mark.a == lead and self._tokens[lead].text in self._of.prepositions
        tied = (
            before in self._of.binding
            or (not denied and before in self._of.awaiting)
            or inside
            or self._marked.words(now.end, lead) & self._of.prepositions
        )
        if tied or self._beside(n):
            return ""
        if mark.kind in TOPICS or self._speaks_of_itself(mark):
            return self._before_topic(n, lead, denied)
        following = self._after(n)
        if mark.kind == "side":
            return "," if now.side and following is not None and following.kind in TOLD else ""
        if denied and mark.kind == "result":
            return "."
        return self._before_told(n, following) if following is not None else ""

    def _before_topic(self, n: int, lead: int, denied: bool) -> Stop:
        mark, now, following = self._marks[n], self._now, self._after(n)
        if (
            now.doing
            and not now.explicit
            and ("treatment" in self._kinds(mark) or (not now.placed and mark.kind != "concept"))
        ):
            return ""
        if now.judged:
            return ""  # "I would not call this a torticollis"
        more = self._more(n)
        between = self._tokens[mark.b : following.a] if following else ()
        alone = not more and not (following and all(t.text in ("and", "or") for t in between))
        if mark.kind == "site" and not now.placed and not now.side and alone and not denied:
            return ""  # "palmar grasp absent, right hand"
        last = now.last
        if last is not None and last.number is not None and self._measured(mark, last, following):
            return ""
        adjective = last is not None and last.kind == "result" and last.b >= lead and not (now.side or now.concept)
        apart = now.placed and bool(self._marked.words(mark.b, mark.b + 2) & {"and"})
        if (
            adjective
            and last is not None
            and mark.kind == "concept"
            and not (denied or apart)
            and self._suits(mark, last)
        ):
            return ""  # "reduced motion"
        joined = self._marked.words(lead, mark.a) & {"and", "or", "nor"}
        return "" if joined and not denied and not more else "."

    def _before_told(self, n: int, following: Mark) -> Stop:
        mark, now = self._marks[n], self._now
        between = self._marked.words(mark.b, following.a)
        led = bool((between | {self._tokens[following.a].text}) & self._of.prepositions)
        paired = following.kind == "side" and (led if mark.kind == "result" else not led and following.a == mark.b)
        apart = between - self._of.prepositions - self._of.determiners
        if paired and now.side and now.explicit and not apart and not self._led(n + 1):
            return ","  # "brisk on the left | weaker on the right", "35 right | 45 left"
        adjective = mark.kind == "result" and following.kind == "concept" and following.a == mark.b
        if adjective and now.last is not None and now.last.kind in TOLD and self._suits(following, mark):
            return "" if "and" in self._marked.words(now.end, mark.a) else "."  # "tone normal | weak suck"
        return ""

    def _bound(self, lead: int) -> bool:
        """A preposition, "is", "if" or "that" before a phrase ties it."""
        return "binder" in self._cues.get(lead - 1, ()) or self._tokens[lead - 1].text in self._of.binding

    def _heads(self, n: int) -> bool:
        """ "the soft spot's nice", "the left stops", "weight 16 pounds": the mark is the subject of what follows."""
        mark, following = self._marks[n], self._after(n)
        after = self._tokens[mark.b].text if mark.b < len(self._tokens) else ""
        if mark.kind == "side":
            plain = self._tokens[mark.a].text in ("left", "right")
            return plain and (after in self._of.being or after == "one" or (len(after) > 3 and after[-1] == "s"))
        measured = any(self._of.vocab.concepts[c].measure is not None for c in mark.says())
        number = following is not None and following.kind == "number" and following.a - mark.b <= 1
        return mark.kind in TOPICS and (after in self._of.being or (measured and number))

    def _beside(self, n: int) -> bool:
        """ "small bruise on the left shin": where it is, unless a place was named and more is said of this one."""
        mark, side, now = self._marks[n], self._now.last, self._now
        if mark.kind not in ("site", "level") or side is None or side.kind != "side" or side.b != mark.a:
            return False
        led = {self._tokens[side.a].text, self._tokens[max(0, side.a - 1)].text}
        own = now.placed and not now.doing and self._more(n)
        return bool(led & self._of.prepositions) and not own

    def _after_chat(self, n: int, lead: int, denied: bool) -> bool:
        """ "is he smiling at me | elbows good": a statement after words that name nothing."""
        mark, now, before = self._marks[n], self._now, self._tokens[lead - 1].text
        place = mark.kind in ("site", "level") and self._after(n) is not None
        if now.last is not None or now.depends or not (denied or place) or before == "one":
            return False
        return lead - now.begin > NEAR and not self._bound(lead) and before not in self._of.leads | self._of.having

    def _does(self, mark: Mark) -> bool:
        """A treatment, advice or plan."""
        return self._kinds(mark) <= DOING

    def _kinds(self, mark: Mark) -> set[Kind]:
        return {self._of.vocab.concepts[r.concept].kind for r in mark.readings if r.concept}

    def _measured(self, mark: Mark, number: Mark, following: Mark | None) -> bool:
        """ "5.4 kilos on my scales": the number before is the value of what is named after it."""
        measures = [self._of.vocab.concepts[c].measure for c in mark.says()]
        fits = number.number is not None and number.number.unit in {m.unit for m in measures if m is not None}
        return fits and not (following is not None and following.kind == "number")

    def _speaks_of_itself(self, mark: Mark) -> bool:
        """A saying with its own subject in it: "toes fan out"."""
        words = self._tokens[mark.a : mark.b]
        return mark.kind == "result" and len(words) > 1 and any(t.stem in self._of.nouns for t in words)

    def _more(self, n: int) -> bool:
        """Something is said of the mark itself: a denial, a result or a number follows, sides apart."""
        end = self._marks[n].b
        following = next((m for m in self._marks[n + 1 : n + 1 + NEAR] if m.kind != "side"), None)
        return bool({end, end + 1} & self._nots) or (following is not None and following.kind in TOLD)

    def _suits(self, concept: Mark, result: Mark) -> bool:
        return any(fit_result(self._of.vocab, c, result) is not None for c in concept.says())

    def _take(self, mark: Mark, denied: bool) -> None:
        """The mark belongs to the statement being read."""
        now = self._now
        now.pointed = now.pointed or bool(self._marked.words(now.end, mark.a) & self._of.standing)
        topic, told = mark.kind in TOPICS or self._speaks_of_itself(mark), mark.kind in TOLD
        now.named = now.named or topic or (told and now.pointed)
        now.placed = now.placed or mark.kind in ("site", "level")
        if mark.kind == "concept":
            now.concept = True
            stated = any(self._of.vocab.concepts[c].stated is not None for c in mark.says())
            now.told = now.told or denied or stated or any(r.role == "means" for r in mark.gives())
        now.told = now.told or told
        now.explicit = now.explicit or (told and (mark.kind == "number" or not self._does(mark)))
        now.doing = now.doing or (mark.kind in ("concept", "result") and self._does(mark))
        now.judged = now.judged or self._kinds(mark) == {"impression"}
        if mark.kind == "side":
            now.side = now.side or mark
        now.last, now.end = mark, mark.b
