"""The database's own errors as one clear sentence that says what to do."""

from pathlib import Path

from pipeline.errors import StoreError

BUSY_MS = 20_000  # how long a second program waits for the first to finish writing


def told(path: Path, cause: BaseException | None) -> StoreError:
    """What the database at ``path`` said, as a StoreError."""
    said = str(cause)
    if "locked" in said or "busy" in said:
        hint = "another program is writing to it; try again when that is done"
    elif "full" in said or "disk I/O" in said:
        hint = "the disk is full or failing; free some space, then run it again"
    elif "readonly" in said or "unable to open" in said:
        hint = "it may not be written; check the permissions of the folder"
    elif "malformed" in said or "not a database" in said:
        hint = "the file is damaged, or under other keys; restore a backup"
    else:
        hint = "nothing was changed"
    return StoreError(f"{path}: {said}: {hint}.")
