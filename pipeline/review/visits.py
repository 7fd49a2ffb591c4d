"""Visits on record as the pages show them, and the sound they play."""

from io import BufferedReader

from pipeline.config import Config
from pipeline.errors import NotFoundError
from pipeline.records import VisitOnRecord
from pipeline.store import Store


def visits(config: Config) -> list[VisitOnRecord]:
    """Every visit, newest first; none where there is no record yet. Raises StoreError."""
    if not Store.exists(config.home):
        return []
    with Store(config.home) as store:
        return store.visits()


def path_of(config: Config, visit: str) -> str:
    """Where the page of a visit is; its id may be given in small letters. Raises NotFoundError."""
    known = next((v.id for v in visits(config) if v.id == visit.strip().upper()), None)
    if known is None:
        raise NotFoundError(f"visit {visit}: the record holds no such visit; leave the id out to see them all.")
    return f"/visits/{known}"


def sound_of(config: Config, visit: str) -> tuple[BufferedReader, str]:
    """The opened recording of a visit and its media type. Raises NotFoundError where it has none that sounds or it is
    missing, StoreError where it was altered."""
    if Store.exists(config.home):
        with Store(config.home) as store:
            recording = store.visit(visit).recording  # not the words: this is asked for each stretch that is played
            if recording and recording.gone:
                told = f"visit {visit}: its sound was {recording.gone}; its lines keep their words and times."
                raise NotFoundError(told)
            if recording and recording.spoken:
                try:
                    return store.blobs.open(recording.sha256), recording.media_type
                except OSError as error:
                    told = f"visit {visit}: its recording is missing from the record; restore a backup."
                    raise NotFoundError(told) from error
    raise NotFoundError(f"visit {visit}: there is no sound of it on record.")
