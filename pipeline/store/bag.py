"""A backup as one file: a BagIt bag (RFC 8493) in a zip archive, nothing packed.

    NAME/bagit.txt  NAME/bag-info.txt  NAME/manifest-sha256.txt  NAME/data/record.db  NAME/data/blobs/ab/...

Any zip program opens it and ``sha256sum -c manifest-sha256.txt`` checks it. Nothing is compressed (sound is already):
an archive can then never unpack to more than its own size.
"""

import hashlib
import io
import shutil
import zipfile
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath

from pipeline.errors import InputError, StoreError
from pipeline.files import FILE_MODE, blocks_of, write_atomic

NAME = "handspoken-backup"
DECLARED = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
MANIFEST, INFO, BAGIT = "manifest-sha256.txt", "bag-info.txt", "bagit.txt"
LONGEST_MANIFEST = 256 << 20  # bytes; a million files
_BLOCK = 1 << 20
_UNIX_FILE = 0o100000


def write_bag(to: Path, files: Iterable[tuple[str, Path]], info: dict[str, str]) -> tuple[int, int]:
    """Write ``files`` (name under data/, where it lies) as a bag to ``to``; returns their number and bytes.

    Written under a temporary name, synced and only then named: what was broken off is never taken for a backup. Raises
    InputError where a file cannot be read or ``to`` is there already, StoreError where the disk is full or refuses.
    """
    if to.exists() or to.is_symlink():
        raise InputError(f"{to}: is there already; name another file.")
    counted = [0, 0]
    write_atomic(to, _zip_blocks(files, info, counted))
    return counted[0], counted[1]


def _zip_blocks(files: Iterable[tuple[str, Path]], info: dict[str, str], counted: list[int]) -> Iterator[bytes]:
    out = _Pipe()
    lines: list[str] = []
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED, allowZip64=True) as bag:
        for name, path in files:
            digest, size = hashlib.sha256(), 0
            with bag.open(_entry(f"data/{name}"), "w", force_zip64=True) as entry:
                for block in blocks_of(path):
                    digest.update(block)
                    size += len(block)
                    entry.write(block)
                    yield out.taken()
            lines.append(f"{digest.hexdigest()}  data/{name}\n")
            counted[:] = counted[0] + 1, counted[1] + size
        told = info | {"Payload-Oxum": f"{counted[1]}.{counted[0]}"}
        bag.writestr(_entry(BAGIT), DECLARED)
        bag.writestr(_entry(INFO), "".join(f"{key}: {value}\n" for key, value in told.items()))
        bag.writestr(_entry(MANIFEST), "".join(lines))
    yield out.taken()


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(f"{NAME}/{name}", datetime.now(UTC).timetuple()[:6])
    entry.external_attr = (_UNIX_FILE | FILE_MODE) << 16
    return entry


class _Pipe(io.RawIOBase):
    """What the zip writer wrote and nobody took yet."""

    def __init__(self) -> None:
        self._blocks: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, data: "bytes | bytearray | memoryview") -> int:  # type: ignore[override]
        self._blocks.append(bytes(data))
        return len(data)

    def taken(self) -> bytes:
        """All of it; it is gone here then."""
        data = b"".join(self._blocks)
        self._blocks.clear()
        return data


def unpack_bag(bag: Path, to: Path) -> dict[str, str]:
    """Unpack the payload of a bag into the new folder ``to``, every file checked; returns what bag-info.txt tells.

    Raises InputError where it is no bag of this program, is damaged or cut off, or holds what a backup never holds:
    names that lead elsewhere, links, packed or doubled entries, files that the manifest does not list. What was
    unpacked until then is left to the caller, who owns ``to``.
    """
    try:
        with zipfile.ZipFile(bag) as archive:
            entries = _entries(archive, bag)
            info = _info(_text(archive, entries, INFO, bag))
            manifest = _manifest(_text(archive, entries, MANIFEST, bag), bag)
            if _text(archive, entries, BAGIT, bag).split("\n")[0] != DECLARED.split("\n")[0]:
                raise InputError(f"{bag}: is no backup of this program.")
            payload = {name: entry for name, entry in entries.items() if name.startswith("data/")}
            if payload.keys() != manifest.keys():
                odd = sorted(payload.keys() ^ manifest.keys())[0]
                raise InputError(f"{bag}: {odd!r} stands in the archive or in its manifest alone; use another backup.")
            _check_room(payload.values(), bag, to)
            for name, entry in payload.items():
                _unpack(archive, entry, to / name.removeprefix("data/"), manifest[name], bag)
            return info
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, NotImplementedError, RuntimeError) as error:
        raise InputError(f"{bag}: is damaged, cut off, or no backup ({error}); use another backup.") from error
    except (UnicodeError, ValueError, OverflowError) as error:
        raise InputError(f"{bag}: is damaged or no backup ({error}); use another backup.") from error


