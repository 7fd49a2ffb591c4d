"""When naming a thing says something of it, and when it does not: headings, pictures only mentioned, pointing words."""

from collections.abc import Sequence

from pipeline.extract.focus import Target
from pipeline.extract.frames import Frame
from pipeline.extract.marks import Mark, Marked
from pipeline.extract.places import OTHER, SEATED
from pipeline.vocabulary import Concept, Vocabulary


def points(frame: Frame, marked: Marked, *, things: bool = False) -> bool:
    """ "an X-ray of that one", "leaving those alone": the object is the structure in hand.

    ``things``: only words that point to no people ("I'll ring them").
    """
    end = next(
        (k for k in range(frame.b, frame.b + 4) if k and (marked.ends(k) or marked.words(k, k + 1) & {"because"})),
        frame.b + 4,
    )
    near = marked.words(frame.a, end)
    return bool(near & ({"that", "those"} if things else {"that", "those", "them", "it"}))


def turns_head(
    vocab: Vocabulary, concept: Concept, mark: Mark, frame: Frame, held: Sequence[Target], marked: Marked
) -> bool:
    """ "Turning left he goes all the way", just after the hips: a leg is not turned to a side, the head is."""
    if concept.id != "motion.rotation" or frame.side not in OTHER or frame.side_at is None:
        return False
    beside = 0 <= frame.side_at[0] - mark.b <= 1 or mark.a <= frame.side_at[0] < mark.b
    legs = bool(held) and all("leg" in vocab.site_line(t.site) for t in held)
    return legs and beside and marked.tokens[mark.a].text in ("turn", "turns", "turning")


def heading(vocab: Vocabulary, frame: Frame, concept: Concept, marked: Marked) -> bool:
    """ "Moro." alone is what comes next, not what was found; "there's the Moro", "red reflex both eyes" is."""
    if frame.side or frame.sites:
        return False
    if concept.id == "plan.recheck":  # "Retest." announces what follows
        return len(marked.chunk(frame.a, frame.b)) == 1
    if concept.id.startswith("alignment."):  # "Tilt. She still holds it to the left."
        begins = frame.a == 0 or bool(marked.tokens[frame.a - 1].stop)
        return begins and bool(marked.tokens[frame.b - 1].stop)
    if not concept.id.startswith(SEATED):
        return False
    near = marked.words(max(0, frame.a - 5), frame.b + 2)
    return not near & vocab.listed("existence")


def not_asked_for(vocab: Vocabulary, frame: Frame, concept: Concept, marked: Marked) -> bool:
    """ "Once the X-ray's back" asks for no X-ray: a referral or a picture needs a word that asks for it."""
    if concept.id not in ("plan.imaging", "plan.refer"):
        return False
    near = marked.words(max(0, frame.a - 9), frame.b + 4)
    alone = len(marked.chunk(frame.a, frame.b)) == 1  # "Orthopaedics."
    return (alone or bool(near & vocab.listed("had_already"))) and not near & vocab.listed("requests")
