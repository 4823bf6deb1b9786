"""What the other lines say of each peak: the wavelength of its light, by the exact tuning law through the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.identity.law import U_LAW
from aotf_lab.crystal.identity.peaks import Peaks
from aotf_lab.crystal.tuning.law import TuningLaw
from aotf_lab.crystal.tuning.lines import LineTable
from aotf_lab.data import CatalogueLine
from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import Fit, FittedFunction, fit_problem, new_cause
from aotf_lab.physics.indices import optical_range_nm

__all__ = ["FEWEST_OTHERS", "LineFound", "curve_through", "line_table", "lines_found"]

FEWEST_OTHERS = 2
"""Lines that a curve needs before it says where another one lies."""


@dataclass(frozen=True)
class LineFound:
    """What the other matched lines say of one peak; None where they cannot.

    ``wavelength_nm`` is the vacuum wavelength at the peak, ``gap_nm`` the stated wavelength of its line minus that.
    """

    peak: str
    line: CatalogueLine | None
    wavelength_nm: UFloat | None

    @property
    def gap_nm(self) -> float | None:
        """Stated wavelength minus the one found (nm)."""
        if self.line is None or self.wavelength_nm is None:
            return None
        return self.line.wavelength_nm - float(self.wavelength_nm.n)

    @property
    def z(self) -> float | None:
        """The gap in standard uncertainties."""
        if self.gap_nm is None or self.line is None or self.wavelength_nm is None:
            return None
        return self.gap_nm / float(np.hypot(self.line.u_wavelength_nm, self.wavelength_nm.s))

    @property
    def badly_labelled(self) -> bool:
        """Whether the peak knows the line's wavelength three times better than its label does."""
        known = self.line is not None and self.wavelength_nm is not None
        return known and self.line.u_wavelength_nm > 3 * self.wavelength_nm.s  # type: ignore[union-attr]


def line_table(peaks: Peaks, lines: Mapping[str, CatalogueLine], u_law: float = U_LAW) -> LineTable:
    """Return matched peaks as the lines of a tuning curve; ``u_law`` (relative) is the law's own uncertainty."""
    rows = [peaks.names.index(name) for name in lines]
    f, u = peaks.frequency_mhz[rows], peaks.u_mhz[rows]
    return LineTable(
        tuple(line.name for line in lines.values()),
        tuple(line.name if line.name == name else f"{line.name} (peak {name})" for name, line in lines.items()),
        np.array([line.wavelength_nm for line in lines.values()]),
        np.array([line.u_wavelength_nm for line in lines.values()]),
        f,
        np.hypot(u, u_law * f),
        ("",) * len(rows),
        (),
    )


def curve_through(peaks: Peaks, lines: Mapping[str, CatalogueLine], law: TuningLaw, widened: float) -> Fit:
    """Return the fit of the exact law to matched peaks."""
    return fit_problem(law.problem(line_table(peaks, lines), widened))


def lines_found(
    peaks: Peaks, lines: Sequence[CatalogueLine | None], law: TuningLaw, widened: float
) -> tuple[LineFound, ...]:
    """Return what the other matched peaks say of each peak, in the order of the peaks.

    Wavelengths are looked for where the dispersion is published; about the matched lines where they lie beyond.
    """
    matched = {name: line for name, line in zip(peaks.names, lines, strict=True) if line is not None}
    low, high = _reach_nm([line.wavelength_nm for line in matched.values()], law.material)
    every = curve_through(peaks, matched, law, widened) if len(matched) >= FEWEST_OTHERS else None
    result = []
    for row, name in enumerate(peaks.names):
        others = {k: line for k, line in matched.items() if k != name}
        fit = every if name not in matched else None
        if fit is None and len(others) >= FEWEST_OTHERS:
            fit = curve_through(peaks, others, law, widened)
        nm = None if fit is None else _wavelength(fit, law, peaks, row, low, high)
        result.append(LineFound(name, matched.get(name), nm))
    return tuple(result)


def _reach_nm(nm: Sequence[float], material: str) -> tuple[float, float]:
    low, high = optical_range_nm(material)
    if not nm or (low <= min(nm) and max(nm) <= high):
        return low, high
    return 0.9 * min(nm), 1.1 * max(nm)


def _wavelength(fit: Fit, law: TuningLaw, peaks: Peaks, row: int, low_nm: float, high_nm: float) -> UFloat | None:
    """Return the vacuum wavelength (nm) at a peak, None beyond ``low_nm`` to ``high_nm`` or where the curve turns."""
    own = peaks.own[row]
    frequency = own + new_cause(f"tuning law at {peaks.names[row]}", U_LAW * own.n)
    try:
        found: UFloat = FittedFunction(fit, law).inverse(frequency, low_nm, high_nm)
    except AotfLabError:
        return None
    return found
