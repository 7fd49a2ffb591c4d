"""The recogniser itself: ctranslate2 called directly, so that every pass over a chunk shares one encoding.

The only importer of ctranslate2 and faster_whisper's feature extractor and tokenizer. Loads a folder, never a name:
no network is touched.
"""

import os
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.errors import ModelError
from pipeline.hear.models import ModelFiles

os.environ.setdefault("HF_HUB_OFFLINE", "1")

RATE = 16_000
FRAME_MS = 20  # one encoder position
WINDOW_FRAMES = 3000  # 30 s of 10 ms feature frames: what the model was trained on
SHORT_FRAMES = 1500  # half of it is encoded in a third of the time; the model then repeats itself now and then
FREE_RECIPE = "beam 5, no time tokens, 28 s; version 1"  # names the settings of a pass without hotwords
_TEMPERATURES = (0.0, 0.2, 0.4, 0.6, 0.8)
_BEAM = 5
HOT_BEAM = 2  # of a pass with hotwords: as good as 5 (benchmarks/hearing.py, tuned voices), and a sixth quicker
_MAX_RATIO = 2.4  # zlib: more is a loop (threshold of the Whisper paper, section 4.5)
_MIN_LOG_P = -1.0  # mean per token; the same source
_MAX_LENGTH = 448
_MAX_TOKENS = 9  # a second
MAX_PREFIX = _MAX_LENGTH // 2 - 1  # tokens; the rest is room to write

Samples = npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class Encoding:
    """One chunk as the model sees it. ``frames`` counts 10 ms feature frames of real sound."""

    value: Any = field(repr=False)
    frames: int


@dataclass(frozen=True, slots=True)
class Decoded:
    """Text tokens of one pass, without special and time tokens; mean log probability; whether it looks like a loop."""

    tokens: tuple[int, ...]
    log_p: float
    ratio: float
    no_speech: float
    temperature: float


@dataclass(frozen=True, slots=True)
class Alignment:
    """Per token of a text: its probability, and the first encoder frame (20 ms) that it was laid on."""

    p: npt.NDArray[np.float64]
    start: npt.NDArray[np.int64]
    end_frame: int


