"""The shipped stages behind one face, each imported when it is first used: a search must not load a recogniser.

``run.py`` composes; it knows the stages by the Protocol ``Stages`` alone, so that a test can put its own in.
"""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from pipeline import __version__
from pipeline.config import Config, cache_folder
from pipeline.model import (
    Age,
    Changes,
    Edit,
    Extraction,
    Item,
    Note,
    Recording,
    Remark,
    Stretch,
    Transcript,
    Unattached,
)
from pipeline.records import Looked, PastVisit, VisitRecord
from pipeline.resources import data_path
from pipeline.siblings import turns_in
from pipeline.vault import keys_of, locked
from pipeline.vocabulary import Vocabulary, load_vocabulary

if TYPE_CHECKING:
    from pipeline.check import Coverage, Norms
    from pipeline.draft import Board
    from pipeline.extract import Extractor
    from pipeline.hear import Hearer
    from pipeline.render import NoteView

Progress = Callable[[int, int], None]  # milliseconds done, milliseconds in all


@dataclass(frozen=True)
class Copy:
    """The sound as the note carries it: bytes of a file of type ``media_type``."""

    data: bytes
    media_type: str


@dataclass(frozen=True)
class Heard:
    """A sound file after hearing. ``recording.torn`` says what of it was lost."""

    transcript: Transcript
    recording: Recording


class Stages(Protocol):
    """What run.py needs of the stages; every method gives the same for the same input."""

    vocab: Vocabulary

    def hear(self, path: Path, on_progress: Progress | None) -> Heard:
        """Hear a sound file. Raises InputError, ModelError."""

    def copy(self, sound: Path, stretches: tuple[Stretch, ...] | None) -> Copy:
        """The sound as a note carries it, silent outside the stretches where there are any. Raises InputError."""

    def silenced(self, sound: Path, destroyed: tuple[Stretch, ...]) -> Copy:
        """The recording with silence in these stretches: what stands in its place from then on. Raises InputError."""

    def repair(self, transcript: Transcript) -> Transcript:
        """Put misheard trade terms right."""

    def doubt(self, transcript: Transcript, age: Age | None) -> Transcript:
        """Mark what may have been heard otherwise, given the age."""

    def standing(self, edits: tuple[Edit, ...]) -> tuple[Edit, ...]:
        """The edits that hold after every undo and redo."""

    def correct(self, transcript: Transcript, edits: tuple[Edit, ...]) -> tuple[Transcript, tuple[Unattached, ...]]:
        """The words as a person put them right."""

    def extract(self, transcript: Transcript, age: Age | None) -> Extraction:
        """The items of a transcript."""

    def amend(
        self,
        extraction: Extraction,
        words: Transcript,
        edits: tuple[Edit, ...],
        unattached: tuple[Unattached, ...],
    ) -> tuple[Extraction, Changes]:
        """The lines as a person put them right."""

    def age(self, record: VisitRecord, items: tuple[Item, ...]) -> Age | None:
        """The age on record, else as told in the visit."""

    def check(
        self, record: VisitRecord, extraction: Extraction, words: Transcript, age: Age | None
    ) -> tuple[Remark, ...]:
        """The points raised about the items."""

    def not_looked_at(
        self, record: VisitRecord, items: tuple[Item, ...], words: Transcript, age: Age | None
    ) -> tuple[Looked, ...]:
        """What a visit should look at, and what became of it."""

    def draft(
        self,
        record: VisitRecord,
        extraction: Extraction,
        remarks: tuple[Remark, ...],
        words: Transcript,
        age: Age | None,
        not_looked_at: tuple[Looked, ...],
        changes: Changes,
    ) -> Note:
        """The note."""

    def norms_sha256(self) -> str:
        """Names the state of the norms."""

    def paper(self, kind: str, form: str, note: Note, items: tuple[Item, ...]) -> bytes | None:
        """A paper beside the note (``note``, ``parents``, ``letter``) as a file (``html``, ``pdf``, ``docx``).

        None where there is nothing to put into it. Raises InputError where this computer cannot make the form.
        """

    def parts(self) -> dict[str, str]:
        """The titles of the note's parts by id, in their order."""

    def outline(self, note: Note) -> "NoteView":
        """The note as templates see it: what the infant's outline is drawn from."""

    def render(self, note: Note, words: Transcript, copy: Copy | None) -> dict[str, bytes]:
        """The note's files by name."""


