"""Search: the vocabulary first, then the words; and what was denied never answers for what was found."""

from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import file_visit, infant, item, record_of

from pipeline.config import Config, Settings
from pipeline.errors import InputError
from pipeline.model import Age, Transcript
from pipeline.search import Answer, Exact, Options, Search, compile_lexicon, load_lexicon
from pipeline.store import Store
from pipeline.store.find import Wanted, count_items
from pipeline.store.reading import Reader
from pipeline.vocabulary import Vocabulary, load_vocabulary

Spoken = Callable[[str], Transcript]
Ask = Callable[..., Answer]
TODAY = date(2026, 11, 27)
LINES = Options(by="line")

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
    return Search(compile_lexicon(vocab))


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory, spoken: Spoken) -> Iterator[Reader]:
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
    home = tmp_path_factory.mktemp("home")
    with Store(home) as opened:
        file_visit(opened, record_of(said, infant("robin"), age=Age(days=63)), *items)  # type: ignore[arg-type]
        later = spoken("Hips, a clunk on the left.")
        clunk = item(later, (2, 3), "joint.clunk", "present", site="hip", side="left")
        file_visit(opened, record_of(later, infant("wren"), date(2026, 11, 26)), clunk)
    with Reader(home) as reader:
        yield reader


@pytest.fixture
def ask(search: Search, record: Reader) -> Ask:
    return lambda question, options=LINES: search.ask(record, question, today=TODAY, options=options)


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
    search: Search, tmp_path: Path, spoken: Spoken
) -> None:
    said = spoken("She has a heart murmur. She has cystic fibrosis.")
    known = [item(said, words, "history.known_condition", "present", kind="history", site="whole_body")
             for words in ((0, 5), (5, 9))]  # fmt: skip

    with Store(tmp_path) as store:
        file_visit(store, record_of(said, infant("plover")), *known)

    with Reader(tmp_path) as reader:
        murmur = search.ask(reader, "heart-murmur", today=TODAY)
        assert ["She has a heart murmur."] == [hit.quote for hit in murmur.hits]
        assert 1 == search.ask(reader, "heart murmur in plover", today=TODAY).count.lines


def test_the_first_visit_of_an_infant_can_be_asked_for(search: Search, tmp_path: Path, spoken: Spoken) -> None:
    twite, dunlin = infant("twite"), infant("dunlin")
    with Store(tmp_path) as store:
        for who, day in ((twite, 20), (twite, 10), (dunlin, 15)):
            said = spoken(f"Left SCM tight, {who.code_name} {day}.")
            tight = item(said, (0, 3), "tissue.tension", "tight", site="sternocleidomastoid", side="left")
            file_visit(store, record_of(said, who, date(2026, 11, day)), tight)

    with Reader(tmp_path) as reader:
        found = search.ask(reader, "which babies had a tight left SCM at the first visit", today=TODAY)
        last = search.ask(reader, "tight left SCM at the last visit", today=TODAY)
        every = search.ask(reader, "which babies had a tight left SCM", today=TODAY)

    assert [("dunlin", 15), ("twite", 10)] == [(hit.infant, hit.day.day) for hit in found.hits]
    assert "at an infant's first visit" in found.understood
    assert not any("words" in how for how in (*found.understood, *every.understood))
    assert (2, 2, 3) == (every.total, every.count.infants, every.count.lines)
    assert [("twite", 20), ("dunlin", 15)] == [(hit.infant, hit.day.day) for hit in last.hits]


def test_what_is_measured_is_told_by_its_number_alone(search: Search) -> None:
    assert search.understand("weight at least 4 kg", TODAY).how == ("weight: at least 4 kg",)


@settings(max_examples=60)
@given(question=st.text(max_size=60))
def test_any_question_has_an_answer(question: str, search: Search, record: Reader) -> None:
    assert search.ask(record, question, today=TODAY).understood


@pytest.mark.parametrize(
    ("question", "understood"),
    [
        ("head circumference > 40 cm", ["head circumference: more than 40 cm"]),
        ("head circumference between 14 and 16 inches", ["head circumference: 35.56 to 40.64 cm"]),
        ("weight at least 4 kg", ["weight: at least 4 kg"]),
        ("limited rotation right under 3 months", ["rotation: restricted", "side: right (or both)",
                                                   "age: under 3 months"]),
        ("tight left SCM over 2 months corrected", ["corrected age: more than 2 months"]),
        ("rotation under 60 degrees", ["rotation: under 60 deg"]),
        ("age under 3 months tongue tie", ["tongue tie: present", "age: under 3 months"]),
        ("gestation under 37 weeks", ["gestation at birth: under 37 wk"]),
        ("next visit in 2 weeks", ["next visit: 1.5 to 2.5 wk"]),
        ("visits since 2026-09-01", ["whatever was found", "from 2026-09-01"]),
        ("hip since october until yesterday", ["from 2026-10-01 until 2026-11-26"]),
        ("girls with a very tight SCM", ["degree: marked", "sex: female"]),
        ("treatments to the jaw", ["among: treatment"]),
        ("weight over 40 cm", ["not used: “over 40 cm”"]),
    ],
)  # fmt: skip
def test_numbers_ages_and_days_are_understood(question: str, understood: list[str], search: Search) -> None:
    how = search.understand(question, TODAY).how

    assert set(understood) <= set(how), how


