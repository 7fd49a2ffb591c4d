"""What a file's own header says about its length, so that a recording cut off early is noticed.

Decoders read a cut webm, ogg, mp3 or wav to its last byte without a word. Sources: RIFF/WAVE chunk layout, Microsoft
multimedia data standards 1991 (from memory); Ogg page header, RFC 3533 section 6; Xing/Info and VBRI tags of MP3
(de facto, from memory).
"""

from pathlib import Path

from pipeline.vault import reading

_TOLERANCE_S = 0.5  # headers round; encoders pad the last frame
_STREAMED = 0xFFFFFFFF  # size written by programs that cannot know it (pipes): says nothing
_HEAD = 1 << 18
_TAIL = 1 << 17


def header_fault(path: Path, container: str) -> str:
    """What the bytes alone tell of a tear (wav, ogg), else "". ``container`` as the decoder names it."""
    if container == "wav":
        return _wav_fault(path)
    if container == "ogg":
        return _ogg_fault(path)
    return ""


def length_fault(path: Path, container: str, header_s: float | None, decoded_s: float) -> str:
    """Compare the length that the header promises with what was decoded; "" where nothing is missing or promised."""
    if header_s is None or container == "aac" or (container == "mp3" and not _mp3_has_length(path)):
        return ""  # such a length is only estimated from the bit rate
    missing = header_s - decoded_s
    if missing <= _TOLERANCE_S:
        return ""
    return f"cut off: its header promises {header_s:.1f} s, {decoded_s:.1f} s are there"


def _wav_fault(path: Path) -> str:
    with reading(path) as file:
        size = file.seek(0, 2)
        file.seek(0)
        if file.read(4) != b"RIFF":
            return ""
        file.seek(12)
        while len(head := file.read(8)) == 8:
            length = int.from_bytes(head[4:], "little")
            start = file.tell()
            if head[:4] == b"data":
                if length == 0 and size > start:
                    return "never closed by its recorder: the header holds no length, so the end may be missing"
                if length != _STREAMED and start + length > size:
                    return f"cut off: {start + length - size} of {length} bytes of sound are missing"
                return ""
            file.seek(length + (length & 1), 1)
    return ""


def _ogg_fault(path: Path) -> str:
    """The last page of a finished Ogg stream carries the end-of-stream flag and is complete."""
    with reading(path) as file:
        size = file.seek(0, 2)
        file.seek(max(0, size - _TAIL))
        tail = file.read()
    page = tail.rfind(b"OggS")
    if page < 0 or len(tail) < page + 27:
        return "cut off: its last page is incomplete"
    table = tail[page + 27 : page + 27 + tail[page + 26]]
    if len(table) < tail[page + 26] or len(tail) < page + 27 + len(table) + sum(table):
        return "cut off: its last page is incomplete"
    return "" if tail[page + 5] & 4 else "cut off, or its recorder never closed it: the end of the stream is not marked"


def _mp3_has_length(path: Path) -> bool:
    with reading(path) as file:
        head = file.read(_HEAD)
    return any(tag in head for tag in (b"Xing", b"Info", b"VBRI"))
