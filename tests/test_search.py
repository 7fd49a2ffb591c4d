"""Search: the vocabulary first, then the words; and what was denied never answers for what was found."""

from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import file_visit, infant, item, record_of

from pipeline.model import Age, Transcript
from pipeline.search import Found, Search
from pipeline.store import Store
from pipeline.vocabulary import Vocabulary, load_vocabulary

Spoken = Callable[[str], Transcript]
Ask = Callable[[str], Found]

SAID = (
    "The left sternocleidomastoid is tight. The right one is soft. No clunk in the hips. There is a tongue tie. "
    "Grandma heard a heart-murmur, it can't be ours. Nothing that sounds like crowing. The masseter is tight on the "
    "right. T4 to T6 rotated left. Ortolani negative. The crowing came back."
)


@pytest.fixture(scope="module")
def vocab() -> Vocabulary:
    return load_vocabulary()


@pytest.fixture(scope="module")
def search(vocab: Vocabulary) -> Search:
    return Search(vocab)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory, spoken: Spoken) -> Iterator[Store]:
    said = spoken(SAID)
    at = {word.text.strip(".,").lower(): word.i for word in reversed(said.words)}

    def found(word: str, concept: str, result: str, **place: str) -> object:
        return item(said, (at[word], at[word] + 2), concept, result, **place)  # type: ignore[arg-type]

    items = (
        found("left", "tissue.tension", "tight", site="sternocleidomastoid", side="left"),
        found("right", "tissue.tension", "normal", site="sternocleidomastoid", side="right"),
        found("clunk", "joint.clunk", "absent", site="hip", side="both"),
        found("tongue", "sign.tongue_tie", "present", site="tongue"),
        found("masseter", "tissue.tension", "tight", site="masseter", side="right"),
        found("t4", "alignment.rotation", "rotated", site="thoracic_spine", side="left", level="T4-T6"),
        found("ortolani", "test.ortolani", "negative", site="hip", side="both"),
    )
    with Store(tmp_path_factory.mktemp("home")) as opened:
        file_visit(opened, record_of(said, infant("robin"), age=Age(days=63)), *items)  # type: ignore[arg-type]
        later = spoken("Hips, a clunk on the left.")
        clunk = item(later, (2, 3), "joint.clunk", "present", site="hip", side="left")
        file_visit(opened, record_of(later, infant("wren"), date(2026, 11, 26)), clunk)
        yield opened


@pytest.fixture
def ask(search: Search, store: Store) -> Ask:
    return lambda question: search.ask(store, question)


@pytest.mark.parametrize(
    ("question", "lines"),
    [
        ("tight left sternocleidomastoid", ["robin sternocleidomastoid tight left"]),
        ("which babies had a tight left SCM", ["robin sternocleidomastoid tight left"]),
        ("tight right SCM", []),
        ("tight jaw", ["robin masseter tight right"]),  # the masseter belongs to the jaw
        ("jaw", ["robin masseter tight right"]),
        ("SCM not tight", ["robin sternocleidomastoid normal right"]),
        ("clunk", ["wren hip present left"]),
        ("no clunk", ["robin hip absent both"]),
        ("hips without any clunk", ["robin hip absent both"]),
        ("absent clunk", ["robin hip absent both"]),
        ("clunk on the left", ["wren hip present left"]),
        ("no clunk on the left", ["robin hip absent both"]),  # both sides hold the left one
        ("tongue tie", ["robin tongue present none"]),
        ("no tongue tie", []),
        ("positive Ortolani", []),
        ("negative Ortolani", ["robin hip negative both"]),
        ("Ortolani", ["robin hip negative both"]),
        ("rotated T5", ["robin thoracic_spine rotated left"]),
        ("rotated T7", []),
        ("hip", ["wren hip present left", "robin hip absent both", "robin hip negative both"]),
    ],
)
def test_questions_find_the_lines_they_mean(question: str, lines: list[str], ask: Ask) -> None:
    found = ask(question)

    assert lines == [f"{h.infant} {h.site} {h.result} {h.side}" for h in found.hits]
    assert len(lines) == found.total
    assert found.understood


def test_a_hit_tells_whose_when_and_where_it_plays(ask: Ask) -> None:
    (hit,) = ask("tight left SCM").hits

    assert ("robin", date(2026, 11, 25), 63) == (hit.infant, hit.day, hit.age_days)
    assert (500, 1500) == (hit.start_ms, hit.end_ms)
    assert ("left sternocleidomastoid", "sternocleidomastoid tissue.tension: tight left") == (hit.quote, hit.line)


