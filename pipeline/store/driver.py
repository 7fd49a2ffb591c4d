"""The database's driver: SQLite as SQLCipher carries it, which reads files in clear and encrypted ones alike.

Nothing else here opens the database, so that none is ever opened without its key.
"""

from pathlib import Path
from urllib.parse import quote

from sqlcipher3 import dbapi2 as sqlite

from pipeline.store.faults import BUSY_MS
from pipeline.vault import Keys

__all__ = ["connect", "sqlite"]


def connect(path: Path, keys: Keys | None, *, writes: bool) -> sqlite.Connection:
    """A connection to the file at ``path``, under ``keys`` or in clear. Raises sqlite.Error.

    The key is given raw, so that opening costs no key derivation; the driver begins no transaction by itself.
    """
    mode = "rwc" if writes else "ro"
    connection = sqlite.connect(
        f"file:{quote(str(path.absolute()))}?mode={mode}", uri=True, isolation_level=None,
        cached_statements=512, timeout=BUSY_MS / 1000, check_same_thread=False,
    )  # fmt: skip
    connection.execute("PRAGMA cipher_log_level=NONE")  # it would write to stderr; its errors come anyway
    if keys is not None:
        connection.execute(f"PRAGMA key=\"x'{keys.database.hex()}'\"")
    connection.execute("PRAGMA temp_store=MEMORY")  # what is sorted never lies on a disk in clear
    return connection
