"""Exact filters beside a question: what is typed as an option narrows what the question asks for."""

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from datetime import date

from pipeline.amounts import tokens_of
from pipeline.errors import InputError
from pipeline.search.lexicon import Lexicon, Role, form_of
from pipeline.search.understand import Understood, told_days
from pipeline.store.find import infants_named
from pipeline.store.reading import Reader
from pipeline.store.wanted import Range, Wanted


@dataclass(frozen=True)
class Exact:
    """Filters as typed; None = not given. Names may be ids, labels or spoken forms of the vocabulary."""

    infant: str | None = None
    concept: str | None = None
    result: str | None = None
    site: str | None = None
    side: str | None = None
    kind: str | None = None
    since: date | None = None
    until: date | None = None
    age: str | None = None
    corrected_age: str | None = None
    words: str | None = None

    @property
    def given(self) -> bool:
        return any(getattr(self, field.name) is not None for field in fields(self))


def narrowed(understood: Understood, exact: Exact, lexicon: Lexicon, reader: Reader, *, asked: bool) -> Understood:
    """What is wanted with the filters on top. ``asked``: there is a question beside them.

    Raises InputError where a filter names what the vocabulary or the record does not know.
    """
    if not exact.given:
        return understood
    filters, told = _filters(exact, lexicon, reader)
    base = understood.wanted if understood.wanted or asked else Wanted(any_concept=True)
    said = _on_top(understood.said, filters) if asked else Wanted()
    wanted = _on_top(base, filters) if base is not None else None
    if wanted is None and (filters.results or filters.sites):
        wanted = replace(filters, any_concept=not filters.results, words=understood.said.words)
    if exact.words:
        wanted = replace(wanted, words=f"{wanted.words} {exact.words}".strip()) if wanted else None
        said = replace(said, words=f"{said.words} {exact.words}".strip())
    if filters.results or filters.sites or filters.sides or filters.kinds:
        said = Wanted()  # what was said has none of these: no words may answer instead
    how = (*(understood.how if asked else ()), *told)
    own = f"{understood.own} {exact.words or ''}".strip()
    return replace(understood, wanted=wanted, said=said, how=how, own=own)


def _filters(exact: Exact, lexicon: Lexicon, reader: Reader) -> tuple[Wanted, list[str]]:
    wanted, told = Wanted(days=(exact.since, exact.until)), []
    if exact.concept is not None:
        names = _resolve(exact.concept, "--concept", "concept", lexicon.concepts, lexicon)
        wanted = replace(wanted, results=dict.fromkeys(names))
        told.append(f"exactly: {', '.join(lexicon.concepts[name].label for name in sorted(names))}")
    if exact.result is not None:
        wanted = replace(wanted, results=_with_result(exact.result, wanted, lexicon))
        told.append(f"exactly: {exact.result}")
    if exact.site is not None:
        names = _resolve(exact.site, "--site", "site", lexicon.sites, lexicon)
        wanted = replace(wanted, sites=frozenset(lexicon.below(names)))
        told.append(f"where exactly: {', '.join(lexicon.sites[name].label for name in sorted(names))} and below")
    if exact.side is not None:
        wanted = replace(wanted, sides=frozenset({exact.side}))
        told.append(f"side exactly: {exact.side}")
    if exact.kind is not None:
        wanted = replace(wanted, kinds=frozenset({exact.kind}))
        told.append(f"among: {exact.kind}")
    if exact.infant is not None:
        infants = infants_named(reader, [exact.infant.strip()])
        if not infants:
            raise InputError(f'--infant "{exact.infant[:40]}": the record holds no infant of this name.')
        wanted = replace(wanted, infants=frozenset(infants.values()))
        told.append(f"infant: {', '.join(infants)}")
    if exact.since or exact.until:
        told.append(told_days(exact.since, exact.until))
    for name, typed in (("age", exact.age), ("corrected", exact.corrected_age)):
        if typed is not None:
            limits, as_words = _age(typed, lexicon)
            wanted = replace(wanted, age=limits) if name == "age" else replace(wanted, corrected=limits)
            told.append(f"{'corrected ' * (name == 'corrected')}age: {as_words}")
    return wanted, told


def _on_top(wanted: Wanted, filters: Wanted) -> Wanted:
    """Both must hold: what either leaves open the other decides, what both name is common to them."""
    results, any_concept = wanted.results, wanted.any_concept
    if filters.results:
        if any_concept:
            results, any_concept = filters.results, False
        else:
            results = {
                name: _common(results[name], filters.results[name]) for name in results.keys() & filters.results.keys()
            }
    first = max((day for day in (wanted.days[0], filters.days[0]) if day), default=None)
    last = min((day for day in (wanted.days[1], filters.days[1]) if day), default=None)
    return replace(
        wanted,
        results=results,
        any_concept=any_concept,
        sites=_both(wanted.sites, filters.sites),
        sides=_both(wanted.sides, filters.sides),
        kinds=_both(wanted.kinds, filters.kinds),
        infants=_both(wanted.infants, filters.infants),
        days=(first, last),
        age=filters.age or wanted.age,
        corrected=filters.corrected or wanted.corrected,
    )


def _common(one: frozenset[str] | None, other: frozenset[str] | None) -> frozenset[str] | None:
    return other if one is None else one if other is None else one & other


_NOTHING = frozenset({"\0"})  # both sides name something, and nothing in common: no line has this


def _both(one: frozenset[str], other: frozenset[str]) -> frozenset[str]:
    return (one & other or _NOTHING) if one and other else one or other


def _resolve(typed: str, option: str, role: Role, known: Iterable[str], lexicon: Lexicon) -> set[str]:
    """An id, or the entries that a spoken form names. Raises InputError."""
    names = set(known)
    if typed.strip() in names:
        return {typed.strip()}
    if found := {r.id for r in lexicon.readings(form_of(typed)) if r.role == role}:
        return found
    from rapidfuzz import process

    near = process.extractOne(typed, sorted(names | {t for t, n in lexicon.terms.items() if n in names}))
    hint = f"; did you mean {near[0]!r}?" if near else "."
    raise InputError(f'{option} "{typed[:40]}" is not in the vocabulary{hint}')


def _with_result(typed: str, wanted: Wanted, lexicon: Lexicon) -> dict[str, frozenset[str] | None]:
    """The result, of the concepts wanted or of every concept that has it. Raises InputError."""
    result = "_".join(token.text for token in tokens_of(typed.replace("_", " ")))
    found = {
        name: frozenset({result})
        for name, facts in lexicon.concepts.items()
        if result in facts.results and (not wanted.results or name in wanted.results)
    }
    if not found:
        of = " of this concept" if wanted.results else ""
        raise InputError(f'--result "{typed[:40]}" is not a result{of} in the vocabulary.')
    return dict(found)


def _age(typed: str, lexicon: Lexicon) -> tuple[Range, str]:
    """ "under 3 months", "2-4 months", "6 weeks". Raises InputError."""
    tokens = tokens_of(typed)
    amounts = [amount for amount in lexicon.amounts.amounts(tokens) if amount.of_time]
    if len(amounts) != 1:
        raise InputError(f'age "{typed[:40]}" cannot be read; write it like "under 3 months" or "2 to 4 months".')
    age = amounts[0].as_age()
    return Range(age.low, age.high, age.open_low, age.open_high), typed.strip()
