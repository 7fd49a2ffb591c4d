"""A question cut into the forms of the vocabulary: the longest first, each with the results it gives there, and whether
it stands under a denial."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from pipeline.amounts import Token, tokens_of
from pipeline.search.lexicon import NOT, Lexicon, Reading, Role, key_of

_LEVEL = re.compile(r"[clst]1?[0-9]$")
_WORD = re.compile(r"\w+")
_BARRIER = "\0"  # stands for a token that belongs to a number or a date: no form reaches over it


@dataclass
class Term:
    """A form found, over tokens ``i0 <= i < i1``; ``pairs``: the (concept, result) it gives there."""

    tokens: tuple[int, int]
    text: str
    readings: tuple[Reading, ...]
    pairs: tuple[tuple[str, str], ...] = ()
    denied: bool = False

    def of(self, *roles: Role) -> list[Reading]:
        return [reading for reading in self.readings if reading.role in roles]

    def names(self, concept: str) -> bool:
        return any(reading.id == concept for reading in self.of("concept"))


@dataclass
class Parsed:
    """The terms in order, and the tokens that the vocabulary does not know. ``text``: what was asked."""

    text: str
    tokens: Sequence[Token]
    terms: list[Term] = field(default_factory=list)
    rest: list[int] = field(default_factory=list)

    def ids(self, role: Role) -> set[str]:
        return {reading.id for term in self.terms for reading in term.of(role)}

    def rest_words(self, without: frozenset[str]) -> list[str]:
        """The words that are not known, as they were typed: parts that touch are one ("heart-murmur", "1st")."""
        words: list[str] = []
        end = -1
        for at in self.rest:
            token = self.tokens[at]
            if key_of(token.text) in without or not (token.text[0].isalnum()):
                continue
            gap = self.text[end : token.start] if end >= 0 else " "
            if words and not gap.strip(" ") and " " not in gap:
                words[-1] += gap + self.text[token.start : token.end]
            else:
                words.append(self.text[token.start : token.end])
            end = token.end
        return words


class Parser:
    """Cuts questions and passages into forms. Build once."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon

    def parse(self, text: str, taken: frozenset[int] = frozenset()) -> Parsed:
        """Longest forms first, from left to right; denials reach forward to the next stop, or back over what was.

        ``taken``: tokens that belong to numbers and dates.
        """
        tokens = tokens_of(text)
        keys = [_BARRIER if i in taken else key_of(token.text) for i, token in enumerate(tokens)]
        parsed = Parsed(text, tokens)
        named = self.named(keys)
        cut = list(self._cut(keys, named))
        if still := frozenset(r.id for term in cut if isinstance(term, Term) for r in term.of("concept")) ^ named:
            named -= still
            cut = list(self._cut(keys, named))
        near = self._near({r.id for term in cut if isinstance(term, Term) for r in term.of("site")})
        denied = False
        for term in cut:
            if not isinstance(term, Term):
                if term not in taken:
                    parsed.rest.append(term)
                continue
            term.pairs = tuple(self._pairs(term, named, near))
            if not (term.pairs or any(r.role != "result" for r in term.readings)):
                parsed.rest += range(*term.tokens)
                continue
            if term.of("stop"):
                denied = False
            elif term.of("deny_before") and not term.pairs:
                for before in parsed.terms:
                    before.denied = True
            elif term.of("deny") and not term.pairs:
                denied = True
            term.denied = denied
            parsed.terms.append(term)
        return parsed

    def named(self, keys: Sequence[str]) -> frozenset[str]:
        """Every concept that some words of a question may name."""
        return frozenset(r.id for _, _, readings in self._possible(keys) for r in readings if r.role == "concept")

    def denied(self, text: str, marked: tuple[str, str]) -> bool:
        """Whether what stands between the marks stands under a denial in its own sentence."""
        folded = text.replace("’", "'").lower()
        if NOT not in folded and self._lexicon.denying.isdisjoint(_WORD.findall(folded)):
            return False
        on, off = marked
        for sentence in re.split(r"[.;?!]", text):
            under = False
            for part in re.split(f"({on}[^{off}]*{off})", sentence):
                if part.startswith(on):
                    if under:
                        return True
                    continue
                keys = ["not" if token.text.endswith(NOT) else key_of(token.text) for token in tokens_of(part)]
                for term in self._cut(keys, frozenset()):
                    if isinstance(term, Term) and term.of("stop"):
                        under = False
                    elif isinstance(term, Term) and term.of("deny"):
                        under = True
        return False

    def _possible(self, keys: Sequence[str]) -> Iterator[tuple[int, int, tuple[Reading, ...]]]:
        for a in range(len(keys)):
            form = ""
            for b in range(a + 1, min(a + self._lexicon.longest, len(keys)) + 1):
                if keys[b - 1] == _BARRIER:
                    break
                form = f"{form} {keys[b - 1]}" if form else keys[b - 1]
                readings = self._lexicon.readings(form)
                if not readings and b == a + 1 and _LEVEL.match(form):
                    readings = (Reading("level", form.upper()),)
                if readings:
                    yield a, b, readings

    def _cut(self, keys: Sequence[str], named: frozenset[str]) -> Iterator[Term | int]:
        """The longest forms that overlap none longer, in order, with the tokens between them singly.

        A form that is nothing but a result in hand counts where a concept is named that can have it; one that begins
        with a denial ("not given") where it tells of a concept named, or none is: else it is a denial of what follows.
        Of equally long ones that overlap one that begins with a denial or a side comes last, then the later.
        """
        possible = {result for name in named for result in self._lexicon.concepts[name].results}
        found = [
            (a - b, self._turns(keys[a]), a, readings)
            for a, b, readings in self._possible(keys)
            if any(r.role != "result" or r.result in possible for r in readings)
            and not (b - a > 1 and named and keys[a] in self._lexicon.denials and self._of_another(readings, named))
        ]
        taken: dict[int, tuple[int, tuple[Reading, ...]]] = {}
        free = set(range(len(keys)))
        for size, _, at, readings in sorted(found, key=lambda f: f[:3]):
            if free.issuperset(range(at, at - size)):
                free.difference_update(range(at, at - size))
                taken[at] = (at - size, readings)
        for at in range(len(keys)):
            if at in taken:
                end, readings = taken[at]
                yield Term((at, end), " ".join(keys[at:end]), readings)
            elif at in free:
                yield at

    def _turns(self, key: str) -> bool:
        return key in self._lexicon.denials or any(r.role == "side" for r in self._lexicon.readings(key))

    @staticmethod
    def _of_another(readings: Sequence[Reading], named: frozenset[str]) -> bool:
        """Whether a form gives results, and none of them of a concept named."""
        given = {r.id for r in readings if r.role in ("result", "label", "means")}
        return bool(given) and given.isdisjoint(named) and all(r.role in ("result", "label", "means") for r in readings)

    def _pairs(self, term: Term, named: frozenset[str], near: set[str]) -> Iterator[tuple[str, str]]:
        """A result word gives the result of the concepts named, where it can; else what it means by itself."""
        naming = {reading.id for reading in term.of("concept")}
        readings = [r for r in term.of("result", "label", "means") if r.id not in naming or r.role == "means"]
        own = [(r.id, r.result) for r in readings if r.id in named]
        if not own and not naming:
            results = {r.result for r in readings}
            own = [(name, r) for name in named for r in results if r in self._lexicon.concepts[name].results]
        alone = [(r.id, r.result) for r in readings if r.role != "result" and self._fits(r.id, near)]
        yield from dict.fromkeys(own or alone)

    def _near(self, sites: set[str]) -> set[str]:
        """The structures named, what belongs to them, and what they belong to."""
        return {*self._lexicon.below(sites), *(above for site in sites for above in self._lexicon.sites[site].line)}

    def _fits(self, concept: str, near: set[str]) -> bool:
        home = self._lexicon.concepts[concept].site
        return not near or home is None or home in near
