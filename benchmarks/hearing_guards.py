"""What hearing makes of sound that holds no English speech to be noted: other languages, music, many talkers at once.

    python benchmarks/hearing_guards.py [--work FOLDER] [--to FILE]

Needs espeak-ng and flite (Debian). ``kept``: words left in the transcript (the fewer the better); ``dropped``: why.
The limits of the language guard were set on de and es; the others were only measured.
"""

import argparse
import json
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from hearing_speech import Samples, babble, samples, speak, speak_file

from pipeline.audio import RATE
from pipeline.config import cache_folder
from pipeline.errors import InputError
from pipeline.hear import Cutter, Hearer, embedded_model
from pipeline.vocabulary import load_vocabulary

SAID = {
    "de": "Gestern hat er die ganze Nacht geweint und wollte überhaupt nicht trinken. Ich weiß nicht mehr weiter.",
    "es": "Anoche lloró toda la noche y no quiso comer nada. Ya no sé qué hacer con él.",
    "fr": "Hier il a pleuré toute la nuit et il ne voulait rien boire. Je ne sais plus quoi faire.",
    "pl": "Wczoraj płakał całą noc i w ogóle nie chciał pić. Nie wiem już, co robić.",
    "tr": "Dün bütün gece ağladı ve hiç içmek istemedi. Artık ne yapacağımı bilmiyorum.",
    "it": "Ieri ha pianto tutta la notte e non voleva bere niente. Non so più che cosa fare.",
    "ro": "Ieri a plâns toată noaptea și nu a vrut deloc să bea. Nu mai știu ce să fac.",
    "pt": "Ontem ele chorou a noite toda e não quis beber nada. Já não sei o que fazer.",
}


def music(seconds: int) -> Samples:
    """Broken chords of decaying harmonics, with a beat under them."""
    out: npt.NDArray[np.float64] = np.zeros(seconds * RATE)
    for k, note in enumerate(np.tile([0, 4, 7, 12, 9, 5, 7, 2], seconds)[: seconds * 4]):
        t = np.arange(RATE) / RATE
        pitch = 220 * 2 ** (note / 12)
        tone = sum(np.sin(2 * np.pi * pitch * h * t) / h**1.2 for h in range(1, 6)) * np.exp(-3 * t)
        at = k * RATE // 4
        end = min(len(out), at + RATE)
        out[at:end] += tone[: end - at]
    return np.asarray(out / np.max(np.abs(out)) * 12_000, dtype=np.int16)


def measure(hearer: Hearer, sound: Samples) -> dict[str, Any]:
    """Words kept and stretches dropped of one sound."""
    cutter = Cutter()
    chunks = [*cutter.take(sound), *cutter.end()]
    kept: list[str] = []
    dropped: Counter[str] = Counter()
    try:
        for _, result in hearer.results(chunks):
            kept += [word.text for word in result.words]
            dropped.update(stretch.reason for stretch in result.dropped)
    except InputError as error:
        dropped[str(error)] += 1
    return {"seconds": round(len(sound) / RATE, 1), "chunks": len(chunks), "kept": len(kept), "dropped": dict(dropped)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--work", type=Path, default=cache_folder() / "benchmark")
    parser.add_argument("--to", type=Path)
    given = parser.parse_args()
    given.work.mkdir(parents=True, exist_ok=True)
    hearer = Hearer(embedded_model(), load_vocabulary())
    figures: dict[str, Any] = {"music": measure(hearer, music(20))}
    talkers = [p for p in (speak(v, "d1", given.work, None) for v in ("slt", "awb", "en-us")) if p is not None]
    if talkers:
        crowd = babble(20 * RATE, talkers)
        figures["eight talkers"] = measure(hearer, (crowd / np.max(np.abs(crowd)) * 12_000).astype(np.int16))
    for language, text in SAID.items():
        source = given.work / f"{language}.txt"
        source.write_text(text)
        spoken = speak_file(language, source, given.work / f"language-{language}.wav", None)
        if spoken is not None:
            figures[f"language {language}"] = measure(hearer, samples(spoken))
        sys.stderr.write(f"{language}: {figures.get(f'language {language}')}\n")
    out = json.dumps(figures, indent=1) + "\n"
    sys.stdout.write(out)
    if given.to:
        given.to.write_text(out)


if __name__ == "__main__":
    main()
