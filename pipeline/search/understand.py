"""A parsed question -> what the store is asked for, and the same in words for the person.

Negation-true: what is asked as found is never answered by what was found absent, nor the reverse. A finding's own
results decide, where the vocabulary knows it.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from pipeline.amounts import TIME_DAYS, TIME_NAMES, Amount, Days, tokens_of
from pipeline.search.lexicon import ConceptFacts, Lexicon, key_of
from pipeline.search.parse import Parsed, Parser
from pipeline.store.wanted import Range, Wanted

By = Literal["line", "visit", "infant"]
Names = Callable[[Sequence[str]], Mapping[str, str]]  # words -> the infants among them: code name -> id


@dataclass(frozen=True)
class Understood:
    """``wanted``: for the lines of notes, with the words to be said (None: the words alone answer). ``said``: for what
    was said, where no line answers; ``denied``: whether the words are to stand under a denial there. ``own``: the
    words that must not be left out. ``by``: what one answer is, where the question says so."""

    wanted: Wanted | None
    said: Wanted
    denied: bool
    own: str
    how: tuple[str, ...]
    by: By | None = None
    unknown: tuple[str, ...] = ()


class Understanding:
    """Understands questions. Build once."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon
        self.parser = Parser(lexicon)

    def understand(self, question: str, today: date, names: Names = lambda _: {}) -> Understood:
        """Read a question. ``today`` gives "last week" its days; ``names`` knows the infants on record."""
        tokens = tokens_of(question)
        days = self._lexicon.calendar.days(tokens, today)
        taken = frozenset(i for found in days for i in range(*found.tokens))
        amounts = self._lexicon.amounts.amounts(tokens, taken)
        parsed, values, ages, loose = self._placed(question, taken, amounts)
        infants = self._infants(parsed, names)
        results, how = self._results(parsed, {concept for concept, _ in values})
        filters, told = self._filters(parsed, days, ages, infants)
        sites, levels = parsed.ids("site"), parsed.ids("level")
        by: By | None = next((b for b in ("infant", "visit") if b in parsed.ids("by")), None)
        own = " ".join(
            term.text for term in parsed.terms if any(r.id in self._lexicon.own_words for r in term.of("concept"))
        )
        unknown = parsed.rest_words(self._lexicon.dull)
        words = " ".join([own, *unknown]).strip()
        said_words, denied = self._words(parsed, taken)
        said = replace(filters, words=said_words)
        named = bool(results) or bool(how)
        told += [f"not used: “{self._text(tokens, amount)}”" for amount in loose]
        if not named and not sites and not levels and (words or filters == Wanted()):
            how = [f"the words {said_words!r}" + (", where they are denied" if denied else ""), *told]
            return Understood(None, said, denied, own, tuple(how), by, tuple(unknown))
        if not named:
            how.append("whatever was found")
        how += [self._told_value(concept, amount) for concept, amount in values]
        if sites:
            labels = ", ".join(self._lexicon.sites[site].label for site in sorted(sites))
            how.append(f"where: {labels} and what belongs to it")
        if levels:
            how.append(f"level: {', '.join(sorted(levels))}")
        how += told
        if words:
            how.append(f"with the words {words!r}")
        wanted = replace(
            filters,
            results=results,
            any_concept=not named,
            values={concept: self._in_units(concept, amount) for concept, amount in values},
            sites=frozenset(self._lexicon.below(sites)),
            levels=frozenset(levels),
            words=words,
        )
        return Understood(wanted, said, denied, own, tuple(how), by, tuple(unknown))

    # ------------------------------------------------------------ numbers

    def _placed(
        self, question: str, taken: frozenset[int], amounts: Sequence[Amount]
    ) -> tuple[Parsed, list[tuple[str, Amount]], list[Amount], list[Amount]]:
        """The parsed question, the numbers that belong to a concept, those that are ages, and those that fit nothing.

        A bare stretch of time ("3 weeks") that belongs to no concept is left among the words.
        """
        for _ in range(2):
            used = taken.union(i for amount in amounts for i in range(*amount.tokens))
            parsed = self.parser.parse(question, used)
            values: list[tuple[str, Amount]] = []
            ages, loose = [], []
            for amount in amounts:
                concept = self._owner(parsed, amount)
                if concept is not None and concept != "history.age":
                    values.append((concept, amount))
                elif amount.of_time and (amount.age or not amount.about or concept):
                    ages.append(amount)
                    self._drop(parsed, "history.age")
                else:
                    loose.append(amount)
            words = [amount for amount in loose if amount.about]
            if not words:
                break
            amounts = [amount for amount in amounts if amount not in words]
        return parsed, values, ages, loose

    def _owner(self, parsed: Parsed, amount: Amount) -> str | None:
        """The concept named nearest that is measured in this unit; before the number, or else after it."""
        named = [
            (term.tokens[0] > amount.tokens[0], abs(term.tokens[0] - amount.tokens[0]), reading.id)
            for term in parsed.terms
            for reading in term.of("concept")
            if self._measures(self._lexicon.concepts[reading.id], amount)
        ]
        return min(named)[2] if named and not amount.age else None

    @staticmethod
    def _measures(concept: ConceptFacts, amount: Amount) -> bool:
        if concept.unit is None or amount.unit is None:
            return concept.unit is not None
        return concept.unit == amount.unit or (concept.unit in TIME_DAYS and amount.of_time)

    @staticmethod
    def _drop(parsed: Parsed, concept: str) -> None:
        """ "Age under 3 months" asks for the age itself, not for an age that was told."""
        for term in parsed.terms:
            term.readings = tuple(r for r in term.readings if (r.role, r.id) != ("concept", concept))
        parsed.terms = [term for term in parsed.terms if term.readings]

    def _in_units(self, concept: str, amount: Amount) -> tuple[tuple[str, Range], ...]:
        """The range in each unit that the concept may be stored in."""
        unit = self._lexicon.concepts[concept].unit or ""
        if unit not in TIME_DAYS:
            return ((unit, _range(amount)),)
        said = TIME_DAYS[amount.unit or unit]
        return tuple((other, _range(amount, said / days)) for other, days in TIME_DAYS.items())

    def _told_value(self, concept: str, amount: Amount) -> str:
        unit = amount.unit or self._lexicon.concepts[concept].unit or ""
        return f"{self._lexicon.concepts[concept].label}: {_ends(amount, unit)}"

    @staticmethod
    def _text(tokens: Sequence[object], amount: Amount) -> str:
        return " ".join(str(getattr(token, "text", "")) for token in tokens[slice(*amount.tokens)])

    # ------------------------------------------------------------ filters

    def _filters(
        self, parsed: Parsed, days: Sequence[Days], ages: Sequence[Amount], infants: Mapping[str, str]
    ) -> tuple[Wanted, list[str]]:
        """All that narrows the answers beside findings, structures and words."""
        sides = parsed.ids("side")
        degrees = self._degrees(parsed)
        kinds = set() if any(term.of("concept") for term in parsed.terms) else parsed.ids("kind")
        first, last = (any(term.of(role) for term in parsed.terms) for role in ("first", "last"))
        age = next((a for a in ages if not a.corrected), None)
        corrected = next((a for a in ages if a.corrected), None)
        when = (
            max((d.first for d in days if d.first), default=None), min((d.last for d in days if d.last), default=None)
        )  # fmt: skip
        told = []
        if sides:
            told.append(f"side: {', '.join(sorted(sides))}" + ("" if "both" in sides else " (or both)"))
        if degrees:
            told.append(f"degree: {', '.join(sorted(degrees))}")
        if kinds:
            told.append(f"among: {', '.join(sorted(kinds))}")
        if infants:
            told.append(f"infant: {', '.join(sorted(infants))}")
        if sexes := parsed.ids("sex"):
            told.append(f"sex: {', '.join(sorted(sexes))}")
        told += [f"age: {_told_age(age)}"] if age else []
        told += [f"corrected age: {_told_age(corrected)}"] if corrected else []
        if days:
            told.append(told_days(*when))
        told += ["at an infant's first visit"] if first else []
        told += ["at an infant's last visit"] if last else []
        return Wanted(
            sides=frozenset(sides | {"both"}) if sides else frozenset(),
            degrees=frozenset(degrees),
            kinds=frozenset(kinds),
            infants=frozenset(infants.values()),
            sexes=frozenset(sexes),
            age=_range(age.as_age()) if age else None,
            corrected=_range(corrected.as_age()) if corrected else None,
            days=when,
            first_visit=first,
            last_visit=last,
        ), told

    @staticmethod
    def _degrees(parsed: Parsed) -> set[str]:
        """A word of degree counts beside a result: "very tight", not "very often"."""
        results = {i for term in parsed.terms if term.pairs for i in (term.tokens[0], term.tokens[1] - 1)}
        return {
            reading.id
            for term in parsed.terms
            for reading in term.of("degree")
            if {term.tokens[0] - 1, term.tokens[1]} & results
        }

    def _infants(self, parsed: Parsed, names: Names) -> dict[str, str]:
        """Infants named among the words that are not known; their words are taken away."""
        spans = {
            parsed.text[parsed.tokens[a].start : parsed.tokens[b].end]: (a, b)
            for a in parsed.rest
            for b in parsed.rest
            if 0 <= b - a < 6 and key_of(parsed.tokens[a].text) not in self._lexicon.dull
        }
        found = names(list(spans)) if spans else {}
        folded = {text.casefold(): span for text, span in spans.items()}
        for name in found:
            a, b = folded[name.casefold()]
            parsed.rest = [i for i in parsed.rest if not a <= i <= b]
        return dict(found)

    def _words(self, parsed: Parsed, taken: frozenset[int]) -> tuple[str, bool]:
        """What to look for in what was said, and whether it is to stand under a denial there."""
        asides = {i for term in parsed.terms if term.of("first", "last", "by", "sex") for i in range(*term.tokens)}
        denying = {
            i for term in parsed.terms if term.of("deny", "deny_before") and not term.pairs for i in range(*term.tokens)
        }
        kept = Parsed(parsed.text, parsed.tokens)
        kept.rest = [i for i in range(len(parsed.tokens)) if not (i in taken or i in asides or i in denying)]
        words = kept.rest_words(self._lexicon.dull)
        denied = bool(denying) or any(
            any(r.role == "deny" for r in self._lexicon.readings(key_of(word.lower()))) for word in words
        )
        if denied:
            denials = {word for word in words if key_of(word.lower()) in self._lexicon.denials}
            words = [word for word in words if word not in denials]
        return " ".join(words) or parsed.text, denied

    # ------------------------------------------------------------ results

    def _results(self, parsed: Parsed, measured: set[str]) -> tuple[dict[str, frozenset[str] | None], list[str]]:
        """By concept the results asked for, and the same in words; of what is measured, any result with a number."""
        asked: dict[str, set[str] | None] = {}
        named: dict[str, bool] = {}
        for term in parsed.terms:
            for reading in term.of("concept"):
                named[reading.id] = named.get(reading.id, False) or term.denied
        # What names a concept may mean a result of it too; a result said beside the name goes first.
        for by_name in (False, True):
            given = [(name, result, term) for term in parsed.terms for name, result in term.pairs]
            given = [g for g in given if g[2].names(g[0]) is by_name and not (by_name and g[0] in asked)]
            for name, result, term in given:
                concept = self._lexicon.concepts[name]
                denied = term.denied or named.get(name, False)
                _widen(asked, name, self._turned(concept, result) if denied else {result})
        for name, denied in named.items():
            if name not in asked:
                bare = None if name in measured else self._bare(self._lexicon.concepts[name], denied)
                _widen(asked, name, bare)
        if measured:  # "weight over 5 kg" asks for nothing that has no number
            asked = {name: results for name, results in asked.items() if name in measured}
        told = {name: results for name, results in asked.items() if name not in measured or results is not None}
        return {name: None if r is None else frozenset(r) for name, r in asked.items()}, list(self._told(told))

    def _bare(self, concept: ConceptFacts, denied: bool) -> set[str] | None:
        """A concept named without a result: as found, as denied, or whichever where naming it says neither."""
        if denied:
            return {concept.negated} if concept.negated else self._of(concept, self._lexicon.good)
        return {concept.stated} if concept.stated else None

    def _turned(self, concept: ConceptFacts, result: str) -> set[str]:
        """The results that deny this one."""
        good, bad = self._lexicon.good, self._lexicon.bad
        if result == concept.stated and concept.negated:
            return {concept.negated}
        if result == concept.negated and concept.stated:
            return {concept.stated}
        others = self._of(concept, good if result in bad else bad if result in good else ())
        return others or ({concept.negated} - {None, result} if concept.negated else set())

    @staticmethod
    def _of(concept: ConceptFacts, results: Iterable[str]) -> set[str]:
        return {result for result in results if result in concept.results}

    def _told(self, asked: dict[str, set[str] | None]) -> Iterator[str]:
        groups: dict[str, list[str]] = defaultdict(list)
        for name, results in asked.items():
            concept = self._lexicon.concepts[name]
            labels = {concept.results.get(r, r) for r in results or ()}
            as_words = "any result" if results is None else " or ".join(sorted(labels)) or "a result it cannot have"
            groups[as_words].append(concept.label)
        for as_words, names in groups.items():
            yield f"{', '.join(names) if len(names) <= 3 else f'anything ({len(names)} kinds)'}: {as_words}"


