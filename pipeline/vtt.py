"""WebVTT in and out (W3C Candidate Recommendation, 4 April 2019): a cue an utterance, word times as timestamp tags."""

import hashlib
import html
import re
from pathlib import Path

import webvtt
from webvtt.errors import MalformedCaptionError, MalformedFileError

from pipeline.errors import InputError
from pipeline.model import SpeechModel, Transcript, Word

MAX_BYTES = 64 * 1024 * 1024
LONGEST_MS = 100 * 3_600_000  # no visit lasts a hundred hours; larger numbers fit in no database
MOST_WORDS = 250_000  # a day and a night of speech at 170 words a minute
_STAMP = re.compile(r"<(?:(\d{1,6}):)?(\d{2}):(\d{2})\.(\d{3})>")
_TAG = re.compile(r"</?[a-zA-Z][^>\n]{0,200}>")


def read_vtt(path: Path) -> Transcript:
    """Read a WebVTT file. Words without a time of their own get one by interpolation and ``timing = cue``.

    Raises InputError where the file is missing, too large, not UTF-8 or not WebVTT.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise InputError(f"{path}: larger than {MAX_BYTES // 2**20} MiB, so it is not read as a transcript.")
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        what = f"{path}: not UTF-8 text (byte {error.start}); save the transcript as UTF-8 WebVTT."
        raise InputError(what) from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}).") from error
    return parse_vtt(text, name=str(path))


def parse_vtt(text: str, *, name: str = "transcript") -> Transcript:
    """Parse WebVTT text into a transcript; the cues are its utterances. Raises InputError."""
    if not text.lstrip().startswith("WEBVTT"):
        raise InputError(f"{name}: not a WebVTT file (its first line must begin with WEBVTT).")
    try:
        captions = webvtt.from_string(text).captions
    except (MalformedFileError, MalformedCaptionError, ValueError, IndexError) as error:
        raise InputError(f"{name}: not readable as WebVTT: {error}") from error
    words: list[Word] = []
    utterances: list[tuple[int, int]] = []
    clock = 0
    for caption in captions:
        start = max(clock, _ms(caption.start_in_seconds, caption.start))
        end = max(start + 1, _ms(caption.end_in_seconds, caption.end))
        if end > LONGEST_MS:
            raise InputError(f"{name}: a cue ends at {caption.end[:20]}, later than any visit; check its times.")
        cue = _cue_words("\n".join(caption.lines), len(words), start, end)
        if cue:
            utterances.append((len(words), len(words) + len(cue)))
            words.extend(cue)
        if len(words) > MOST_WORDS:
            raise InputError(f"{name}: more than {MOST_WORDS:,} words, more than any visit; check what made it.")
        clock = start
    digest = hashlib.sha256(text.encode()).hexdigest()
    return Transcript(
        id=digest[:26],
        recording=digest,
        model=SpeechModel(name="given transcript", sha256=digest),
        words=tuple(words),
        utterances=tuple(utterances),
        duration_ms=max((w.end_ms for w in words), default=0),
    )


def _ms(whole_seconds: int, stamp: str) -> int:
    return whole_seconds * 1000 + int(stamp.rpartition(".")[2] or 0)


def _cue_words(raw: str, first: int, start: int, end: int) -> list[Word]:
    """Words of one cue: between timestamp tags by the tags, else evenly by length of the written word."""
    parts: list[tuple[int | None, str]] = []
    at, time = 0, None
    for stamp in _STAMP.finditer(raw):
        parts.append((time, raw[at : stamp.start()]))
        h, m, s, ms = stamp.groups()
        time, at = ((int(h or 0) * 60 + int(m)) * 60 + int(s)) * 1000 + int(ms), stamp.end()
    parts.append((time, raw[at:]))
    tokens = [(t, w) for t, part in parts for w in html.unescape(_TAG.sub("", part)).split()]
    timed = bool(tokens) and any(t is not None for t, _ in tokens)
    weights = [len(w) + 1 for _, w in tokens]
    total, passed, words = sum(weights) or 1, 0, []
    later = _next_later([start if time is None else time for time, _ in tokens])
    for k, ((time, text), weight) in enumerate(zip(tokens, weights, strict=True)):
        even = (start + (end - start) * passed // total, start + (end - start) * (passed + weight) // total)
        passed += weight
        w0, w1 = even
        if timed:
            w0 = time if time is not None else start
            w1 = max(end, w0 + 1) if (following := later[k]) is None else following
        words.append(
            Word(i=first + k, text=text, start_ms=w0, end_ms=max(w1, w0 + 1), timing="word" if timed else "cue")
        )
    return words


def _next_later(times: list[int]) -> list[int | None]:
    """For each time the first one after it that is greater, else None; linear, however long a cue is."""
    found: list[int | None] = [None] * len(times)
    rising: list[int] = []
    for k in range(len(times) - 1, -1, -1):
        while rising and rising[-1] <= times[k]:
            rising.pop()
        found[k] = rising[-1] if rising else None
        rising.append(times[k])
    return found


def write_vtt(transcript: Transcript) -> str:
    """Write a transcript as WebVTT. Text is escaped; ``-->`` in speech cannot end a cue header."""
    blocks = ["WEBVTT\n"]
    for i0, i1 in transcript.utterances:
        words = transcript.words[i0:i1]
        start, end = words[0].start_ms, max(w.end_ms for w in words)
        pieces = []
        for k, word in enumerate(words):
            tag = f"<{stamp(word.start_ms)}>" if k and word.timing == "word" else ""
            pieces.append(tag + html.escape(word.text, quote=False))
        blocks.append(f"{stamp(start)} --> {stamp(max(end, start + 1))}\n{' '.join(pieces)}\n")
    return "\n".join(blocks)


def stamp(ms: int) -> str:
    """A WebVTT timestamp: ``hh:mm:ss.ttt``."""
    seconds, ms = divmod(ms, 1000)
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.{ms:03d}"
