"""A record in clear made an encrypted one, and back: new files beside the old, checked against everything, exchanged.

Broken off before the exchange, nothing was changed; broken off in it, the next command finishes it.
"""

from collections.abc import Callable
from pathlib import Path

from pipeline.capture import DONE, VISIT, hearer_at_work, live
from pipeline.config import Config, cache_folder
from pipeline.errors import InputError, NotFoundError, StoreError
from pipeline.files import private_folder, staged, write_atomic
from pipeline.hear import forget_chunks
from pipeline.record import FLAC, LOG, PCM
from pipeline.redaction.wipe import due, signed_files
from pipeline.stages import Stages
from pipeline.store import Store
from pipeline.store.blobs import Blobs
from pipeline.store.database import export, refuse_writes
from pipeline.store.reading import DATABASE
from pipeline.store.verify import Verified, blobs_of
from pipeline.store.verify import verify as verify_store
from pipeline.vault import KEYS, Growing, Keys, clear_blocks, read_grown, stored, use
from pipeline.vault.keyfile import Unlocked
from pipeline.vault.swap import converting, make_ready
from pipeline.visits import redraft

Step = Callable[[str], None]
SECRET = "nameless.key"
_IN_CLEAR_ONLY = ("notes", "hearer.log")
_DROPPED = (f"{DATABASE}-wal", f"{DATABASE}-shm")
_GROWN, _SEALED = (PCM, LOG, VISIT), (FLAC, DONE)
_FRAME = 1 << 20


def encrypt(config: Config, unlocked: Unlocked, *, step: Step) -> Verified:
    """Encrypt the record under new keys; what lay in clear is overwritten. Raises as ``_converted`` does."""
    if config.encrypted:
        raise InputError(f"{config.home}: is encrypted already.")
    use(unlocked.keys)
    found = _converted(config, unlocked, step)
    forget_chunks(cache_folder())
    return found


def decrypt(config: Config, stages: Stages, *, step: Step) -> Verified:
    """Bring the record back in clear, and write the notes' files again. Raises as ``_converted`` does, LockedError."""
    if not config.encrypted:
        raise InputError(f"{config.home}: is not encrypted.")
    found = _converted(config, None, step)
    step("notes")
    with Store(config.home) as store, staged() as batch, store.writing() as unit:
        visits = [visit.id for visit in store.visits() if visit.transcribed]
        redraft(unit, batch, config, stages, visits)
        for visit in visits:
            for name, data in signed_files(unit, visit):
                batch.write(config.notes / visit / name, data)
        batch.publish()
    return found


def _converted(config: Config, unlocked: Unlocked | None, step: Step) -> Verified:
    """The record under other keys, or in clear. Raises NotFoundError where there is none, InputError where a recording
    or a hearer is at work, StoreError where something is damaged or the disk is full; nothing was changed then."""
    home, keys = config.home, unlocked.keys if unlocked else None
    if not Store.exists(home):
        raise NotFoundError(f"{home}: holds no record yet.")
    if live(config) is not None or hearer_at_work(config):
        raise InputError(f"{home}: a recording is being made or heard; wait until that is done.")
    if due(config):
        raise InputError(f"{home}: a redaction was broken off; `handspoken redact` finishes it first.")
    # whoever wants to write waits, and is refused at the end
    with converting(home) as new, Store(home) as store, store.writing() as unit:
        if unlocked is not None:
            unlocked.write(new)
        step("database")
        export(store.path, store.keys, new / DATABASE, keys)
        step("stored files")
        _blobs(store, new, keys)
        _recordings(home, new, keys)
        if (home / SECRET).exists():
            write_atomic(new / SECRET, stored(clear_blocks(home / SECRET), new / SECRET, keys))
        with Store(new) as made:
            found = verify_store(made, new, None, head=store.head(), step=step)
        if fault := next((fault for fault in found.faults if fault.damage and not fault.no_sound), None):
            raise StoreError(f"{home}: {fault.where}: {fault.what}; nothing was changed. Run `handspoken verify`.")
        dropped = _DROPPED + (_IN_CLEAR_ONLY if keys else (KEYS,))
        make_ready(home, dropped, wipe=keys is not None)
        refuse_writes(unit.connection)
    return found


def _blobs(store: Store, new: Path, keys: Keys | None) -> None:
    blobs = Blobs(new / "blobs", keys)
    for sha256 in blobs_of(store.events()):
        if store.blobs.path(sha256).exists():  # a record may come without sound
            path = blobs.path(sha256)
            write_atomic(path, blobs.stored(store.blobs.blocks(sha256), path))


def _recordings(home: Path, new: Path, keys: Keys | None) -> None:
    """Open recordings and what is kept beside them, each file in the form that it has under these keys; a board is
    made again by whoever hears on."""
    for path in sorted(home.glob("recordings/*/*")):
        to = private_folder(new / path.parent.relative_to(home)) / path.name
        if path.name in _GROWN:
            growing = Growing(to, keys)
            data = read_grown(path)
            for at in range(0, len(data), _FRAME):
                growing.append(data[at : at + _FRAME])
            growing.sync()
            growing.close()
        elif path.name in _SEALED:
            write_atomic(to, stored(clear_blocks(path), to, keys))