def told_days(first: date | None, last: date | None) -> str:
    """A stretch of days in words."""
    if first == last:
        return f"on {first}"
    return " ".join([*([f"from {first}"] if first else []), *([f"until {last}"] if last else [])])


def _widen(asked: dict[str, set[str] | None], name: str, results: set[str] | None) -> None:
    before = asked.get(name, set())
    asked[name] = None if before is None or results is None else before | results


def _range(amount: Amount, factor: float = 1.0) -> Range:
    low, high = (None if end is None else end * factor for end in (amount.low, amount.high))
    return Range(low, high, amount.open_low, amount.open_high)


def _told_age(age: Amount) -> str:
    """As it was said: "under 3 months"; of "9 weeks old" also the days that it stands for."""
    name = TIME_NAMES[age.unit or "d"]
    if not age.about or age.low is None or age.high is None or age.unit == "d":
        return _ends(age, name)
    return f"{(age.low + age.high) / 2:g} {name} ({_ends(age.as_age(), 'days')})"


def _ends(amount: Amount, unit: str) -> str:
    """ "more than 40 cm", "60 to 90 deg"."""
    low, high = (None if end is None else f"{round(end, 2):g}" for end in (amount.low, amount.high))
    if low and high:
        return f"{low} to {'under ' if amount.open_high else ''}{high} {unit}"
    if low:
        return f"{'more than' if amount.open_low else 'at least'} {low} {unit}"
    return f"{'under' if amount.open_high else 'at most'} {high} {unit}"
