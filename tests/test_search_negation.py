"""What was denied never answers for what was found, nor the reverse, nor one side for the other: over all words.

One visit holds every concept with every result, at its own structure, on every side that it can have.
"""

from collections.abc import Iterator
from datetime import date

import pytest
from invented import file_visit, infant, item, record_of

from pipeline.model import Item, Side, SpeechModel, Transcript, Word
from pipeline.search import Options, Search, compile_lexicon
from pipeline.store import Store
from pipeline.store.reading import Reader
from pipeline.vocabulary import Concept, Vocabulary, load_vocabulary

TODAY = date(2026, 11, 27)
ALL = Options(by="line", limit=10_000)
VOCAB = load_vocabulary()
GOOD, BAD = (frozenset(VOCAB.words[name]) for name in ("good_results", "bad_results"))
OWN_WORDS = compile_lexicon(VOCAB).own_words  # what is asked for must have been said: test_search.py
SPOKEN = [concept for concept in VOCAB.concepts.values() if concept.say]


@pytest.fixture(scope="module")
def vocab() -> Vocabulary:
    return VOCAB


@pytest.fixture(scope="module")
def search(vocab: Vocabulary) -> Search:
    return Search(compile_lexicon(vocab))


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory, vocab: Vocabulary) -> Iterator[Reader]:
    home = tmp_path_factory.mktemp("home")
    told: list[tuple[Concept, str, Side]] = [
        (concept, result, side)
        for concept in vocab.concepts.values()
        for result in concept.results
        for side in sides(concept)
    ]
    words = tuple(Word(i=i, text="invented", start_ms=i * 500, end_ms=(i + 1) * 500) for i in range(len(told)))
    model = SpeechModel(name="given", sha256="0" * 64)
    said = Transcript(
        id="T",
        recording="0" * 64,
        model=model,
        words=words,
        utterances=((0, len(words)),),
        duration_ms=len(words) * 500,
    )
    with Store(home) as store:
        file_visit(store, record_of(said, infant("robin")), *(_item(said, i, *one) for i, one in enumerate(told)))
    with Reader(home) as reader:
        yield reader


def sides(concept: Concept) -> tuple[Side, ...]:
    return ("left", "right", "both", "none") if concept.sided else ("none",)


def _item(said: Transcript, at: int, concept: Concept, result: str, side: Side) -> Item:
    return item(said, (at, at + 1), concept.id, result, kind=concept.kind, site=concept.site or "hip", side=side)


def results(search: Search, record: Reader, question: str, concept: str) -> list[str]:
    """The results of this concept among the answers to a question."""
    hits = search.ask(record, question, today=TODAY, options=ALL).hits
    return [hit.result or "" for hit in hits if hit.concept == concept]


@pytest.mark.parametrize("concept", [c for c in SPOKEN if c.stated and c.negated and c.id not in OWN_WORDS],
                         ids=lambda c: c.id)  # fmt: skip
def test_found_and_denied_never_answer_for_each_other(concept: Concept, search: Search, record: Reader) -> None:
    say = concept.say[0]

    assert {concept.stated} == set(results(search, record, say, concept.id))
    assert concept.stated not in results(search, record, f"no {say}", concept.id)
    assert concept.stated not in results(search, record, f"without any {say}", concept.id)


@pytest.mark.parametrize("concept", SPOKEN, ids=lambda c: c.id)
def test_a_result_never_answers_for_its_opposite(concept: Concept, search: Search, record: Reader) -> None:
    """Each result by its label beside the concept; then the same denied."""
    for result, form in concept.results.items():
        if result == "value" or (form.label != result and form.label in VOCAB.concepts):
            continue
        word = result.replace("_", " ")
        opposite = GOOD if result in BAD else BAD if result in GOOD else frozenset()
        found = results(search, record, f"{concept.say[0]} {word}", concept.id)
        denied = results(search, record, f"{concept.say[0]} not {word}", concept.id)

        assert opposite.isdisjoint(found), (concept.id, result)
        said_so = {
            r for r, other in concept.results.items() if f"not {word}" in (*other.say, *other.means, other.label)
        }
        assert result not in denied or result in said_so, (concept.id, result)


@pytest.mark.parametrize("concept", [c for c in SPOKEN if c.sided], ids=lambda c: c.id)
def test_one_side_never_answers_for_the_other(concept: Concept, search: Search, record: Reader) -> None:
    for side, other in (("left", "right"), ("right", "left")):
        hits = search.ask(record, f"{side} {concept.say[0]}", today=TODAY, options=ALL).hits
        found = {hit.side for hit in hits if hit.concept == concept.id}

        assert found <= {side, "both"}, (concept.id, other)


def test_no_form_of_any_concept_turns_a_denial_round(search: Search) -> None:
    """Over every spoken form of every concept whose naming says that it was found."""
    asked = 0
    for concept in SPOKEN:
        if not (concept.stated and concept.negated):
            continue
        for say in concept.say:
            found, denied = (search.understand(q, TODAY).wanted for q in (say, f"no {say}"))
            assert found is not None, say
            assert denied is not None, say
            assert {concept.stated} == set(found.results[concept.id] or ()), say
            other = denied.results.get(concept.id, frozenset())  # "no X" may be a form of another concept
            assert other is not None, say
            assert concept.stated not in other, say
            asked += 1
    assert asked > 50


def test_no_result_word_is_answered_by_its_opposite(search: Search) -> None:
    """Over every result word of every concept, beside each concept's first spoken form."""
    asked = 0
    for concept in SPOKEN:
        for result, form in concept.results.items():
            for say in form.say:
                wanted = search.understand(f"{concept.say[0]} {say}", TODAY).wanted
                others = {r for r, other in concept.results.items() if say in other.say}
                opposite = (GOOD if result in BAD else BAD if result in GOOD else frozenset()) - others
                assert wanted is not None, say
                asked_for = wanted.results.get(concept.id, frozenset())
                assert asked_for is None or opposite.isdisjoint(asked_for), (concept.id, result, say)
                asked += 1
    assert asked > 200
