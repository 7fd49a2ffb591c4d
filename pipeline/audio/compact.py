"""A small copy of the sound that a browser plays and seeks in: Ogg/Opus (RFC 7845), mono, made to be embedded."""

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import av
import numpy as np
import numpy.typing as npt

from pipeline.audio.source import RATE

BIT_RATE = 24_000  # bit/s: speech stays clear, an hour takes about 11 MB


@dataclass(frozen=True, slots=True)
class CompactCopy:
    """Encoded sound. ``data`` are the bytes of a whole file of type ``media_type``."""

    data: bytes
    media_type: str
    duration_ms: int


def compact_copy(blocks: Iterable[npt.NDArray[np.int16]], keep: Sequence[tuple[int, int]] | None = None) -> CompactCopy:
    """Encode blocks of 16 kHz mono int16 samples (``Sound.blocks()``) as Ogg/Opus.

    keep: stretches (ms) outside of which the copy is silent: what was said about somebody else does not go along.

    Times in the copy are those of the samples, also where the source file had gaps or a start offset: a time of the
    transcript plays the same words here.
    """
    out = io.BytesIO()
    total = 0
    # One-second pages: the decoder can start anywhere near the place wanted.
    with av.open(out, mode="w", format="ogg", options={"page_duration": "1000000"}) as container:
        stream = container.add_stream("libopus", rate=RATE, layout="mono")
        stream.bit_rate = BIT_RATE
        stream.options = {"application": "voip"}
        for block in blocks:
            kept = block if keep is None else _silenced(block, total, keep)
            frame = av.AudioFrame.from_ndarray(kept.reshape(1, -1), format="s16", layout="mono")
            frame.sample_rate, frame.pts = RATE, total
            total += block.size
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return CompactCopy(out.getvalue(), "audio/ogg; codecs=opus", round(total / RATE * 1000))


def _silenced(block: npt.NDArray[np.int16], first: int, keep: Sequence[tuple[int, int]]) -> npt.NDArray[np.int16]:
    """A copy of the block, whose samples begin with number ``first``, with zeros outside the stretches."""
    kept = np.zeros_like(block)
    for start_ms, end_ms in keep:
        inside = slice(*(min(max(ms * RATE // 1000 - first, 0), block.size) for ms in (start_ms, end_ms)))
        kept[inside] = block[inside]
    return kept
