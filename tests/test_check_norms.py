"""The data of the check: what the loader refuses, and that every row names only what exists."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.check import load_norms
from pipeline.check.ages import window_of
from pipeline.check.rows import When
from pipeline.errors import VocabularyError
from pipeline.model import Mark, Urgency
from pipeline.resources import data_path
from pipeline.vocabulary import load_vocabulary

NORMS = load_norms()

NOTHING = When(concept=("exam.overall",))


def copy(tmp_path: Path) -> Path:
    """A copy of the data that a test may spoil."""
    shutil.copytree(data_path("vocab"), tmp_path / "vocab")
    return tmp_path / "vocab"


def spoil(file: Path, old: str, new: str) -> int:
    """Replace the first ``old``; returns its line."""
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1


def test_a_row_without_source_is_refused_with_file_and_line(tmp_path: Path) -> None:
    base = copy(tmp_path)
    spoil(base / "norms" / "hip.yaml", "  source: RACGP, hip dysplasia; IHDI, examination after 3 months\n", "")

    with pytest.raises(VocabularyError, match=r"norms/hip\.yaml:\d+: source: Field required"):
        load_norms(base)


@pytest.mark.parametrize(
    ("file", "old", "new", "fault"),
    [
        ("red_flags.yaml", "  source: NICE NG143 (nasgp.org.uk)\n", "  source: ''\n", "source: String should have"),
        ("red_flags.yaml", "flag: RF12", "flag: RFX", "RF12 missing. A danger sign cannot be switched off"),
        ("red_flags.yaml", "  mark: published and seen\n", "  mark: sure\n", "mark: Input should be"),
        ("red_flags.yaml", "urgency: emergency", "enabled: false\n  urgency: emergency", "enabled: Extra inputs"),
        ("norms/hip.yaml", "until: 3 mo", "until: 3 moons", "an age is a number and d, wk, mo or y"),
        ("norms/hip.yaml", "site: [hip]", "site: [hipp]", "unknown site 'hipp'"),
        ("norms/hip.yaml", "- id: hip.stable", "- id: moro.expected", "id 'moro.expected' already stands"),
        ("norms/hip.yaml", "{concept: [test.ortolani, test.barlow], result: negative}", "{}", "exactly one of"),
        ("norms/hip.yaml", "reason: A hip test", "reason: A {what} test", "a reason is filled with"),
        ("norms/hip.yaml", "  age: corrected\n  until: 3 mo", "  until: 3 mo", "an age window needs 'age:'"),
        ("norms/hip.yaml", "  from: 3 mo", "  from: 3 mo\n  until: 2 mo", "the age window is empty"),
        ("coverage.yaml", "  visit: both", "  visit: every", "visit: Input should be"),
        ("norms/tables/plausible.yaml", "high: 25", "high: heavy", "high: Input should be a valid number"),
    ],
)
def test_a_faulty_row_is_refused_with_its_place(tmp_path: Path, file: str, old: str, new: str, fault: str) -> None:
    base = copy(tmp_path)
    spoil(base / file, old, new)

    with pytest.raises(VocabularyError, match=re.escape(fault)) as error:
        load_norms(base)
    assert Path(file).name in str(error.value)


def test_every_fault_is_told_at_once(tmp_path: Path) -> None:
    base = copy(tmp_path)
    spoil(base / "norms" / "feet.yaml", "  mark: from memory\n", "")
    spoil(base / "cautions.yaml", "mark: our recommendation", "mark: none")

    with pytest.raises(VocabularyError) as error:
        load_norms(base)
    assert "feet.yaml" in str(error.value)
    assert "cautions.yaml" in str(error.value)


def conditions() -> Iterator[tuple[str, When]]:
    for rule in (*NORMS.rules, *NORMS.red_flags):
        for when in (rule.when, *(worse.when for worse in rule.worse)):
            yield from ((rule.id, part) for part in parts(when))
    for row in NORMS.part:
        yield from ((row.id, part) for part in parts(row.when))
    for caution in NORMS.cautions:
        yield from ((caution.id, part) for part in parts(caution.when or NOTHING))
    for law in NORMS.laws:
        yield from ((law.id, part) for part in parts(law.when or NOTHING))


def parts(when: When) -> Iterator[When]:
    yield when
    for inner in (*when.any, *when.all, *when.none):
        yield from parts(inner)


def test_rules_name_only_concepts_and_results_that_can_be_said() -> None:
    concepts = load_vocabulary().concepts
    wrong = []
    for rule_id, when in conditions():
        for concept in when.concept:
            if concept.startswith(("computed.", "infant.")):
                continue
            results = {*concepts[concept].results, "value"} if concept in concepts else set()
            if len(when.concept) == 1 and not {*when.result} <= results | {"not_assessed"}:
                wrong.append((rule_id, concept, when.result))
            if concept not in concepts:
                wrong.append((rule_id, concept, ()))

    assert wrong == []


def test_every_concept_of_the_other_tables_exists() -> None:
    concepts = set(load_vocabulary().concepts)
    named = {concept for row in NORMS.coverage for concept in row.concepts}
    named |= {concept for row in NORMS.safety_net for concept in row.concept}
    named |= {concept for row in NORMS.opposites for concept in (row.concept, *row.across)}
    named |= {row.concept for row in NORMS.plausible}
    named |= {row.concept for row in NORMS.scales if not row.concept.startswith("computed.")}

    assert named - concepts == set()


def test_every_row_carries_its_source_and_mark() -> None:
    rows = list(NORMS.sourced())

    assert len(rows) > 400
    assert all(row.source and isinstance(row.mark, Mark) for row in rows)


def test_the_hash_names_the_data(tmp_path: Path) -> None:
    base = copy(tmp_path)
    assert load_norms(base).hash == NORMS.hash
    other = tmp_path / "other"
    shutil.copytree(base, other)
    spoil(other / "norms" / "vital_signs.yaml", "ge: 36.5, lt: 38}", "ge: 36.5, lt: 37.9}")

    assert load_norms(other).hash != NORMS.hash


TOLD = ("title", "reason", "action", "guidance", "text", "label")
TEMPLATES = [path for path in data_path("templates").rglob("*") if path.is_file()]


def test_no_text_of_ours_holds_a_claim_that_the_evidence_does_not_carry() -> None:
    ours = {str(path): path.read_text(encoding="utf-8", errors="replace") for path in TEMPLATES}
    for row in NORMS.sourced():
        if row.id.startswith("claim."):
            continue
        told = row.model_dump()
        ours[row.id] = " ".join(str(told.get(key, "")) for key in TOLD)
    found = [
        (where, claim.id)
        for where, text in ours.items()
        for claim in NORMS.claims
        if re.search(claim.pattern, text, re.IGNORECASE)
    ]

    assert found == []


@pytest.mark.parametrize(
    ("sentence", "claimed"),
    [
        ("This treatment cures colic.", True),
        ("Effective for reflux and sleep.", True),
        ("The technique is completely safe.", True),
        ("There is no risk.", True),
        ("He needs a release.", True),
        ("Risks and alternatives were discussed.", False),
        ("Sleep was told to be better.", False),
    ],
)
def test_the_claims_are_seen(sentence: str, claimed: bool) -> None:
    assert any(re.search(claim.pattern, sentence, re.IGNORECASE) for claim in NORMS.claims) is claimed


def test_the_reasons_are_plain_sentences() -> None:
    for rule in (*NORMS.rules, *NORMS.red_flags):
        assert rule.reason[-1] in ".?}", rule.id
        assert len(rule.reason) < 260, rule.id


def test_every_remark_tells_the_window_of_its_norm() -> None:
    told = {rule.id: window_of(rule) for rule in (*NORMS.rules, *NORMS.red_flags)}

    assert told["RF02"] == "3 months to 6 months, by either age"
    assert told["RF13.older"] == "from 3 months on, by age since birth"
    assert told["RF12"] == "at any age"
    assert told["hip.stable"] == "informative to 3 months"
    silent = {rule.id for rule in (*NORMS.rules, *NORMS.red_flags) if not told[rule.id]}
    assert all(rule.urgency is Urgency.ASK for rule in (*NORMS.rules, *NORMS.red_flags) if rule.id in silent)
