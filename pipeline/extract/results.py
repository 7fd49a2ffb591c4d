"""What a result word says of a concept, and what its denial leaves."""

from pipeline.extract.marks import Mark
from pipeline.vocabulary import Vocabulary

AKIN = ("motion", "alignment")  # "restricted" beside "rotation"; a good sleep says nothing of the feeding
GENERAL = ("exam.overall", "exam.symmetry", "motion.general")


def fit_result(vocab: Vocabulary, concept_id: str, mark: Mark) -> str | None:
    """The result that the words of ``mark`` give to a concept named beside them; None where they say nothing of it.

    Its own result words first; then a word that means a result of the same name elsewhere ("restricted" beside
    "rotation"); last, a word of plain approval ("fine", "full"), which is the concept's good result.
    """
    concept = vocab.concepts[concept_id]
    readings = mark.gives()
    for reading in readings:
        if reading.concept == concept_id:
            return reading.result
    same_kind = [r for r in readings if vocab.concepts[r.concept].kind == concept.kind]
    family = concept_id.partition(".")[0]
    akin = [r for r in same_kind if r.concept in GENERAL or (family in AKIN and r.concept.startswith(family))]
    for reading in akin:
        if reading.role == "means" and reading.result in concept.results:
            return reading.result
    good = good_result(vocab, concept_id)
    if good and any(r.role == "means" and is_good(vocab, r.result) for r in akin):
        return good
    if good and any(r.role == "means" and r.concept == "exam.overall" and r.result == "abnormal" for r in readings):
        return "equivocal" if "equivocal" in concept.results else bad_result(vocab, concept_id)  # "I don't love it"
    return None


def takes(vocab: Vocabulary, concept: Mark, number: Mark) -> bool:
    """Whether what is named is measured in the unit that was said with the number; a bare number counts."""
    said = number.number.unit if number.number else ""
    units = [c.measure.unit for i in concept.says() if (c := vocab.concepts[i]).measure]
    return any(unit == (said or "1") or {unit, said} == {"mm", "cm"} for unit in units)


def is_good(vocab: Vocabulary, result: str) -> bool:
    """Whether a result is the reassuring one."""
    return result in vocab.listed("good_results")


def good_result(vocab: Vocabulary, concept_id: str) -> str | None:
    """A concept's good result: normal, negative, level ...; for a reflex, present. None for a sign ("fine clunk")."""
    concept = vocab.concepts[concept_id]
    if concept_id.startswith("reflex."):
        return "extensor" if "extensor" in concept.results else "present"
    if concept.stated and concept.negated:
        return None
    return next((r for r in concept.results if r != "absent" and is_good(vocab, r)), None)


def bad_result(vocab: Vocabulary, concept_id: str) -> str | None:
    """The first result of a concept that is not good."""
    return next((r for r in vocab.concepts[concept_id].results if r in vocab.listed("bad_results")), None)


def scarce_result(vocab: Vocabulary, concept_id: str) -> str | None:
    """What "barely", "hardly" leaves: "barely a suck" is weak and not absent. None where there is no such result."""
    results = vocab.concepts[concept_id].results
    return next((r for r in ("weak", "reduced", "poor", "limited") if r in results), None)


def opposite(vocab: Vocabulary, concept_id: str, result: str) -> str | None:
    """What a denial of the result leaves: "not tight" is normal, "not moving freely" is limited."""
    concept = vocab.concepts[concept_id]
    pairs = {
        "present": "absent",
        "absent": "present",
        "positive": "negative",
        "extensor": "flexor",
        "given": "declined",
    }
    if pairs.get(result) in concept.results:
        return pairs[result]
    if result == concept.stated and concept.negated:
        return concept.negated
    if is_good(vocab, result):
        return bad_result(vocab, concept_id)
    return next((r for r in concept.results if is_good(vocab, r)), None)
