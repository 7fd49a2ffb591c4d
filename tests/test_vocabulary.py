"""vocab/ as data: complete against the findings contract, free of contradictions, and its faults told all at once."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.errors import VocabularyError
from pipeline.extract.lexicon import Lexicon
from pipeline.extract.tokens import Tokeniser
from pipeline.vocabulary import Concept, Site, Vocabulary, load_vocabulary

PUBLISHED = Path(__file__).parent / "published"

SITE = "- {id: hip, label: hip, paired: true, say: [hip], source: x}\n"
CONCEPT = """\
- id: joint.click
  label: click
  kind: finding
  site: hip
  say: [click]
  stated: present
  results:
    present: {label: present}
    absent: {label: absent, say: [gone]}
  source: x
"""


@pytest.fixture(scope="module")
def vocab() -> Vocabulary:
    return load_vocabulary()


@pytest.fixture(scope="module")
def lexicon(vocab: Vocabulary) -> Lexicon:
    return Lexicon(vocab, Tokeniser(vocab))


def _forms(vocab: Vocabulary) -> Iterator[tuple[str, str]]:
    """Every spoken form with the name of the place it stands in."""
    for concept in vocab.concepts.values():
        yield from ((say, concept.id) for say in concept.say)
        for name, result in concept.results.items():
            yield from ((say, f"{concept.id}: {name}") for say in (*result.say, *result.means))
    for site in vocab.sites.values():
        yield from ((say, site.id) for say in (*site.say, *site.plural, *site.levels))


def _rows(what: str) -> list[list[str]]:
    lines = (PUBLISHED / "contract_ids.tsv").read_text(encoding="utf-8").splitlines()
    return [fields[1:] for line in lines if (fields := line.split("\t"))[0] == what]


def _write(folder: Path, concepts: str = CONCEPT, sites: str = SITE) -> Path:
    (folder / "concepts").mkdir(parents=True)
    (folder / "concepts/all.yaml").write_text(concepts, encoding="utf-8")
    (folder / "sites.yaml").write_text(sites, encoding="utf-8")
    return folder


def _faults(folder: Path, *personal: Path) -> list[str]:
    with pytest.raises(VocabularyError) as caught:
        load_vocabulary(folder, personal)
    return [line.strip() for line in str(caught.value).splitlines()[1:]]


# ---------------------------------------------------------------- what is shipped


def test_every_concept_of_the_contract_is_there(vocab: Vocabulary) -> None:
    expected = {
        name: (kind, site or None, sided == "y", set(results.split(",")))
        for name, kind, site, sided, results in _rows("concept")
    }
    found = {c.id: (c.kind, c.site, c.sided, set(c.results)) for c in vocab.concepts.values() if c.id in expected}
    assert expected == found
    assert len(expected) == 168


def test_a_concept_that_the_contract_lacks_is_marked_as_our_own(vocab: Vocabulary) -> None:
    listed = {name for name, *_ in _rows("concept")}

    assert {c.id for c in vocab.concepts.values() if not c.beyond} == listed


def test_every_site_of_the_contract_is_there(vocab: Vocabulary) -> None:
    expected = {name: (paired == "y", parent or None) for name, paired, parent in _rows("site")}
    found = {s.id: (s.paired, s.parent) for s in vocab.sites.values() if s.id in expected}
    assert expected == found
    assert len(expected) == 70


def test_every_entry_can_be_said_and_names_its_source(vocab: Vocabulary) -> None:
    for concept in vocab.concepts.values():
        means = [form for result in concept.results.values() for form in result.means]
        assert concept.say or means, concept.id
        assert concept.source.strip(), concept.id
        assert concept.label.strip(), concept.id
    for site in vocab.sites.values():
        assert site.say, site.id
        assert site.source.strip(), site.id


def test_a_named_form_belongs_to_one_id(vocab: Vocabulary) -> None:
    named: list[list[Concept | Site]] = [list(vocab.concepts.values()), list(vocab.sites.values())]
    for entries in named:
        owners: dict[str, set[str]] = {}
        for entry in entries:
            for say in entry.say:
                owners.setdefault(say.lower(), set()).add(entry.id)
        assert [] == [(say, ids) for say, ids in owners.items() if len(ids) > 1]


def test_words_that_mean_a_result_do_not_mean_another_of_the_same_concept(vocab: Vocabulary, lexicon: Lexicon) -> None:
    for concept in vocab.concepts.values():
        for role in ("say", "means"):
            results: dict[tuple[str, ...], set[str]] = {}
            for name, result in concept.results.items():
                for form in getattr(result, role):
                    results.setdefault(tuple(lexicon._steps(form, drop=True)), set()).add(name)
            assert [] == [(concept.id, words, names) for words, names in results.items() if len(names) > 1]


def test_every_form_is_matched_as_it_is_written(vocab: Vocabulary, lexicon: Lexicon) -> None:
    """A form holding a word that is taken out before matching would turn into a shorter, other form."""
    little = set(vocab.words["determiners"]) | {"'s"}
    cut = []
    for form, where in _forms(vocab):
        words = [w for w in lexicon.tokeniser.phrase(form.replace("~", " ")) if w not in little]
        steps = [step for step in lexicon._steps(form, drop=True) if step != "~~"]
        if len(words) != len(steps) or not steps:
            cut.append((where, form, steps))
    assert cut == []


def test_measures_have_a_range_and_a_value(vocab: Vocabulary) -> None:
    measured = {c.id: c.measure for c in vocab.concepts.values() if c.measure is not None}
    assert {"measure.weight", "measure.temperature", "history.gestation", "motion.rotation"} <= set(measured)
    for name, measure in measured.items():
        assert "value" in vocab.concepts[name].results, name
        assert measure.low < measure.high, name


def test_no_mishearing_is_a_right_form(vocab: Vocabulary) -> None:
    """What a recogniser writes by mistake must not be what the clinician may say of that very thing."""
    entries: list[Concept | Site] = [*vocab.concepts.values(), *vocab.sites.values()]
    for entry in entries:
        assert set() == {heard.lower() for heard in entry.misheard} & {say.lower() for say in entry.say}, entry.id


def test_the_hash_names_the_state(vocab: Vocabulary, tmp_path: Path) -> None:
    one = load_vocabulary(_write(tmp_path / "one"))
    same = load_vocabulary(_write(tmp_path / "same"))
    other = load_vocabulary(_write(tmp_path / "other", sites=SITE.replace("[hip]", "[hip, hips]")))
    assert one.hash == same.hash
    assert len({one.hash, other.hash, vocab.hash}) == 3


def test_a_site_line_runs_up_to_the_whole(vocab: Vocabulary) -> None:
    assert ["toe", "foot", "leg", "whole_body"] == list(vocab.site_line("toe"))
    assert [] == list(vocab.site_line(None))


# ---------------------------------------------------------------- faults


def test_all_faults_come_at_once_with_file_and_line(tmp_path: Path) -> None:
    concepts = CONCEPT + CONCEPT.replace("joint.click", "joint.clunk").replace("site: hip", "site: knee").replace(
        "stated: present", "stated: perhaps"
    )
    sites = SITE + "- {id: knee_cap, label: knee cap, parent: knee, say: [hip], source: x}\n- {id: toe, say: [toe]}\n"
    faults = _faults(_write(tmp_path, concepts, sites))
    assert "vocab" not in str(tmp_path)
    assert any("sites.yaml:3" in f and "label" in f for f in faults)
    assert any("sites.yaml:3" in f and "source" in f for f in faults)
    assert "sites.yaml:2: parent 'knee' of site 'knee_cap' is not a site" in faults
    assert "all.yaml:11: 'joint.clunk' names the unknown site 'knee'" in faults
    assert "all.yaml:11: stated: 'perhaps' is not a result of 'joint.clunk'" in faults
    assert any("all.yaml:11: spoken form 'click' of concept 'joint.clunk' already belongs" in f for f in faults)
    assert any("sites.yaml:2: spoken form 'hip' of site 'knee_cap' already belongs" in f for f in faults)
    assert len(faults) == 7


@pytest.mark.parametrize(
    ("concepts", "line", "words"),
    [
        (CONCEPT.replace("say: [click]", "says: [click]"), 1, "says: Extra inputs are not permitted"),
        (CONCEPT.replace("[gone]", "[gone, no]"), 9, "YAML reads False: put it in quotes"),
        (CONCEPT.replace("say: [click]", "say: [click, 1]"), 1, "YAML reads 1: put it in quotes"),
        (CONCEPT.replace("kind: finding", "kind: hunch"), 1, "kind: Input should be"),
        (CONCEPT.replace("source: x", "source: x\n  sound: [K L IH1 QQ]"), 1, "unknown ARPAbet phoneme 'QQ'"),
        (CONCEPT.replace("source: x", "source: x\n  site: hip"), 11, "key 'site' stands twice"),
        (CONCEPT.replace("say: [click]", 'say: [click, ""]'), 1, "empty spoken form of 'joint.click'"),
        (CONCEPT + CONCEPT, 11, "id 'joint.click' already stands at all.yaml:1. Delete one of the two."),
        ("joint.click: click\n", 1, "a list of entries is expected"),
        ("- id: [joint\n", 2, "not readable as YAML"),
    ],
)
def test_a_fault_is_told_with_its_line(tmp_path: Path, concepts: str, line: int, words: str) -> None:
    faults = _faults(_write(tmp_path, concepts))
    assert any(f"all.yaml:{line}: " in fault and words in fault for fault in faults), faults


def test_bytes_that_are_no_text_are_a_fault_of_the_file(tmp_path: Path) -> None:
    folder = _write(tmp_path)
    (folder / "concepts/all.yaml").write_bytes(b"- id: \xff\xfe\n")
    assert any(fault.startswith("concepts/all.yaml: not readable as YAML") for fault in _faults(folder))


# ---------------------------------------------------------------- the personal layer


def test_a_personal_layer_adds_forms_adds_entries_and_switches_off(tmp_path: Path) -> None:
    own = CONCEPT.replace("say: [click]", "say: [tick]").replace("source: x", "misheard: {flick: x}\n  source: own")
    extra = CONCEPT.replace("joint.click", "joint.snap").replace("say: [click]", "say: [snap]")
    off = SITE.replace("source: x", 'source: own, "off": true').replace("hip", "toe")
    base = _write(tmp_path / "base", CONCEPT, SITE + SITE.replace("hip", "toe"))
    layered = load_vocabulary(base, [_write(tmp_path / "own", own + extra, off)])
    assert layered.concepts["joint.click"].say == ("click", "tick")
    assert layered.concepts["joint.click"].misheard == {"flick": "x"}
    assert layered.concepts["joint.click"].source == "x"
    assert "joint.snap" in layered.concepts
    assert set(layered.sites) == {"hip"}
    assert load_vocabulary(base).concepts["joint.click"].say == ("click",)


def test_a_personal_form_that_is_taken_is_a_fault(tmp_path: Path) -> None:
    taken = CONCEPT.replace("joint.click", "joint.snap")
    base = _write(tmp_path / "base")
    faults = _faults(base, _write(tmp_path / "own", taken, ""))
    assert any("spoken form 'click' of concept 'joint.snap' already belongs to 'joint.click'" in f for f in faults)