def shipped_stages(config: Config, threads: int = 0) -> "ShippedStages":
    """The stages of this program with the vocabulary of this computer. Raises VocabularyError."""
    return ShippedStages(load_vocabulary(personal=config.own_words), config, threads=threads)


REPAIR_RECIPE = "repair 3"  # part of the key of kept chunks: raise it when repair changes


class ShippedStages:
    """The stages of this program."""

    def __init__(
        self, vocab: Vocabulary, config: Config, *, between: Callable[[], None] | None = None, threads: int = 0
    ) -> None:
        """``between`` is called before each step of the speech model: what presses is done there.

        threads: of the processor that the speech model may use; 0 = all.
        """
        self.vocab = vocab
        self._threads = threads
        self._config = config
        self._between = between

    @cached_property
    def hearer(self) -> "Hearer":
        """Hears whole recordings, chunks and pieces."""
        from pipeline.hear import Hearer, chosen_model
        from pipeline.repair import repaired

        hidden = locked(self._config.home)  # then what is heard is kept nowhere
        return Hearer(
            chosen_model(self._config.settings.model, self._config.models),
            self.vocab,
            keep=None if hidden else cache_folder(),
            keys=None if hidden else keys_of(self._config.home),
            between=self._between,
            threads=self._threads,
            device=self._config.settings.device,
            recipe=REPAIR_RECIPE,
            refine=lambda heard, scorer: repaired(heard, self.vocab, scorer),
        )

    @cached_property
    def extractor(self) -> "Extractor":
        """Folds utterance after utterance."""
        from pipeline.extract import Extractor

        return Extractor(self.vocab)

    @cached_property
    def _norms(self) -> "Norms":
        from pipeline.check import load_norms

        return load_norms()

    @cached_property
    def _basis(self) -> str:
        """Hash of all that a draft is made by beside the record: program, vocabulary, norms, wording, settings."""
        chosen = self._config.settings
        setting = f"{chosen.jurisdiction} {chosen.part_table}"
        digest = hashlib.sha256(f"{__version__} {self.vocab.hash} {setting}".encode())
        folder = data_path("vocab")
        for path in sorted(folder.rglob("*.yaml")):
            digest.update(f"\n{path.relative_to(folder).as_posix()}\n".encode() + path.read_bytes())
        return digest.hexdigest()

    def hear(self, path: Path, on_progress: Progress | None) -> Heard:
        from pipeline.audio import open_sound

        sound = open_sound(path)
        if on_progress is not None:
            on_progress(0, sound.duration_ms)
        transcript = self.hearer.hear(sound, on_progress=on_progress)
        recording = Recording(
            id=transcript.recording,
            sha256=sound.sha256,
            media_type=sound.media_type,
            duration_ms=sound.duration_ms,
            source_name=path.name,
            torn=sound.torn,
        )
        return Heard(transcript, recording)

    def copy(self, sound: Path, stretches: tuple[Stretch, ...] | None) -> Copy:
        from pipeline.audio import compact_copy, open_sound

        made = compact_copy(open_sound(sound).blocks(), stretches)
        return Copy(made.data, made.media_type)

    def silenced(self, sound: Path, destroyed: tuple[Stretch, ...]) -> Copy:
        from pipeline.audio import FLAC_TYPE, open_sound, silenced

        return Copy(silenced(open_sound(sound).blocks(), destroyed), FLAC_TYPE)

    def repair(self, transcript: Transcript) -> Transcript:
        from pipeline.repair import repaired

        return repaired(transcript, self.vocab)

    def doubt(self, transcript: Transcript, age: Age | None) -> Transcript:
        from pipeline.repair import doubt_numbers

        return doubt_numbers(transcript, age)

    def standing(self, edits: tuple[Edit, ...]) -> tuple[Edit, ...]:
        from pipeline.amend import standing

        return standing(edits)

    def correct(self, transcript: Transcript, edits: tuple[Edit, ...]) -> tuple[Transcript, tuple[Unattached, ...]]:
        from pipeline.amend import correct

        return correct(transcript, edits)

    @cached_property
    def _extract(self) -> Callable[[Transcript, Age | None], Extraction]:
        """Remembers the last few: an edit of a line leaves the words as they were."""
        return lru_cache(maxsize=4)(lambda transcript, age: self.extractor.extract(transcript, age=age))

    def extract(self, transcript: Transcript, age: Age | None) -> Extraction:
        return self._extract(transcript, age)

    def amend(
        self,
        extraction: Extraction,
        words: Transcript,
        edits: tuple[Edit, ...],
        unattached: tuple[Unattached, ...],
    ) -> tuple[Extraction, Changes]:
        from pipeline.amend import amend

        return amend(extraction, words, edits, unattached)

    def age(self, record: VisitRecord, items: tuple[Item, ...]) -> Age | None:
        from pipeline.check import age_at_visit

        return record.age or age_at_visit(record.infant, record.day, items)

    def check(
        self, record: VisitRecord, extraction: Extraction, words: Transcript, age: Age | None
    ) -> tuple[Remark, ...]:
        from pipeline.check import Options, check, confirmed_values

        options = Options(
            jurisdiction=self._config.settings.jurisdiction,
            confirmed=confirmed_values(record.edits),
            words=words.words,
            known_names=dict(record.known_names),
            turns=() if record.stretches is not None else turns_in(words, self.vocab.cues.get("twins", ())),
        )
        return check(
            extraction.items,
            infant=record.infant,
            age=age,
            norms=self._norms,
            previous=self._previous(record),
            options=options,
        )

    def _previous(self, record: VisitRecord) -> tuple[PastVisit, ...]:
        """The earlier visits, each with its age: as typed then, else by the chart or as told in it."""
        from pipeline.check import age_at_visit

        return tuple(
            past
            if past.age is not None or past.day is None
            else past.model_copy(update={"age": age_at_visit(record.infant, past.day, past.items)})
            for past in record.previous
        )

    def coverage(self, record: VisitRecord, items: tuple[Item, ...], words: Transcript, age: Age | None) -> "Coverage":
        """What a visit should look at, part by part."""
        from pipeline.check import coverage

        return coverage(items, age, self._norms, previous=record.previous, dropped=words.dropped)

    def not_looked_at(
        self, record: VisitRecord, items: tuple[Item, ...], words: Transcript, age: Age | None
    ) -> tuple[Looked, ...]:
        entries = self.coverage(record, items, words, age).entries
        return tuple(
            Looked(label=e.label, state=e.state.name.lower(), why=e.why, past=e.past, day=e.day, items=e.items)
            for e in entries
        )

    def board(self, items: tuple[Item, ...], hidden: frozenset[str], veiled: frozenset[str]) -> "Board":
        """The items as a board shows them. ``hidden``: ids left out; ``veiled``: ids shown without their result."""
        from pipeline.draft import board

        return board(items, self.vocab, hidden, veiled)

    def draft(
        self,
        record: VisitRecord,
        extraction: Extraction,
        remarks: tuple[Remark, ...],
        words: Transcript,
        age: Age | None,
        not_looked_at: tuple[Looked, ...],
        changes: Changes,
    ) -> Note:
        from pipeline.check import caution_texts, part_table
        from pipeline.draft import draft_note

        wanted = self._config.settings.part_table
        note = draft_note(
            extraction,
            remarks,
            words,
            infant=record.infant,
            age=age,
            on=record.day,
            visit=record.visit,
            vocab=self.vocab,
            coverage=not_looked_at,
            letters=part_table(extraction.items, self._norms) if wanted else None,
            changes=changes,
            cautions=caution_texts(extraction.items, self._norms, record.previous),
            audio_sha256=record.recording.sha256,
            audio_type=record.recording.media_type,
            program=f"handspoken {__version__}",
            written=record.written,
        )
        return note.model_copy(update={"basis": self._basis, "sound_gone": record.recording.gone})

    def norms_sha256(self) -> str:
        return self._norms.hash

    def paper(self, kind: str, form: str, note: Note, items: tuple[Item, ...]) -> bytes | None:
        from pipeline.render import paper, printed

        made = paper(kind, note, items, self._config.settings.practice)
        return printed(made, form, self._config.home / "templates") if made else None

    def parts(self) -> dict[str, str]:
        from pipeline.draft import part_titles

        return part_titles()

    def outline(self, note: Note) -> "NoteView":
        from pipeline.render import view

        return view(note)

    def render(self, note: Note, words: Transcript, copy: Copy | None) -> dict[str, bytes]:
        from pipeline.render import EmbeddedAudio, render_html, render_markdown, render_text

        audio = EmbeddedAudio(copy.data, copy.media_type) if copy else None
        return {
            "note.html": render_html(note, words, audio).encode(),
            "note.md": render_markdown(note).encode(),
            "note.txt": render_text(note).encode(),
        }