def _entries(archive: zipfile.ZipFile, bag: Path) -> dict[str, zipfile.ZipInfo]:
    """The entries by their name inside the bag, each one checked."""
    found: dict[str, zipfile.ZipInfo] = {}
    for entry in archive.infolist():
        name = entry.filename
        parts = PurePosixPath(name).parts
        kind = (entry.external_attr >> 16) & 0o170000
        plain = name.isprintable() and "\\" not in name and ":" not in name and "/".join(parts) == name
        if (
            not plain
            or parts[0] != NAME
            or len(parts) < 2
            or {"..", ".", "/"} & set(parts)
            or kind not in (0, _UNIX_FILE)
        ):
            raise InputError(
                f"{bag}: holds {name[:80]!r}, which no backup of this program holds; nothing was restored."
            )
        if entry.compress_type != zipfile.ZIP_STORED or entry.file_size != entry.compress_size or entry.flag_bits & 1:
            raise InputError(f"{bag}: {name[:80]!r} is packed or locked, which no backup of this program is.")
        inside = name.removeprefix(f"{NAME}/")
        if inside in found:
            raise InputError(f"{bag}: {inside[:80]!r} is in it twice; nothing was restored.")
        found[inside] = entry
    size = bag.stat().st_size
    if sum(entry.file_size for entry in found.values()) > size:
        raise InputError(f"{bag}: claims to hold more than its own size; nothing was restored.")
    return found


def _text(archive: zipfile.ZipFile, entries: dict[str, zipfile.ZipInfo], name: str, bag: Path) -> str:
    entry = entries.get(name)
    if entry is None or entry.file_size > LONGEST_MANIFEST:
        raise InputError(f"{bag}: is no backup of this program ({name} is missing or too large).")
    return archive.read(entry).decode("utf-8")


def _info(text: str) -> dict[str, str]:
    return {key: value for key, _, value in (line.partition(": ") for line in text.splitlines()) if value}


def _manifest(text: str, bag: Path) -> dict[str, str]:
    listed: dict[str, str] = {}
    for line in text.splitlines():
        digest, _, name = line.partition("  ")
        if len(digest) != 64 or not name or name in listed:
            raise InputError(f"{bag}: its manifest is damaged ({line[:80]!r}); use another backup.")
        listed[name] = digest
    return listed


def _check_room(entries: Iterable[zipfile.ZipInfo], bag: Path, to: Path) -> None:
    needed, free = sum(entry.file_size for entry in entries), shutil.disk_usage(to.parent).free
    if needed > free:
        raise InputError(f"{bag}: needs {needed >> 20} MiB, and {free >> 20} MiB are free in {to.parent}; make room.")


def _unpack(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, path: Path, sha256: str, bag: Path) -> None:
    digest = hashlib.sha256()

    def blocks() -> Iterator[bytes]:
        with archive.open(entry) as source:
            while block := source.read(_BLOCK):
                digest.update(block)
                yield block
        if digest.hexdigest() != sha256:
            raise InputError(f"{bag}: {entry.filename!r} is not what the manifest says; use another backup.")

    try:
        write_atomic(path, blocks())
    except StoreError as error:
        raise StoreError(f"{path.parent}: the disk is full or refuses to be written; nothing was restored.") from error
