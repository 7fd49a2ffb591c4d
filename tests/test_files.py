"""Whole files or none."""

import errno
import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.errors import InputError, StoreError
from pipeline.files import blocks_of, check_place, private_folder, staged, write_atomic


def test_files_and_folders_belong_to_their_owner_alone(tmp_path: Path) -> None:
    folder = private_folder(tmp_path / "a" / "b")
    write_atomic(folder / "note.md", b"text")

    assert (folder / "note.md").read_bytes() == b"text"
    assert tuple(stat.S_IMODE(p.stat().st_mode) for p in (folder / "note.md", folder)) == (0o600, 0o700)
    assert [folder / "note.md"] == list(folder.iterdir())


def test_a_full_disk_leaves_everything_as_it_was(tmp_path: Path) -> None:
    def breaks_off() -> Iterator[bytes]:
        yield b"half"
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    (tmp_path / "a").write_bytes(b"old")

    with staged() as batch:
        batch.write(tmp_path / "a", b"new")
        with pytest.raises(StoreError, match="No space left"):
            batch.write(tmp_path / "b", breaks_off())

    assert (tmp_path / "a").read_bytes() == b"old"
    assert [tmp_path / "a"] == list(tmp_path.iterdir())


def test_what_was_not_published_is_removed(tmp_path: Path) -> None:
    with staged() as batch:
        batch.write(tmp_path / "a", b"new")

    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_place_of_a_folder_is_said(tmp_path: Path) -> None:
    (tmp_path / "a").touch()

    with pytest.raises(InputError, match="folder"):
        private_folder(tmp_path / "a")
    with pytest.raises(InputError, match="folder"):
        private_folder(tmp_path / "a" / "b")
    for place in (tmp_path / "a", tmp_path / "a" / "b"):
        with pytest.raises(InputError, match="is a file"):
            check_place(place)
    check_place(tmp_path / "new" / "deeper")
    assert [tmp_path / "a"] == list(tmp_path.iterdir())


def test_blocks_give_the_file_again(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(bytes(range(256)) * 10)

    assert bytes(range(256)) * 10 == b"".join(blocks_of(tmp_path / "a", size=100))
    with pytest.raises(InputError, match="cannot be read"):
        list(blocks_of(tmp_path / "missing"))
