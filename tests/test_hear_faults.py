"""A full disk and a truncated model: one clear line, and nothing half-written is ever left or taken for whole."""

import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.errors import ModelError
from pipeline.hear import Hearer, ModelFiles, embedded_model
from pipeline.vocabulary import load_vocabulary

ROOT = Path(__file__).parent.parent
LIMIT = 1_000_000  # bytes a file may have in the child

JOIN = (
    "from pathlib import Path; import sys; from pipeline.hear import embedded_model; embedded_model(Path(sys.argv[1]))"
)
KEEP = """
from pathlib import Path
import sys
from pipeline.hear.keep import ChunkResult, Kept
from pipeline.model import Chunk, ChunkKey, Word
key = ChunkKey(pcm_sha256="0", model_sha256="1", settings_hash="2", vocab_hash="3")
words = tuple(Word(i=i, text="word" * 40, start_ms=i, end_ms=i + 1, p=1.0) for i in range(9000))
Kept(Path(sys.argv[1])).put(ChunkResult(key=key, chunk=Chunk(start_ms=0, end_ms=1), words=words))
"""


def limited() -> None:
    """As a full disk does: writing beyond the limit fails instead of ending the process."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (LIMIT, LIMIT))


@pytest.mark.skipif(os.name != "posix", reason="limits of the process are set as POSIX does")
@pytest.mark.parametrize(("code", "error"), [(JOIN, "ModelError"), (KEEP, "StoreError")])
def test_a_full_disk_is_told_and_leaves_nothing(code: str, error: str, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "kept")],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=limited,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 1
    last = done.stderr.strip().splitlines()[-1]
    assert last.startswith(f"pipeline.errors.{error}: ")
    assert "File too large" in last
    left = [p.relative_to(tmp_path) for p in tmp_path.rglob("*") if p.is_file()]
    assert left == []


@pytest.mark.model
def test_a_truncated_model_of_ones_own_is_refused_in_one_line(tmp_path: Path) -> None:
    whole = embedded_model()
    for name in ("config.json", "tokenizer.json", "vocabulary.txt"):
        (tmp_path / name).write_bytes((whole.folder / name).read_bytes())
    with (whole.folder / "model.bin").open("rb") as file:
        (tmp_path / "model.bin").write_bytes(file.read(30_000_000))

    with pytest.raises(ModelError, match="cannot be loaded") as caught:
        Hearer(ModelFiles(tmp_path, "cut", "0" * 64), load_vocabulary()).load()
    assert "\n" not in str(caught.value)