@pytest.mark.parametrize(
    ("question", "lines"),
    [
        ("robin hip", ["robin joint.clunk", "robin test.ortolani"]),
        ("hip in Wren", ["wren joint.clunk"]),
        ("clunk since yesterday", ["wren joint.clunk"]),
        ("hip under 3 months", ["robin joint.clunk", "robin test.ortolani"]),
        ("hip over 3 months", []),
        ("hip before 2026-11-26", ["robin joint.clunk", "robin test.ortolani"]),
    ],
)
def test_infants_ages_and_days_narrow_the_lines(question: str, lines: list[str], ask: Ask) -> None:
    assert lines == [f"{hit.infant} {hit.concept}" for hit in ask(question).hits]


def test_one_answer_is_a_line_a_visit_or_an_infant(ask: Ask) -> None:
    by_line, by_visit, by_infant = (ask("hip", options=Options(by=by)) for by in ("line", "visit", "infant"))

    assert [0, 0, 0] == [hit.others for hit in by_line.hits]
    assert [("wren", 0), ("robin", 1)] == [(hit.infant, hit.others) for hit in by_visit.hits]
    assert (3, 2, 2) == (by_line.total, by_visit.total, by_infant.total)
    assert ("infant", "visit") == (ask("babies with hips", options=None).by, ask("hips", options=None).by)
    assert ["robin", "wren"] == [hit.infant for hit in ask("hip", options=Options(order="oldest")).hits]
    assert 1 == len(ask("hip", options=Options(limit=1)).hits)


def test_a_word_nearly_in_the_vocabulary_is_suggested(ask: Ask) -> None:
    assert any("masseter" in suggestion for suggestion in ask("tight maseter").suggestions)
    assert () == ask("grandma").suggestions, "it was said"


@pytest.mark.parametrize(
    ("exact", "lines"),
    [
        (Exact(site="hip"), ["wren present", "robin absent", "robin negative"]),
        (Exact(site="hips", side="left"), ["wren present"]),
        (Exact(concept="joint.clunk", result="absent"), ["robin absent"]),
        (Exact(result="tight", infant="ROBIN"), ["robin tight", "robin tight"]),
        (Exact(since=date(2026, 11, 26)), ["wren present"]),
        (Exact(until=date(2026, 11, 25), concept="clunk"), ["robin absent"]),
        (Exact(age="under 3 months", site="tongue"), ["robin present"]),
        (Exact(site="tongue", words="tie"), ["robin present"]),
        (Exact(site="tongue", words="crowing"), []),
    ],
)
def test_exact_filters(exact: Exact, lines: list[str], search: Search, record: Reader) -> None:
    found = search.ask(record, "", today=TODAY, options=LINES, exact=exact)

    assert lines == [f"{hit.infant} {hit.result}" for hit in found.hits]
    assert found.understood


def test_filters_narrow_a_question(search: Search, record: Reader) -> None:
    both = search.ask(record, "tight", today=TODAY, options=LINES, exact=Exact(side="left"))
    neither = search.ask(record, "tight left SCM", today=TODAY, options=LINES, exact=Exact(side="right"))
    words = search.ask(record, "crowing", today=TODAY, options=LINES, exact=Exact(infant="wren"))

    assert (1, 0, 0) == (both.count.lines, neither.count.lines, words.count.lines)


@pytest.mark.parametrize(
    "exact", [Exact(site="hipp"), Exact(concept="nonsense"), Exact(result="blue"), Exact(infant="nobody"),
              Exact(age="young"), Exact(concept="joint.clunk", result="tight")],
)  # fmt: skip
def test_a_filter_that_names_nothing_known_is_refused(exact: Exact, search: Search, record: Reader) -> None:
    with pytest.raises(InputError):
        search.ask(record, "", today=TODAY, exact=exact)


def test_counting_stops_and_says_so(record: Reader) -> None:
    wanted = Wanted(any_concept=True)

    assert (8, True) == ((count := count_items(record, wanted)).lines, count.all)
    assert (3, False) == ((count := count_items(record, wanted, 3)).lines, count.all)


def test_compiled_words_are_kept_and_made_anew_when_they_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HANDSPOKEN_CACHE", str(tmp_path / "cache"))
    config = Config(home=tmp_path / "home", settings=Settings())
    made = load_lexicon(config)
    kept = tmp_path / "cache" / "words" / "questions.json"
    before = kept.read_bytes()
    assert made == load_lexicon(config)
    kept.write_bytes(before.replace(b"shoulder", b"shovlder"))
    assert made == load_lexicon(config), "a damaged file is made anew"
    own = config.own_words[-1] / "concepts"
    own.mkdir(parents=True)
    (own / "mine.yaml").write_text(
        "- {id: joint.clunk, label: x, kind: finding, say: [thunk], results: {}, source: mine}\n"
    )
    assert load_lexicon(config).readings("thunk")
