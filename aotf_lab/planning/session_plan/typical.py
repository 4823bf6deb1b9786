"""The bench as it may be, before any reading: an oscillator of the stated range, a crystal of the stated cut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.given import given_numbers, given_table
from aotf_lab.physics.phase_matching import parallel_tangent_frequency

__all__ = ["Prospect", "ProspectLine", "typical_drive_v", "typical_frequency_mhz"]

_FINE = 2001
_JUNCTION_V, _GRADING, _SERIES, _PARALLEL = 0.7, 0.9, 0.3, 0.05


@dataclass(frozen=True)
class ProspectLine:
    """A line to be set: vacuum wavelength (nm) with its u as stated, and whether its light is there to be scanned."""

    wavelength_nm: float
    u_wavelength_nm: float
    scannable: bool = True


@dataclass(frozen=True)
class Prospect:
    """What is believed of a bench beforehand.

    ``lines`` by name, those that are to be set and the anchors; ``range_v`` and ``range_mhz`` of the oscillator;
    ``incidence_deg`` of the crystal's cut from the optic axis (``fit_cut`` tells it from one guess), ``fwhm_mhz`` of
    its passband. ``peak_power_mw`` is the diffracted light in a scan, ``wander_percent`` how the lasers' power wanders
    from reading to reading. ``backlash_v`` is the up/down difference of the pot, and ``one_sided`` says whether
    voltages will be set from one side only. ``saturation_power_w`` and ``rated_rf_power_w`` matter to efficiency alone.
    """

    lines: Mapping[str, ProspectLine]
    range_v: tuple[float, float] = (0.3, 14.0)
    range_mhz: tuple[float, float] = (40.0, 100.0)
    incidence_deg: float = 10.6
    material: str = "TeO2"
    fwhm_mhz: float = 0.3
    peak_power_mw: float = 1.0
    wander_percent: float = 1.0
    backlash_v: float = 0.0
    one_sided: bool = False
    saturation_power_w: float = 0.4
    rated_rf_power_w: float = 0.8
    peak_efficiency: float = field(default=0.85)

    def __post_init__(self) -> None:
        for name, ends in (("range_v", self.range_v), ("range_mhz", self.range_mhz)):
            pair = given_numbers(ends, name)
            if len(pair) != 2 or not 0 <= pair[0] < pair[1] < np.inf:
                raise AotfLabError(
                    f"{name} of the oscillator", found=Said(" to ".join(f"{n:g}" for n in pair)),
                    allowed="two rising numbers", cure="state the lowest and the highest, the lower first",
                )  # fmt: skip
        given_table(self.lines, "lines", "names and ProspectLine(nm, u_nm)", "write {name: ProspectLine(nm, u_nm)}")
        if not self.lines:
            raise AotfLabError("lines to plan for", found=0, allowed="one or more", cure="name the lines to be set")

    def frequency_mhz(self, wavelength_nm: FloatArray) -> FloatArray:
        """Return the frequencies (n,) by exact phase matching of the cut, with the published dispersion."""
        nm = np.asarray(wavelength_nm, dtype=float)
        return np.asarray(parallel_tangent_frequency(nm, self.incidence_deg, 589.0, material=self.material))


def typical_frequency_mhz(prospect: Prospect, drive_v: FloatArray) -> FloatArray:
    """Return the frequency (n,) of a typical oscillator of this range.

    A coil with a junction diode, a capacitor in series with it and one across both (resonance of a varactor tank,
    textbook form; its constants are common practice, no source), stretched to the stated range. How it bends matters
    to the plan only by how many readings a curve of that bend needs.
    """
    low, high = prospect.range_v

    def law(v: FloatArray) -> FloatArray:
        return np.asarray(1 / np.sqrt(_PARALLEL + 1 / (_SERIES + (1 + v / _JUNCTION_V) ** _GRADING)))

    ends = law(np.array([low, high]))
    share = (law(np.asarray(drive_v, dtype=float)) - ends[0]) / (ends[1] - ends[0])
    return np.asarray(prospect.range_mhz[0] + share * (prospect.range_mhz[1] - prospect.range_mhz[0]))


def typical_drive_v(prospect: Prospect, frequency_mhz: FloatArray) -> FloatArray:
    """Return the voltages (n,) that make ``frequency_mhz`` (n,); raises ``AotfLabError`` beyond the range."""
    low, high = prospect.range_mhz
    bad = ~((frequency_mhz >= low) & (frequency_mhz <= high))
    if bad.any():
        raise AotfLabError(
            "a line beyond the oscillator", found=Said(f"{frequency_mhz[bad][0]:.4g} MHz"),
            allowed=f"{low:g} to {high:g} MHz", cure="state the oscillator's range or the cut, or leave the line out",
        )  # fmt: skip
    grid = np.linspace(*prospect.range_v, _FINE)
    return np.interp(frequency_mhz, typical_frequency_mhz(prospect, grid), grid)
