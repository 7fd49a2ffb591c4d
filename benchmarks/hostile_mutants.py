"""A corpus of small files of every kind that the program opens, and a seeded mutator that makes them hostile."""

import io
import json
import random
import struct
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import av
from av.audio.stream import AudioStream

from pipeline.audio import open_sound
from pipeline.resources import data_path

Rng = random.Random
RATE = 16_000
BAG = "handspoken-backup"
SOUNDS = {"wav": "pcm_s16le", "flac": "flac", "ogg": "libopus", "mp3": "libmp3lame"}
VTT = """WEBVTT

00:00:00.500 --> 00:00:03.000
The left <00:00:01.000>sternocleidomastoid is tight.

00:00:03.200 --> 00:00:06.000
Hips, no clunk. Rotation to the right seventy degrees.
"""
SETTINGS = 'jurisdiction = "allowed"\npractice = "Invented practice"\nlock_minutes = 10\npart_table = true\n'
OWN_WORDS = """# invented
- id: sternocleidomastoid
  label: sternocleidomastoid muscle
  misheard: {stern oh: heard for "sternocleidomastoid"}
  source: own words
  paired: true
  parent: neck
  plural: [s c ms]
"""
TEMPLATE = """<h1>{{ paper.title }}</h1>
{% for block in paper.blocks %}<h2>{{ block.title }}</h2>
{% for line in block.lines %}<p>{{ line }}</p>{% endfor %}
{% endfor %}<p>{{ paper.foot }}</p>
"""
_NUMBERS = (0, 1, -1, 0x7F, 0x80, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
_WORDS = (
    "../../../outside/x", "/etc/passwd", "\x00", "\u202e", "\ud800", "a" * 70_000, "9" * 5000, "-1", "1e999", "nan",
    "--> ", "<b>" * 5000, "{{", "[" * 3000, '{"a":' * 3000, "'''", "\\u0000", "99999999:00:00.000", "&#x110000;",
    "[&a [*a]]", "\n? [a]\n: b", "2026-99-99", "!!python/object/apply:os.system [ls]",
)  # fmt: skip
_LEAVES: tuple[Any, ...] = (
    None, True, -1, 2**63, 2**70, 1e308, "", "../../x", "/etc/passwd", "\x00", "a" * 70_000, "9999-12-31",
    "0001-01-01T00:00:00+23:59", [], {}, [[]], "0" * 26, "0" * 64,
)  # fmt: skip
_TEMPLATES = (
    "{{ paper.__class__.__mro__ }}", "{{ paper|attr('__init__')|attr('__globals__') }}", "{{ ''.__class__ }}",
    "{{ cycler.__init__.__globals__ }}", "{{ self._TemplateReference__context }}", "{{ lipsum.__globals__ }}",
    "{% include '../../../../etc/passwd' %}", "{% include 'parents.html.j2' %}", "{% include '/etc/passwd' %}",
    "{% import 'parents.html.j2' as p %}", "{% extends 'parents.html.j2' %}", "{{ 1/0 }}", "{{ 2**10**8 }}",
    "{{ 'a' * 10**10 }}", "{{ [0] * 10**10 }}", "{{ range(10**9)|list }}", "{{ '%1000000000d' % 1 }}",
    "{% for a in range(99999) %}{% for b in range(99999) %}x{% endfor %}{% endfor %}",
    "{{ '{:>1000000000}'.format(1) }}",
    "{% for a in range(99999) %}{% for b in range(99999) %}{% endfor %}{% endfor %}", "{{ 'a'.ljust(10**10) }}",
    "{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}", "{{ paper.title.none.none }}", "{{ 'x'|center(10**10) }}",
    "{{ paper.blocks[999] }}", "{{ {}['x']['y'] }}", "{{ none() }}", "{{ '{0.__class__}'.format(paper) }}", "{% if %}",
    "{% set ns = namespace(x=[1]) %}{% for i in range(40) %}{% set ns.x = ns.x + ns.x %}{% endfor %}{{ ns.x }}",
    "{{ paper.model_copy() }}", "{{ paper.model_fields_set.clear() }}", "{% debug %}", "{{ (" * 2000,
)  # fmt: skip


def sound(container: str, seconds: float = 3.0) -> bytes:
    """The beginning of an invented visit, in a container of its own."""
    blocks = open_sound(data_path("samples") / "wren.opus").blocks()
    samples = next(blocks)[: int(seconds * RATE)]
    out = io.BytesIO()
    with av.open(out, mode="w", format=container) as made:
        stream = made.add_stream(SOUNDS[container], rate=48_000 if container == "ogg" else RATE, layout="mono")
        assert isinstance(stream, AudioStream)
        resampler = av.AudioResampler(format=stream.format, layout="mono", rate=int(stream.rate))
        frame = av.AudioFrame.from_ndarray(samples.reshape(1, -1), format="s16", layout="mono")
        frame.sample_rate = RATE
        fifo = av.AudioFifo()
        for one in (*resampler.resample(frame), *resampler.resample(None)):
            fifo.write(one)
        size = stream.codec_context.frame_size or 1024
        while (piece := fifo.read(size, partial=True)) is not None:
            made.mux(stream.encode(piece))
        made.mux(stream.encode(None))
    return out.getvalue()


# ---------------------------------------------------------------- mutators: bytes in, bytes out


def flip(data: bytes, rng: Rng) -> bytes:
    """Up to 40 bits turned over, the head more often than the rest."""
    found = bytearray(data)
    for _ in range(rng.randint(1, 40)):
        end = len(found) if rng.random() < 0.6 else min(len(found), 200)
        if end:
            found[rng.randrange(end)] ^= 1 << rng.randrange(8)
    return bytes(found)


def cut_off(data: bytes, rng: Rng) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def splice(data: bytes, rng: Rng) -> bytes:
    """A stretch put in again elsewhere, many times over now and then, or taken out."""
    a, b = sorted((rng.randrange(len(data) + 1), rng.randrange(len(data) + 1)))
    at = rng.randrange(len(data) + 1)
    return rng.choice((data[:a] + data[b:], data[:at] + data[a:b] * rng.choice((1, 1, 3, 200)) + data[at:]))[:4_000_000]


def lie(data: bytes, rng: Rng) -> bytes:
    """A length field that is not true: two, four or eight bytes of the head become an extreme number."""
    found = bytearray(data)
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(max(1, min(len(found), 400) - 8))
        form = rng.choice(("<I", ">I", "<H", ">H", "<Q", ">Q"))
        number = rng.choice(_NUMBERS) % (1 << (8 * struct.calcsize(form)))
        found[at : at + struct.calcsize(form)] = struct.pack(form, number)
    return bytes(found)


def noise(data: bytes, rng: Rng) -> bytes:
    at = rng.randrange(len(data) + 1)
    return data[:at] + rng.randbytes(rng.choice((1, 16, 4000))) + data[at + rng.choice((0, 16, 4000)) :]


def words(data: bytes, rng: Rng) -> bytes:
    """A hostile word in the place of a word or a number of a text."""
    parts = data.decode(errors="surrogateescape").split(" ")
    for _ in range(rng.randint(1, 3)):
        parts[rng.randrange(len(parts))] = rng.choice(_WORDS)
    return " ".join(parts).encode(errors="surrogatepass")


def many(data: bytes, rng: Rng) -> bytes:
    """One line or one word very often: what is quadratic shows, within the seconds that a case has."""
    text = data.decode(errors="replace")
    one = rng.choice(text.splitlines() or [""])
    times = max(1, 150_000 // (len(one) + 1))  # some 20,000 words
    return rng.choice((text + f"\n{one}" * times, text + " word" * 20_000, text + f"{one} " * times)).encode()


BYTES = (flip, cut_off, splice, lie, noise)
TEXT = (flip, cut_off, splice, words, words, many, noise)


def as_json(data: bytes, rng: Rng) -> bytes:
    """Leaves of a JSON document replaced, taken out, doubled, or nested very deeply."""
    told = json.loads(data)
    for _ in range(rng.randint(1, 3)):
        holders = list(_holders(told))
        holder, key = rng.choice(holders)
        what = rng.random()
        if what < 0.65:
            holder[key] = rng.choice(_LEAVES)
        elif what < 0.8:
            del holder[key]
        elif isinstance(holder, list):
            holder.append(holder[key])
        else:
            holder[f"{key}x"] = holder[key]
    text = json.dumps(told)
    if rng.random() < 0.08:
        depth = rng.choice((100, 2000, 200_000))
        text = text.replace("null", "[" * depth + "]" * depth, 1)
    return text.encode()


def _holders(told: Any) -> Iterator[tuple[Any, Any]]:
    for key in list(told) if isinstance(told, dict) else range(len(told)):
        yield told, key
        if isinstance(told[key], dict | list):
            yield from _holders(told[key])


def as_zip(data: bytes, rng: Rng) -> bytes:
    """A backup packed anew with an entry that is hostile; its manifest agrees where that makes it worse."""
    import hashlib

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    out = io.BytesIO()
    manifest = f"{BAG}/manifest-sha256.txt"
    payload = sorted(name for name in files if "/data/" in name)
    kind = rng.choice(("altered", "altered", "altered", "name", "link", "bomb", "many", "twice", "manifest"))
    odd, attr, packed, content = "", 0, zipfile.ZIP_STORED, b"planted"
    if kind == "altered":
        name = rng.choice(payload)
        changed = rng.choice(BYTES)(files[name], rng)
        old, new = (hashlib.sha256(one).hexdigest().encode() for one in (files[name], changed))
        files[name], files[manifest] = changed, files[manifest].replace(old, new)
    elif kind == "manifest":
        files[manifest] = rng.choice(TEXT)(files[manifest], rng)
    elif kind == "name":
        odd = rng.choice(
            ("../../outside/x", "/tmp/outside/x", f"{BAG}/data/../../outside/x", f"{BAG}/data/a\\..\\x", "c:/x", "",
             f"{BAG}/data/" + "d/" * 3000 + "x", f"{BAG}/data/" + "n" * 4000, f"{BAG}/data/record.db/x", f"{BAG}/data")
        )  # fmt: skip
    elif kind == "link":
        odd, attr, content = f"{BAG}/data/blobs", rng.choice((0o120777, 0o010666, 0o060666)), b"../../outside"
    elif kind == "bomb":
        odd, packed = f"{BAG}/data/bomb", rng.choice((zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA))
        content = bytes(20_000_000)
    if odd and rng.random() < 0.5:
        files[manifest] += f"{hashlib.sha256(content).hexdigest()}  {odd.removeprefix(f'{BAG}/')}\n".encode()
    with zipfile.ZipFile(out, "w") as archive:
        for name, one in files.items():
            archive.writestr(name, one)
        if odd:
            info = zipfile.ZipInfo(odd)
            info.external_attr = attr << 16
            archive.writestr(info, content, compress_type=packed)
        if kind == "twice":
            archive.writestr(f"{BAG}/data/settings.toml", "x")
        if kind == "many":
            for n in range(20_000):
                archive.writestr(f"{BAG}/data/{n}", b"")
    return out.getvalue()


def as_template(data: bytes, rng: Rng) -> bytes:
    """Hostile expressions put into a template."""
    lines = data.decode(errors="replace").splitlines()
    for _ in range(rng.randint(1, 2)):
        lines.insert(rng.randrange(len(lines) + 1), rng.choice(_TEMPLATES))
    return "\n".join(lines).encode()


MUTATORS: dict[str, tuple[Callable[[bytes, Rng], bytes], ...]] = {
    **dict.fromkeys(SOUNDS, BYTES),
    "vtt": TEXT,
    "json": (as_json, as_json, as_json, flip, cut_off, words),
    "zip": (as_zip, as_zip, as_zip, *BYTES),
    "toml": TEXT,
    "yaml": TEXT,
    "keys": (as_json, as_json, flip, cut_off, noise),
    "template": (as_template, as_template, as_template, flip, words),
}


def mutant(kind: str, data: bytes, seed: int) -> tuple[str, bytes]:
    """What was done, and the hostile file: one mutator, and now and then a second on top. Given by the seed alone."""
    rng = Rng(seed)
    done: list[str] = []
    for _ in range(1 if rng.random() < 0.75 else 2):
        mutate = rng.choice(MUTATORS[kind] if not done else (flip, cut_off))
        data = mutate(data, rng) if data else data
        done.append(mutate.__name__)
    return "+".join(done), data


def read_corpus(folder: Path) -> dict[str, bytes]:
    """The whole files by kind."""
    return {path.suffix[1:]: path.read_bytes() for path in sorted(folder.glob("whole.*"))}
