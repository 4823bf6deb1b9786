"""How high the first sidelobes of a measured passband are, beside what coupled waves give at its drive."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, ufloat
from uncertainties.umath import log10

from aotf_lab.crystal.scan.model import detuning_of
from aotf_lab.crystal.scan.point import ScanPoint
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.coupled_waves import sidelobe_level_db

__all__ = ["Sidelobe", "measured_sidelobes"]

_NULL, _TOP = np.pi, 4.493409457909064
"""Where sin s / s is first zero, and where its square has the first maximum beyond: the first root of tan s = s."""

_FEWEST = 3
_SEEN = 2.0


@dataclass(frozen=True)
class Sidelobe:
    """The first sidelobe on one side of a passband, without the meter's lag.

    ``side`` is "left" (below the centre) or "right"; ``relative`` its light over what coupled waves give at the
    fitted drive; ``theory_db`` the latter's level below the peak.
    """

    side: str
    relative: UFloat
    theory_db: float

    @property
    def level_db(self) -> UFloat | None:
        """Its level relative to the peak (dB), or None where it does not stand two of its u above nothing."""
        if not self.relative.n > _SEEN * self.relative.s:
            return None
        return self.theory_db + 10 * log10(self.relative)

    def __str__(self) -> str:
        if self.level_db is not None:
            return f"{self.side} {self.level_db:.2uS} dB (coupled waves {self.theory_db:.1f} dB)"
        most = max(self.relative.n, 0.0) + _SEEN * self.relative.s
        bound = self.theory_db + 10 * np.log10(most)
        return f"{self.side} below {bound:.1f} dB (coupled waves {self.theory_db:.1f} dB)"


def measured_sidelobes(point: ScanPoint) -> tuple[Sidelobe, ...]:
    """Return the sidelobes that the readings reach: three readings or more between the nulls, the top among them."""
    solution = point.solution
    model, values, f = solution.model, solution.fit.values, solution.table.frequency_mhz
    drive = model.drive(values)
    detuning = detuning_of(f, values[0], values[1], values[4], drive)
    phase = np.sqrt(np.maximum(0.25 * np.pi**2 * drive + detuning**2, 0.0))
    theory = float(sidelobe_level_db(max(drive, 0.0)))
    found = []
    for side, sign in (("left", -1), ("right", 1)):
        inside = (sign * detuning > 0) & (phase > _NULL) & (phase < 2 * _NULL)
        if inside.sum() >= _FEWEST and float(phase[inside].max()) >= _TOP:
            relative = _relative(point, inside.astype(float))
            found += [Sidelobe(side, relative, theory)] if np.isfinite(relative.s) else []
    return tuple(found)


def _relative(point: ScanPoint, inside: FloatArray) -> UFloat:
    """Return the light between the nulls over the model's, the drive held and the other parameters free."""
    table, model, fit = point.solution.table, point.solution.model, point.solution.fit
    light = table.light * model.signal(table.frequency_mhz, *fit.values) * inside
    more, u = point.term(model.trailing(light, fit.values), without=("drive_ratio",))
    return ufloat(1.0 + more, u, tag=f"scatter of {point.solution.problem.scatter}")
