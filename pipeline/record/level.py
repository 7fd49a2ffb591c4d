"""How loud it is, and what is wrong with the sound: nothing in it, much too quiet, too loud."""

from dataclasses import dataclass, field

import numpy as np

from pipeline.record.folder import RATE, Samples

_FLOOR_DB = -90.0
_QUIET_DB = -55.0  # a whole stretch below it holds no speech that could be made out
_CLIP, _CLIPPED = 32_700, 4  # samples in a block at the end of the scale
_DEAD_S, _QUIET_S, _CLIP_S = 3.0, 20.0, 4.0
_ABOVE_DB = 9.0  # over the noise of the room: somebody speaks, or something happens


def level_db(samples: Samples) -> float:
    """Root mean square in decibel of full scale, at least -90."""
    power = float(np.mean(samples.astype(np.float32) ** 2)) if len(samples) else 0.0
    return max(_FLOOR_DB, 10 * float(np.log10(max(power, 1e-9))) - 90.3)


@dataclass
class Level:
    """Takes the samples as they come. ``db``: of full scale, of the last block; ``silent_s``: nothing happened."""

    db: float = _FLOOR_DB
    silent_s: float = 0.0
    _dead_s: float = 0.0
    _quiet_s: float = 0.0
    _clip_s: float = 0.0
    _room_db: float = field(default=_QUIET_DB)

    def take(self, samples: Samples) -> None:
        """Measure a block of 16 kHz samples."""
        if not len(samples):
            return
        seconds = len(samples) / RATE
        sound = samples.astype(np.float32)
        peak = float(np.max(np.abs(sound)))
        self.db = level_db(samples)
        self._dead_s = self._dead_s + seconds if peak <= 1 else 0.0
        self._quiet_s = self._quiet_s + seconds if self.db < _QUIET_DB else 0.0
        clipped = int(np.count_nonzero(np.abs(sound) >= _CLIP)) >= _CLIPPED
        self._clip_s = _CLIP_S if clipped else max(0.0, self._clip_s - seconds)
        self._room_db = min(self.db, self._room_db + seconds / 10) if self.db > _FLOOR_DB else self._room_db
        happens = self.db > max(self._room_db + _ABOVE_DB, _QUIET_DB)
        self.silent_s = 0.0 if happens else self.silent_s + seconds

    @property
    def faults(self) -> tuple[str, ...]:
        """``dead`` (nothing but zeros), ``quiet``, ``clipping``; none where the sound is right."""
        found = []
        if self._dead_s >= _DEAD_S:
            found.append("dead")
        elif self._quiet_s >= _QUIET_S:
            found.append("quiet")
        if self._clip_s > 0:
            found.append("clipping")
        return tuple(found)
