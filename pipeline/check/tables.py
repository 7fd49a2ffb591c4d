"""Published scales and the torticollis severity table: numbers in, the grade and its edition out.

The tool grades only what was measured; what is missing for a grade is said, never filled in.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from pipeline.check.ages import MONTH
from pipeline.check.facts import Fact, Facts, holds, named
from pipeline.check.norms import Norms
from pipeline.check.rows import Grade, Scale
from pipeline.errors import InputError
from pipeline.model import Age, Frozen

NECK = ("neck", "cervical_spine")
OWN_EFFORT = "active"  # the table counts passive rotation; what the infant does by itself is another number
MUSCLE = "sternocleidomastoid"
PREFERENCE = (
    ("symptom.head_preference", "present"),
    ("sign.torticollis", "present"),
    ("alignment.tilt", "tilted"),
)


def level(norms: Norms, scale_id: str, value: float) -> str:
    """The word of a scale for a number. Raises InputError if the scale has none for it."""
    scale = next((s for s in norms.scales if s.id == scale_id), None)
    found = _level(scale, value) if scale else None
    if found is None:
        raise InputError(f"{value:g} lies on no step of the scale {scale_id!r}. Check the number.")
    return found


def _level(scale: Scale, value: float) -> str | None:
    for step in scale.levels:
        if step.from_ <= value < step.until or (step.closed and value == step.until):
            return step.label
    return None


class HeadShape(Frozen):
    """Asymmetry of the two diagonals: difference in mm, and in percent of the longer and of the shorter one."""

    difference_mm: float
    index_longer: float
    index_shorter: float


def head_shape(diagonal_a_mm: float, diagonal_b_mm: float) -> HeadShape:
    """CVA = |A - B|, CVAI = CVA / diagonal x 100. Texts differ on the diagonal; ours is the longer, both are given."""
    if min(diagonal_a_mm, diagonal_b_mm) <= 0:
        raise InputError("A head diagonal is above 0 mm. Measure it again.")
    difference = abs(diagonal_a_mm - diagonal_b_mm)
    longer, shorter = max(diagonal_a_mm, diagonal_b_mm), min(diagonal_a_mm, diagonal_b_mm)
    return HeadShape(
        difference_mm=difference,
        index_longer=100 * difference / longer,
        index_shorter=100 * difference / shorter,
    )


class Torticollis(Frozen):
    """The severity grade and the edition it is from, or what is missing for it."""

    grade: int | None = None
    label: str = ""
    edition: str = ""
    difference: float | None = None
    missing: str = ""


def torticollis_grade(
    norms: Norms, months: int, difference: float | None, *, mass: bool, preference: bool
) -> Grade | None:
    """The cell for completed months of age, passive rotation difference in degrees, muscle mass and preference.

    Exactly 15 degrees counts as 15 or more, exactly 30 as 15 to 30 (our recommendation). None = no cell holds.
    """
    cells = [g for g in norms.grades if g.months_from <= months <= g.months_to]
    held = [g for g in cells if _cell_holds(g, difference, mass=mass, preference=preference)]
    return max(held, key=lambda g: g.grade, default=None)


def _cell_holds(cell: Grade, difference: float | None, *, mass: bool, preference: bool) -> bool:
    if cell.mass and mass:
        return True
    measured = difference is not None and difference > 0
    if cell.preference and preference and not measured:
        return True
    if not measured or difference is None or cell.difference_from is None:
        return False
    return cell.difference_from <= difference and (cell.difference_below is None or difference < cell.difference_below)


@dataclass(frozen=True, slots=True)
class _Neck:
    """What a severity grade rests on: the first rotation of each side, lumps in the muscle, signs of a preference."""

    rotations: tuple[tuple[str, float, Fact], ...]
    lumps: tuple[Fact, ...]
    signs: tuple[Fact, ...]

    @property
    def difference(self) -> float | None:
        sides = {side: value for side, value, _ in self.rotations}
        return abs(sides["left"] - sides["right"]) if len(sides) == 2 else None

    @property
    def based_on(self) -> tuple[Fact, ...]:
        return (*(fact for _, _, fact in self.rotations), *self.lumps, *self.signs)


def _neck(facts: Facts) -> _Neck:
    lumps = [f for f in facts.of("tissue.mass") if f.result == "present" and facts.within(f.site, (MUSCLE,))]
    signs = [f for concept, result in PREFERENCE for f in facts.of(concept) if f.result == result and _of_neck(f)]
    return _Neck(tuple(_rotations(facts)), tuple(lumps), tuple(signs))


def torticollis(facts: Facts, age: Age | None, norms: Norms) -> Torticollis | None:
    """Severity from the first rotation told for each side; None where nothing speaks of torticollis."""
    said = {f.result for f in facts.of("sign.torticollis")}
    if "absent" in said and "present" not in said:
        return None  # the clinician has excluded it; a difference in degrees stands by itself
    neck = _neck(facts)
    difference = neck.difference
    if not (neck.lumps or neck.signs or (difference or 0) > 0):
        return None
    if age is None:
        return Torticollis(difference=difference, missing="the age")
    months = int(age.days / MONTH)
    grade = torticollis_grade(norms, months, difference, mass=bool(neck.lumps), preference=bool(neck.signs))
    missing = "" if difference is not None else "degrees of passive rotation to both sides"
    if grade is None:
        return Torticollis(difference=difference, missing=missing)
    return Torticollis(
        grade=grade.grade, label=grade.label, edition=grade.edition, difference=difference, missing=missing
    )


def _of_neck(fact: Fact) -> bool:
    return fact.concept != "alignment.tilt" or fact.site in ("head", *NECK)


def _rotations(facts: Facts) -> Iterator[tuple[str, float, Fact]]:
    """The first number told for each side, in degrees."""
    turns = [f for f in facts.of("motion.rotation") if f.level is None and not holds(f.text, OWN_EFFORT)]
    told = [f for f in turns if f.value is not None and f.unit == "deg"]
    seen: set[str] = set()
    for fact in sorted((f for f in told if facts.within(f.site, NECK)), key=lambda f: f.start_ms):
        for side in ("left", "right") if fact.side == "both" else (fact.side,):
            if side in ("left", "right") and side not in seen and fact.value is not None:
                seen.add(side)
                yield side, fact.value, fact


def table_facts(facts: Facts, age: Age | None, norms: Norms) -> Iterator[Fact]:
    """Grades and indices as computed facts, where the inputs suffice."""
    yield from _torticollis_facts(facts, age, norms)
    yield from _shape_facts(facts)


def _torticollis_facts(facts: Facts, age: Age | None, norms: Norms) -> Iterator[Fact]:
    found, neck = torticollis(facts, age, norms), _neck(facts)
    if found is None or not neck.based_on:
        return
    if found.difference is not None:
        yield named(neck.based_on[0], "computed.rotation_difference", found.difference, "", "deg", *neck.based_on)
    if found.grade is not None:
        note = f"grade {found.grade} of 8, {found.label}; {found.edition}"
        note += f"; difference {found.difference:g} degrees" if found.difference is not None else ""
        note += "; lump in the muscle" if neck.lumps else ""
        note += f"; not told: {found.missing}" if found.missing else ""
        first, *rest = neck.based_on
        grade = named(first, "computed.torticollis_grade", found.grade, note, None, *rest)
        yield replace(grade, site="neck", side="none", level=None)


TOLD = (
    ("measure.vault_index", "computed.head_asymmetry", "index {value:g} %, as told"),
    ("measure.diagonal_difference", "computed.diagonal_difference", "difference {value:g} mm, as told"),
    ("measure.cephalic_index", "computed.cephalic_index", "index {value:g} %, as told"),
)


def _shape_facts(facts: Facts) -> Iterator[Fact]:
    """From both diagonals, width and length; an index that was told itself stands where it was not computed."""
    made = list(_measured_shape(facts))
    yield from made
    for concept, computed, note in TOLD:
        for fact in facts.of(concept)[-1:]:
            if fact.value is not None and all(f.concept != computed for f in made):
                yield named(fact, computed, fact.value, note.format(value=fact.value), fact.unit)


def _measured_shape(facts: Facts) -> Iterator[Fact]:
    told = [f for f in facts.of("measure.head_diagonal") if f.value]
    sided = {f.side: f for f in told if f.side in ("left", "right")}
    diagonals = list(sided.values()) if len(sided) == 2 else told
    if len(diagonals) == 2:
        shape = head_shape(*(_mm(f) for f in diagonals))
        note = (
            f"difference {shape.difference_mm:g} mm, index {shape.index_longer:.2f} % of the longer diagonal "
            f"({shape.index_shorter:.2f} % of the shorter)"
        )
        yield named(diagonals[0], "computed.head_asymmetry", shape.index_longer, note, "%", diagonals[1])
        yield named(diagonals[0], "computed.diagonal_difference", shape.difference_mm, note, "mm", diagonals[1])
    for wide in facts.of("measure.head_width")[-1:]:
        for long in facts.of("measure.head_length")[-1:]:
            if wide.value and long.value:
                index = 100 * _mm(wide) / _mm(long)
                note = f"width / length x 100 = {index:.1f}"
                yield named(wide, "computed.cephalic_index", index, note, "%", long)


def scale_facts(facts: Facts, norms: Norms) -> Iterator[Fact]:
    """The step of each published scale whose number was told or computed."""
    for scale in norms.scales:
        for fact in facts.of(scale.concept):
            value = fact.value if fact.value is not None else scale.numbers.get(fact.result or "")
            word = _level(scale, value) if value is not None else None
            if value is not None and word is not None:
                yield named(fact, f"computed.scale.{scale.id}", value, f"{scale.label}: {word}")


def _mm(fact: Fact) -> float:
    return (fact.value or 0) * (10 if fact.unit == "cm" else 1)
