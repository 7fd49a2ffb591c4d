"""An invented visit with sound, drafted by the shipped stages, for the tests of the pages where it is put right."""

import hashlib
import io
import math
import struct
import wave
from datetime import date
from functools import cache
from pathlib import Path

from invented import DAY, infant, record_of

from pipeline.ages import age_from_birth
from pipeline.config import Config, Settings
from pipeline.model import Age, Infant, Recording, Transcript
from pipeline.records import VisitRecord
from pipeline.run import derive
from pipeline.stages import ShippedStages
from pipeline.store import Store
from pipeline.store.events import InfantEntered, RecordingSealed, TranscriptMade, VisitOpened
from pipeline.vocabulary import load_vocabulary

NARRATION = (
    "She is seven weeks old. Mum is in the room. The anterior fontanelle is soft and flat. "
    "Temperature thirty eight point four degrees. The sternocleidomastoid is tight. "
    "Neck rotation to the right is full. Barlow and Ortolani are negative on both sides. "
    "The palate and the whatsit are tricky there. Left hip abduction is limited. Moro is present. "
    "Tummy time three times a day. Come back in two weeks."
)
RATE = 8000
BORN = date(2026, 10, 7)


def tone(seconds: float) -> bytes:
    """A tone as a wave file."""
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        samples = (int(6000 * math.sin(k * 2 * math.pi * 330 / RATE)) for k in range(int(seconds * RATE)))
        file.writeframes(b"".join(struct.pack("<h", sample) for sample in samples))
    return out.getvalue()


@cache
def stages() -> ShippedStages:
    """The program's own stages, made once for the whole suite."""
    return ShippedStages(load_vocabulary(), Config(home=Path("nowhere"), settings=Settings()))


def file_narration(
    home: Path, words: Transcript, name: str = "Wren", sound: bytes | None = None, *, known: bool = True
) -> str:
    """File an invented narration as a drafted visit; returns its id. Unless ``known``, no more than a name is."""
    sound = sound if sound is not None else tone(words.duration_ms / 1000)
    baby = infant(name, born=BORN, gestation_weeks=39) if known else infant(name)
    with Store(home) as store, store.writing() as unit:
        unit.append(InfantEntered(infant=baby), infant=baby.id)
    return _filed(home, words, baby, DAY, None, sound)


def file_course(home: Path, name: str, *visits: tuple[date, Transcript]) -> list[str]:
    """File invented visits of one infant, oldest first, each with a tone for its sound; returns their ids."""
    baby = infant(name, born=BORN, sex="female", gestation_weeks=39)
    with Store(home) as store, store.writing() as unit:
        unit.append(InfantEntered(infant=baby), infant=baby.id)
    return [
        _filed(home, words, baby, day, age_from_birth(BORN, day, 39), tone(words.duration_ms / 1000))
        for day, words in visits
    ]


def _filed(home: Path, words: Transcript, baby: Infant, day: date, age: Age | None, sound: bytes) -> str:
    sha256 = hashlib.sha256(sound).hexdigest()
    words = words.model_copy(update={"recording": hashlib.sha256((baby.code_name + words.id).encode()).hexdigest()})
    record = record_of(words, baby, day, age)
    recording = Recording(id=words.recording, sha256=sha256, media_type="audio/wav", duration_ms=words.duration_ms)
    source = home.parent / f"{words.recording[:12]}.wav"
    source.write_bytes(sound)
    with Store(home) as store, store.writing() as unit:
        blob = unit.blobs.keep(words.model_dump_json().encode())
        unit.blobs.keep_file(source, sha256)
        opened = VisitOpened(visit=record.visit, infant=baby.id, day=record.day, age=age)
        unit.append(opened, visit=record.visit, infant=baby.id)
        unit.append(RecordingSealed(recording=recording), visit=record.visit, infant=baby.id)
        made = TranscriptMade(recording=words.recording, sha256=blob, model_sha256="0" * 64, vocab_hash="0" * 64)
        unit.append(made, visit=record.visit, infant=baby.id)
    with Store(home) as store, store.writing() as unit:
        filed: VisitRecord = unit.record(record.visit)
        unit.put_draft(filed, derive(filed, stages()))
    return record.visit
