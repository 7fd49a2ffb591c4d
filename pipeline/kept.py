"""What is computed from the word lists and kept in the cache folder, so that a command need not compute it again.

A kept file's first line names the state of all that it comes from, its second the SHA-256 of the rest. It is made anew
where either does not fit. One file a name: a cache folder holds one state of the words.
"""

import hashlib
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

from pipeline import __version__
from pipeline.config import cache_folder
from pipeline.errors import HandspokenError
from pipeline.files import write_atomic

T = TypeVar("T")
FOLDER = "words"


def state_of(*sources: str | Path) -> str:
    """The hash of all that something comes from: texts, and files with their bytes (program text among them)."""
    digest = hashlib.sha256(__version__.encode())
    for source in sources:
        digest.update(b"\0")
        if isinstance(source, Path):
            with suppress(OSError):
                digest.update(source.read_bytes())
        else:
            digest.update(source.encode(errors="surrogatepass"))
    return digest.hexdigest()


def program_files(*modules: str) -> list[str | Path]:
    """The text of some modules ("repair/rules.py") as sources of a state: what they compile changes with it."""
    return [part for name in modules for part in (name, Path(__file__).parent / name)]


def word_files(roots: Iterable[Path]) -> list[str | Path]:
    """The vocabulary files of some folders as sources of a state, each after its name."""
    found: list[str | Path] = []
    for n, root in enumerate(roots):
        for path in sorted([*root.glob("*.yaml"), *root.glob("concepts/*.yaml"), *root.glob("cues/*.yaml")]):
            found += [f"{n} {path.relative_to(root).as_posix()}", path]
    return found


def kept(name: str, state: str, make: Callable[[], T], pack: Callable[[T], bytes], unpack: Callable[[bytes], T]) -> T:
    """What ``make`` gives, from the cache where that holds it in this state.

    ``unpack`` raises ValueError, TypeError or KeyError where it cannot read. Raises only what ``make`` raises: a cache
    that cannot be read or written costs time alone.
    """
    path = cache_folder() / FOLDER / f"{name}.json"
    with suppress(OSError, ValueError, TypeError, KeyError):
        head, digest, body = path.read_bytes().split(b"\n", 2)
        if head.decode() == state and digest.decode() == hashlib.sha256(body).hexdigest():
            return unpack(body)
    made = make()
    body = pack(made)
    with suppress(HandspokenError, OSError):
        write_atomic(path, f"{state}\n{hashlib.sha256(body).hexdigest()}\n".encode() + body)
    return made