class Engine:
    """One loaded model. ``device`` is cpu, cuda or auto; on the CPU int8, on a GPU float16.

    ``between`` is called before each step of the model: what must not wait for a whole chunk is done there.
    """

    def __init__(
        self,
        model: ModelFiles,
        *,
        device: str = "auto",
        threads: int = 0,
        language: str = "en",
        between: Callable[[], None] | None = None,
    ) -> None:
        import ctranslate2
        import tokenizers
        from faster_whisper.feature_extractor import FeatureExtractor
        from faster_whisper.tokenizer import Tokenizer
        from faster_whisper.transcribe import get_suppressed_tokens

        self._storage = ctranslate2.StorageView
        self._between = between or (lambda: None)
        if device == "auto":
            device = "cuda" if ctranslate2.get_cuda_device_count() else "cpu"
        try:
            self._whisper = ctranslate2.models.Whisper(
                str(model.folder),
                device=device,
                compute_type="float16" if device == "cuda" else "int8",
                intra_threads=threads or os.cpu_count() or 1,
            )
            tokens = tokenizers.Tokenizer.from_file(str(model.folder / "tokenizer.json"))
        except Exception as error:  # both libraries raise bare RuntimeError, ValueError and Exception
            raise ModelError(f"{model.folder}: the speech model cannot be loaded ({error}).") from error
        self._features = FeatureExtractor(feature_size=self._whisper.n_mels)
        self.multilingual = bool(self._whisper.is_multilingual)
        self._tokenizer = Tokenizer(tokens, self.multilingual, task="transcribe", language=language)
        self._suppressed = list(get_suppressed_tokens(self._tokenizer, [-1]))
        self._set_seed = ctranslate2.set_random_seed

    def encode(self, pcm: Samples) -> Encoding:
        """Encode at most 30 s of 16 kHz mono int16 samples."""
        return self._encode(pcm, WINDOW_FRAMES)

    def _encode(self, pcm: Samples, window: int) -> Encoding:
        self._between()
        features = self._features(pcm.astype(np.float32) / 32768.0)[:, :window]
        frames = features.shape[1]
        features = np.pad(features, ((0, 0), (0, window - frames)))
        storage = self._storage.from_array(np.ascontiguousarray(features[None], dtype=np.float32))
        return Encoding(self._whisper.encode(storage), min(frames, len(pcm) // 160))

    def tokens(self, text: str) -> list[int]:
        """Tokens of a text as it stands; a word inside a sentence begins with a space."""
        return list(self._tokenizer.encode(text))

    def text(self, tokens: Sequence[int]) -> str:
        return str(self._tokenizer.decode(list(tokens)))

    def _prompt(self, prefix: Sequence[int]) -> list[int]:
        head = [self._tokenizer.sot_prev, *prefix] if prefix else []
        return [*head, *self._tokenizer.sot_sequence]

    def glance(self, pcm: Samples, doubt: Callable[[Sequence[int]], bool]) -> tuple[Encoding, Decoded]:
        """A short stretch at first sight: half a window where that is enough, the likeliest text and no second try.

        ``doubt``: whether a text is to be decoded again on a whole window.
        """
        longest = min(_MAX_LENGTH, 16 + len(pcm) * _MAX_TOKENS // RATE)
        if len(pcm) < SHORT_FRAMES * 160:
            encoding = self._encode(pcm, SHORT_FRAMES)
            decoded = self._generate(encoding, (), _TEMPERATURES[0], longest)
            if decoded.ratio <= _MAX_RATIO and not doubt(decoded.tokens):
                return encoding, decoded
        encoding = self.encode(pcm)
        return encoding, self._generate(encoding, (), _TEMPERATURES[0], longest)

    def decode(self, encoding: Encoding, prefix: Sequence[int] = ()) -> Decoded:
        """Beam search for the likeliest text; warmer only where it loops or is very unsure.

        ``prefix`` holds tokens of words likely to be said (at most MAX_PREFIX).
        """
        tries: list[Decoded] = []
        for temperature in _TEMPERATURES:
            tries.append(self._generate(encoding, prefix, temperature, _MAX_LENGTH))
            if tries[-1].ratio <= _MAX_RATIO and tries[-1].log_p >= _MIN_LOG_P:
                return tries[-1]
        return max((t for t in tries if t.ratio <= _MAX_RATIO), key=lambda t: t.log_p, default=tries[0])

    def _generate(self, encoding: Encoding, prefix: Sequence[int], temperature: float, longest: int) -> Decoded:
        self._between()
        # Without time tokens the model writes on to the end of the chunk; with them it may stop at a sentence's start.
        prompt = [*self._prompt(prefix[:MAX_PREFIX]), self._tokenizer.no_timestamps]
        self._set_seed(7)  # sampling must give the same text for the same sound
        how: dict[str, Any] = (
            {"beam_size": 1, "num_hypotheses": 5, "sampling_topk": 0, "sampling_temperature": temperature}
            if temperature
            else {"beam_size": HOT_BEAM if prefix else _BEAM}
        )
        result = self._whisper.generate(
            encoding.value,
            [prompt],
            max_length=longest,
            return_scores=True,
            return_no_speech_prob=True,
            suppress_tokens=self._suppressed,
            **how,
        )[0]
        ids = result.sequences_ids[0]
        text = tuple(token for token in ids if token < self._tokenizer.eot)
        log_p = result.scores[0] * len(ids) / (len(ids) + 1)
        return Decoded(text, log_p, compression(self.text(text)), result.no_speech_prob, temperature)

    def align(self, encoding: Encoding, tokens: Sequence[int], prefix: Sequence[int] = ()) -> Alignment:
        """Lay a given text on the sound: the probability of each token, and when it begins."""
        if not tokens:
            return Alignment(np.zeros(0), np.zeros(0, dtype=np.int64), 0)
        self._between()
        result = self._whisper.align(
            encoding.value, self._prompt(prefix[:MAX_PREFIX]), [list(tokens)], encoding.frames, median_filter_width=7
        )[0]
        pairs = np.asarray(result.alignments, dtype=np.int64).reshape(-1, 2)
        start = np.full(len(tokens) + 1, -1, dtype=np.int64)
        for token, frame in pairs[::-1]:
            if token <= len(tokens):
                start[token] = frame
        last = int(pairs[-1, 1]) if len(pairs) else 0
        for k in range(len(start) - 1, -1, -1):  # a token that no frame fell on begins with the next one
            start[k] = last if start[k] < 0 else start[k]
            last = int(start[k])
        return Alignment(np.asarray(result.text_token_probs, dtype=np.float64), start[:-1], int(start[-1]))

    def language(self, encoding: Encoding) -> tuple[str, float, float]:
        """The likeliest language, its probability, and that of English; ("en", 1, 1) for an English-only model."""
        if not self.multilingual:
            return "en", 1.0, 1.0
        ranked = [(name.strip("<|>"), float(p)) for name, p in self._whisper.detect_language(encoding.value)[0]]
        return ranked[0][0], ranked[0][1], dict(ranked).get("en", 0.0)


def compression(text: str) -> float:
    """Bytes of a text over bytes after zlib: high where it repeats itself."""
    data = text.encode()
    return len(data) / len(zlib.compress(data)) if data else 0.0
