"""When naming a thing says something of it, and when it does not: headings, pictures only mentioned, pointing words."""

from pipeline.extract.frames import Frame
from pipeline.extract.marks import Marked
from pipeline.extract.places import SEATED
from pipeline.vocabulary import Concept, Vocabulary


def points(frame: Frame, marked: Marked) -> bool:
    """ "an X-ray of that one", "leaving those alone": the object is the structure in hand."""
    near = marked.words(frame.a, frame.b + 4)
    return bool(near & {"that", "those", "them", "it"})


def heading(vocab: Vocabulary, frame: Frame, concept: Concept, marked: Marked) -> bool:
    """ "Moro." alone is what comes next, not what was found; "there's the Moro", "red reflex both eyes" is."""
    if not concept.id.startswith(SEATED) or frame.side or frame.sites:
        return False
    near = marked.words(max(0, frame.a - 5), frame.b + 2)
    return not near & vocab.listed("existence")


def not_asked_for(vocab: Vocabulary, frame: Frame, concept: Concept, marked: Marked) -> bool:
    """ "Once the X-ray's back" asks for no X-ray: a referral or a picture needs a word that asks for it."""
    if concept.id not in ("plan.imaging", "plan.refer"):
        return False
    near = marked.words(max(0, frame.a - 9), frame.b + 4)
    return bool(near & vocab.listed("had_already")) and not near & vocab.listed("requests")
