"""How drive trades light for contrast.

In tune the light goes as sin^2 q, with q = (pi/2) sqrt(P / P_sat), while the sidelobes of other lines go as q^2. So the
crosstalk is least in weak drive and (pi/2)^2 = 3.92 dB higher at P_sat, where the light is greatest; beyond, it rises
fast. Light that needs no RF (scattered, stray) counts the more the weaker the drive, so that with it there is a best.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.passbands.passbands import Passbands
from aotf_lab.errors import AotfLabError, OutOfRangeError, Said
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Contrast", "contrast"]

_POINTS, _LEAST, _MOST = 600, 0.01, 1.6
"""RF powers over P_sat that are looked at unless others are asked for."""


@dataclass(frozen=True)
class Contrast:
    """Light of ``line`` and of the ``others`` over it, against RF power (n,) in true W; made by ``contrast``.

    ``light`` is the line's efficiency, ``level`` the others' light over its (coupled waves as they are), ``bound`` the
    same with no null counted on; both include the ``background``, which needs no RF.
    """

    line: str
    others: tuple[str, ...]
    rf_power_w: FloatArray
    light: FloatArray
    level: FloatArray
    bound: FloatArray
    saturation_power_w: float

    @property
    def most_light_w(self) -> float:
        """The RF power (W) of most light."""
        return float(self.rf_power_w[int(np.argmax(self.light))])

    @property
    def best_power_w(self) -> float:
        """The RF power (W) of best contrast; the least one looked at where nothing leaks without RF."""
        return float(self.rf_power_w[int(np.argmin(self.bound))])

    @property
    def best_db(self) -> float:
        """The best contrast (dB): the line's light over that of the others."""
        return float(-_db(self.bound).min())

    def contrast_db(self, rf_power_w: float) -> float:
        """Return the contrast (dB) at an RF power (W); raises ``OutOfRangeError`` outside those looked at."""
        low, high = float(self.rf_power_w[0]), float(self.rf_power_w[-1])
        if not low <= rf_power_w <= high:
            raise OutOfRangeError("RF power", rf_power_w, low, high, "W")
        return float(-np.interp(rf_power_w, self.rf_power_w, _db(self.bound)))

    def power_for(self, contrast_db: float) -> float:
        """Return the RF power (W) that gives the most light at a contrast of ``contrast_db`` or better.

        Raises ``AotfLabError`` where no drive reaches that contrast.
        """
        good = -_db(self.bound) >= contrast_db
        if not good.any():
            raise AotfLabError(
                f"no drive gives line {self.line} this contrast (dB)", found=contrast_db,
                allowed=f"{self.best_db:.1f} dB at the most, at {self.best_power_w:.3g} W",
                cure="ask for less, or set the filter off the peak, away from the other lines",
            )  # fmt: skip
        return float(self.rf_power_w[good][int(np.argmax(self.light[good]))])

    def plot(self, ax: Any = None) -> Any:
        """Draw crosstalk and light against RF power; mark most light and best contrast; return the Axes."""
        from aotf_lab.drawing.purity import plot_contrast

        marks = {"most light": self.most_light_w, "best contrast": self.best_power_w}
        return plot_contrast(self.rf_power_w, self.light, _db(self.level), _db(self.bound), marks, self.line, ax)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value in words), one pair per line of ``str``."""
        return (
            ("most light", self._at(self.most_light_w)),
            ("best contrast", self._at(self.best_power_w)),
            ("half of P_sat", self._at(0.5 * self.saturation_power_w)),
        )

    def _at(self, power_w: float) -> str:
        light = float(np.interp(power_w, self.rf_power_w, self.light))
        low, high = self.rf_power_w[0], self.rf_power_w[-1]
        contrast = f"{self.contrast_db(power_w):.1f} dB" if low <= power_w <= high else "not looked at"
        return f"{power_w:.3g} W: efficiency {light:.2f}, contrast {contrast} or better"

    def __str__(self) -> str:
        return rows_text(self._title, self.rows())

    def _repr_html_(self) -> str:
        return rows_html(self._title, self.rows())

    @property
    def _title(self) -> str:
        return f"Contrast of line {self.line} against {', '.join(self.others)}"


def contrast(
    passbands: Passbands,
    line: str,
    others: Sequence[str] | None = None,
    *,
    set_mhz: UFloat | float | None = None,
    rf_power_w: FloatArray | Sequence[float] | None = None,
    incident_mw: Mapping[str, float] | None = None,
    background: float = 0.0,
) -> Contrast:
    """Return light and contrast of ``line`` against RF power.

    ``others`` defaults to all other lines whose light is known, ``set_mhz`` to the line's peak, ``rf_power_w`` (n,)
    to 0.01 to 1.6 P_sat; end it at the crystal's rating. ``background`` is light that needs no RF, over the line's
    incident light: the off reading of its extinction. ``incident_mw`` (mW by line) weights each line by its light, all
    alike without it.

    Raises ``AotfLabError`` for lines without a passband, RF powers that are not above zero and in rising order, and
    a background below zero; ``FitError`` where a line's light is not known.
    """
    names = tuple(passbands.lines if others is None else others)
    names = tuple(n for n in names if n != line and (others is not None or passbands.of[n].saturation_power_w))
    if not names or line in names:
        raise AotfLabError(
            "a contrast against nothing, or against the line itself", found=Said(", ".join(names) or "no other line"),
            allowed="one other line or more", cure="name the lines whose light is not wanted",
        )  # fmt: skip
    f = float(nominal_value(passbands.peak_mhz(line) if set_mhz is None else set_mhz))
    saturation = float(passbands.saturation_power_w(line).n)
    power = saturation * np.geomspace(_LEAST, _MOST, _POINTS) if rf_power_w is None else np.asarray(rf_power_w, float)
    if power.size < 2 or not (np.all(power > 0) and np.all(np.diff(power) > 0)):
        raise AotfLabError("RF powers to look at", found=f"{power.tolist()[:5]}",
                           allowed="two or more, above 0 W, rising", cure="give them in rising order")  # fmt: skip
    if not background >= 0:
        raise AotfLabError("background light over incident light", found=background, allowed="0 or more",
                           cure="give the off reading over the incident light")  # fmt: skip
    weights = {n: 1.0 if incident_mw is None else incident_mw[n] / incident_mw[line] for n in names}
    light = passbands.nominal(line, f, power)
    nominal = sum((weights[n] * passbands.nominal(n, f, power) for n in names), np.full(power.shape, background))
    most = sum((weights[n] * passbands.upper(n, f, power) for n in names), np.full(power.shape, background))
    return Contrast(line, names, power, light, nominal / light, most / light, saturation)


def _db(ratio: FloatArray) -> FloatArray:
    return np.asarray(10.0 * np.log10(np.maximum(ratio, 1e-20)))
