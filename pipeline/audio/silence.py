"""A recording with stretches of silence, in the place of one whose stretches are destroyed: FLAC, 16 kHz mono."""

import io
from collections.abc import Iterable, Sequence

import av
import numpy as np
import numpy.typing as npt

from pipeline.audio.source import RATE

FLAC_TYPE = "audio/flac"


def silenced(blocks: Iterable[npt.NDArray[np.int16]], destroyed: Sequence[tuple[int, int]]) -> bytes:
    """Encode blocks of 16 kHz mono int16 samples (``Sound.blocks()``) as FLAC, with zeros in these stretches (ms).

    Times are those of the samples, so every other word stays where it was. Nothing of the file as it came is taken over
    but its samples: no tags, no pictures, no other channels.
    """
    out, at = io.BytesIO(), 0
    with av.open(out, mode="w", format="flac") as container:
        stream = container.add_stream("flac", rate=RATE, layout="mono")
        for block in blocks:
            kept = block.copy()
            for start_ms, end_ms in destroyed:
                # one sample more at the end: a stretch ends in the middle of one
                low, high = start_ms * RATE // 1000 - at, -(-end_ms * RATE // 1000) - at
                kept[min(max(low, 0), kept.size) : min(max(high, 0), kept.size)] = 0
            frame = av.AudioFrame.from_ndarray(kept.reshape(1, -1), format="s16", layout="mono")
            frame.sample_rate, frame.pts = RATE, at
            at += kept.size
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return out.getvalue()
