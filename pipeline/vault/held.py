"""The keys held between commands: in the user's run-time folder, which lies in memory, until closed or idle.

The folder is that of the XDG base directory specification (``XDG_RUNTIME_DIR``): the user's alone, gone at sign-out.
Where there is none in memory, nothing is held: keys on a disk would make the passphrase worthless.
"""

import json
import os
import stat
import time
from contextlib import suppress
from pathlib import Path

from pipeline.errors import InputError
from pipeline.files import private_folder, write_atomic
from pipeline.vault.keys import Keys, keys_from_text

RUNTIME_VARIABLE = "XDG_RUNTIME_DIR"
_MEMORY = ("tmpfs", "ramfs")
_CLOCK_S = 5.0  # a file from the future by more than this: the clock was set back


def hold(keys: Keys, minutes: int) -> Path:
    """Hold the keys until nothing has used them for so many minutes. Raises InputError where that cannot be."""
    folder = private_folder(_runtime_folder() / "handspoken")
    path = folder / keys.id
    write_atomic(path, json.dumps({"minutes": minutes, "keys": keys.as_text()}).encode())
    return path


def held(key_id: str) -> Keys | None:
    """The keys as they are held, which counts as a use; None where they are not, or were idle for too long."""
    with suppress(InputError, OSError, ValueError, KeyError, TypeError):
        path = _runtime_folder() / "handspoken" / key_id
        told = json.loads(path.read_bytes())
        idle = time.time() - path.stat().st_mtime
        if not -_CLOCK_S <= idle <= 60 * float(told["minutes"]):
            path.unlink(missing_ok=True)
            return None
        keys = keys_from_text(told["keys"])
        os.utime(path)
        return keys if keys.id == key_id else None
    return None


def let_go(key_id: str) -> bool:
    """Hold the keys no longer; whether they were held."""
    with suppress(InputError, OSError):
        (_runtime_folder() / "handspoken" / key_id).unlink()
        return True
    return False


def _runtime_folder() -> Path:
    named = os.environ.get(RUNTIME_VARIABLE, "")
    folder = Path(named)
    if not named or not folder.is_absolute() or not folder.is_dir():
        raise InputError(
            f"this session has no run-time folder ({RUNTIME_VARIABLE}) to hold the keys in; each command asks for the "
            "passphrase, or takes it from HANDSPOKEN_PASSPHRASE."
        )
    found = folder.stat()
    if found.st_uid != os.getuid() or stat.S_IMODE(found.st_mode) & 0o077:
        raise InputError(f"{folder}: is open to others, so the keys are not held there.")
    if _file_system(folder) not in _MEMORY:
        raise InputError(f"{folder}: does not lie in memory, so the keys are not held there.")
    return folder


def _file_system(folder: Path) -> str:
    """The kind of file system that a folder is on, by the list that Linux gives; "" where that is not known."""
    best, kind = -1, ""
    inside = folder.resolve()
    with suppress(OSError):
        for line in Path("/proc/self/mounts").read_text(encoding="utf-8", errors="replace").splitlines():
            _, point, found, *_ = line.split(" ")
            mount = Path(point.encode().decode("unicode_escape"))
            if inside.is_relative_to(mount) and len(mount.parts) >= best:
                best, kind = len(mount.parts), found
    return kind