@pytest.mark.parametrize(
    ("question", "said"),
    [
        ("grandma", ["Grandma heard a heart-murmur, it can't be ours."]),
        ("heart-murmur", ["Grandma heard a heart-murmur, it can't be ours."]),
        ("heart murmurs", ["Grandma heard a heart-murmur, it can't be ours."]),
        ("can't", ["Grandma heard a heart-murmur, it can't be ours."]),
        ("grandma crowing", []),
        ('"grandma', ["Grandma heard a heart-murmur, it can't be ours."]),
        ("grandma OR crowing", []),
        ("invented seizure prompt", []),  # what the program asks is not what was said
        ("", []),
        ("*", []),
    ],
)
def test_what_the_vocabulary_does_not_know_is_found_as_words(question: str, said: list[str], ask: Ask) -> None:
    assert said == [hit.quote for hit in ask(question).hits]


def test_words_under_a_denial_answer_only_to_a_denial(ask: Ask) -> None:
    assert ["The crowing came back."] == [hit.quote for hit in ask("crowing").hits]
    assert ["Nothing that sounds like crowing."] == [hit.quote for hit in ask("no crowing").hits]


def test_other_words_narrow_what_was_found_where_they_can(ask: Ask) -> None:
    narrowed = ask("tight grandma sternocleidomastoid")
    assert 1 == narrowed.total
    assert "without them" in narrowed.understood[-1]
    assert 0 == ask("tongue tie of the hip").total


def test_what_is_not_among_the_lines_is_looked_for_in_the_words(ask: Ask) -> None:
    found = ask("heart-murmur")

    assert ["Grandma heard a heart-murmur, it can't be ours."] == [hit.quote for hit in found.hits]
    assert () == ask("no heart murmur").hits


def test_lines_in_the_speakers_words_must_hold_the_words_asked_for(
    vocab: Vocabulary, tmp_path: Path, spoken: Spoken
) -> None:
    search = Search(vocab)
    said = spoken("She has a heart murmur. She has cystic fibrosis.")
    known = [item(said, words, "history.known_condition", "present", kind="history", site="whole_body")
             for words in ((0, 5), (5, 9))]  # fmt: skip

    with Store(tmp_path) as store:
        file_visit(store, record_of(said, infant("plover")), *known)

        assert ["She has a heart murmur."] == [hit.quote for hit in search.ask(store, "heart-murmur").hits]
        assert 1 == search.ask(store, "heart murmur in plover").total


def test_the_first_visit_of_an_infant_can_be_asked_for(vocab: Vocabulary, tmp_path: Path, spoken: Spoken) -> None:
    twite, dunlin = infant("twite"), infant("dunlin")
    search = Search(vocab)
    with Store(tmp_path) as store:
        for who, day in ((twite, 20), (twite, 10), (dunlin, 15)):
            said = spoken(f"Left SCM tight, {who.code_name} {day}.")
            tight = item(said, (0, 3), "tissue.tension", "tight", site="sternocleidomastoid", side="left")
            file_visit(store, record_of(said, who, date(2026, 11, day)), tight)

        found = search.ask(store, "which babies had a tight left SCM at the first visit")
        every = search.ask(store, "which babies had a tight left SCM")

    assert [("dunlin", 15), ("twite", 10)] == [(hit.infant, hit.day.day) for hit in found.hits]
    assert "at an infant's first visit" in found.understood
    assert not any("words" in how for how in (*found.understood, *every.understood))
    assert 3 == every.total


@settings(max_examples=60)
@given(question=st.text(max_size=60))
def test_any_question_has_an_answer(question: str, search: Search, store: Store) -> None:
    assert search.ask(store, question).understood


def test_a_denied_finding_never_answers_a_positive_question_nor_the_reverse(vocab: Vocabulary, search: Search) -> None:
    """Over every spoken form of every concept whose naming says that it was found."""
    asked = 0
    for concept in vocab.concepts.values():
        if not (concept.stated and concept.negated):
            continue
        for say in concept.say:
            found, _ = search.understand(say)
            denied, _ = search.understand(f"no {say}")
            assert found is not None, say
            assert denied is not None, say
            assert {concept.stated} == set(found.results[concept.id] or ()), say
            other = denied.results.get(concept.id, frozenset())  # "no X" may be a form of another concept
            assert other is not None, say
            assert concept.stated not in other, say
            asked += 1
    assert asked > 50


def test_a_result_said_is_never_answered_by_its_opposite(vocab: Vocabulary, search: Search) -> None:
    """Over every result word of every concept, beside each concept's first spoken form."""
    good, bad = (frozenset(vocab.words[name]) for name in ("good_results", "bad_results"))
    asked = 0
    for concept in vocab.concepts.values():
        for result, form in concept.results.items():
            for say in form.say if concept.say else ():
                question = f"{concept.say[0]} {say}"
                wanted, how = search.understand(question)
                others = {r for r, other in concept.results.items() if say in other.say}
                opposite = (good if result in bad else bad if result in good else frozenset()) - others
                assert wanted is not None, say
                # a word that names another concept asks for that, and both together may be one longer form
                if not search._named(say.lower().split()) and len(search._parse(question).terms) > 1:
                    asked_for = wanted.results.get(concept.id, frozenset())
                    assert opposite.isdisjoint(asked_for or opposite), (concept.id, result, say, how)
                asked += 1
    assert asked > 200
