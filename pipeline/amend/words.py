"""Words put right by a person: found by their time, so that they hold after the recording was heard again."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from pipeline.model import Edit, Heard, Transcript, Unattached, Word, WordCorrection, WordRange


def correct(transcript: Transcript, edits: Iterable[Edit]) -> tuple[Transcript, tuple[Unattached, ...]]:
    """The words with all corrections made, and the corrections that no longer find what they put right.

    A correction takes the words whose middle lies in its time; where these read neither as heard nor as meant then,
    the correction is unattached and the words stay.
    """
    loose = []
    for edit in edits:
        if isinstance(edit, WordCorrection):
            put_right = _corrected(transcript, edit)
            if put_right is None:
                why = "The words at this time are others now."
                loose.append(Unattached(id=f"unattached:words:{edit.start_ms}:{edit.end_ms}", edit=edit, why=why))
            else:
                transcript = put_right
    return transcript, tuple(loose)


def _corrected(transcript: Transcript, edit: WordCorrection) -> Transcript | None:
    words = transcript.words
    middles = ((word.start_ms + word.end_ms) / 2 for word in words)
    inside = [i for i, middle in enumerate(middles) if edit.start_ms <= middle < edit.end_ms]
    if not inside:
        return None
    i0, i1 = inside[0], inside[-1] + 1
    old = words[i0:i1]
    said = _plain(word.text for word in old)
    if said == _plain([edit.meant]):
        return transcript
    if said != _plain([edit.heard]):
        return None
    new = _written(old, edit.meant.split())
    return _spliced(transcript, (i0, i1), new)


def _plain(texts: Iterable[str]) -> str:
    return " ".join(" ".join(texts).split()).casefold()


def _written(old: Sequence[Word], meant: Sequence[str]) -> list[Word]:
    """The meant words over the time of the old ones, shared out by their length in letters."""
    start, end = old[0].start_ms, max(old[-1].end_ms, old[0].start_ms)
    total, passed = sum(map(len, meant)), 0
    heard = (Heard(source="free", text=" ".join(word.text for word in old), p=min(word.p for word in old)),)
    new = []
    for k, text in enumerate(meant):
        begin, passed = start + (end - start) * passed // total, passed + len(text)
        finish = start + (end - start) * passed // total
        new.append(
            Word(
                i=0,
                text=text,
                start_ms=begin,
                end_ms=finish,
                timing=old[0].timing,
                source="edited",
                heard=heard if k == 0 else (),
                speaker=old[0].speaker,
            )
        )
    return new


def _spliced(transcript: Transcript, at: WordRange, new: Sequence[Word]) -> Transcript:
    """The transcript with ``new`` in place of the words of ``at``; numbers and utterances follow."""
    (i0, i1), more = at, len(new) - (at[1] - at[0])
    words = (*transcript.words[:i0], *new, *transcript.words[i1:])

    def moved(bound: int) -> int:
        """Where a bound between words lies now; one inside the old words goes to the end of the new."""
        return bound if bound <= i0 else max(bound, i1) + more

    bounds = [(moved(a), moved(b)) for a, b in transcript.utterances]
    return transcript.model_copy(
        update={
            "words": tuple(replace(word, i=i) if word.i != i else word for i, word in enumerate(words)),
            "utterances": tuple((a, b) for a, b in bounds if a < b),
        }
    )
