"""The bench as a chain: what every reading becomes when one link of it changes.

Each formula is taken from ``physics``: light against drive and detuning by coupled waves, reflection at the connector,
a Gaussian beam past an edge. Malus: polarisation turned by an angle from the crystal's axis leaves cos^2 of it (any
textbook of optics). Light is what the meter shows where a dark reading is stored, else what it shows less the dark
reading of the day.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import cached_property

import numpy as np
from scipy import special

from aotf_lab.physics.beams import edge_share
from aotf_lab.physics.coupled_waves import diffraction_efficiency, passband_fwhm
from aotf_lab.physics.domain import Values, as_values
from aotf_lab.physics.edges import RISE_PER_DEVIATION
from aotf_lab.physics.rf import attenuation_factor

__all__ = ["READINGS", "STRONGEST_RATIO", "Chain", "StoredDay", "rise_past_edge", "share_through_slit"]

STRONGEST_RATIO = 3.9
"""Drive ratio P / P_sat beyond which no cause is followed: at 4 nothing is diffracted in tune."""
_WEAK_RATIO = 0.01
"""Drive ratio taken where none is stored: weak drive, light in proportion to RF power."""
_LEAST = 1e-9
_NONE = np.zeros(1)


def rise_past_edge(share: Values) -> Values:
    """Return the 10 to 90 % rise of a Gaussian beam of which an edge across the sound's way leaves ``share``.

    As a share of the rise of the whole beam: the quantiles of a normal distribution of which the rest is cut off.

    >>> [round(float(r), 3) for r in rise_past_edge(np.array([1.0, 0.5]))]
    [1.0, 0.593]
    """
    s = np.clip(share, _LEAST, 1.0)
    return as_values((special.ndtri(1.0 - 0.1 * s) - special.ndtri(1.0 - 0.9 * s)) / RISE_PER_DEVIATION)


def share_through_slit(width_mm: Values, diameter_mm: Values) -> Values:
    """Return the share of a Gaussian beam (1/e^2 diameter) that passes a centred slit of ``width_mm``.

    >>> round(float(share_through_slit(np.array(1.6), np.array(1.6))), 4)
    0.9545
    """
    half = 0.5 * width_mm
    return as_values(edge_share(-half, 0.0, diameter_mm) - edge_share(half, 0.0, diameter_mm))


class StoredDay:
    """The bench on the day when all was well: its ``numbers`` along rows, and what follows from them."""

    def __init__(self, numbers: Mapping[str, Values]) -> None:
        self.numbers = numbers

    def number(self, name: str, otherwise: float) -> Values:
        """Return a stored number, or ``otherwise``."""
        return self.numbers[name] if name in self.numbers else np.array([otherwise])

    def knows(self, *names: str) -> bool:
        """Whether all these numbers are stored."""
        return all(name in self.numbers for name in names)

    @cached_property
    def ratio(self) -> Values:
        """The drive ratio P / P_sat."""
        return np.clip(self.number("drive_ratio", _WEAK_RATIO), _LEAST, STRONGEST_RATIO)

    @cached_property
    def width(self) -> Values:
        """The passband's width over the weak-drive distance from peak to null."""
        return passband_fwhm(self.ratio)

    @cached_property
    def efficiency(self) -> Values:
        """The share of the light that is diffracted."""
        return np.maximum(diffraction_efficiency(self.detuning(self.number("detuning_mhz", 0.0)), self.ratio), _LEAST)

    def detuning(self, offset_mhz: Values) -> Values:
        """Return the detuning (rad) of an offset from the peak, zero where no width is stored.

        Half of the stored light, at the stored drive, stands half a stored FWHM off the peak; a ``lean`` of the
        passband, as ``crystal.scan`` has it, makes that half a little more on one side and less on the other.
        """
        if not self.knows("fwhm_mhz"):
            return _NONE
        even = as_values(np.pi * self.width * offset_mhz / self.numbers["fwhm_mhz"])
        return as_values(even * (1.0 - self.number("lean", 0.0) * np.tanh(even)))


class Chain:
    """A bench with a ``state`` of changes since its stored day; all values broadcast along rows.

    A change that is not named is none. Logarithms (``..._ln``) are of the share that is left.
    """

    def __init__(self, then: StoredDay, state: Mapping[str, Values]) -> None:
        self.then = then
        self.stored, self.number, self.is_stored = then.numbers, then.number, then.knows
        self._state = state

    def __getitem__(self, change: str) -> Values:
        return self._state.get(change, _NONE)

    @cached_property
    def box_k(self) -> Values:
        """By how much the oscillator's box is warmer."""
        return self["box_k"] + self["room_k"]

    @cached_property
    def crystal_k(self) -> Values:
        """By how much the crystal is warmer."""
        return self["crystal_k"] + self["room_k"]

    @cached_property
    def oscillator_mhz(self) -> Values:
        """The oscillator's shift at the set voltage."""
        by_box = self.number("mhz_per_k", 0.0) * self.box_k
        return self["oscillator_mhz"] + by_box + self.number("mhz_per_supply_v", 0.0) * self["supply_v"]

    @cached_property
    def peak_shift_mhz(self) -> Values:
        """The shift of the line's peak."""
        warm = self.number("relative_per_k", 0.0) * self.crystal_k
        return self["mount_mhz"] + warm * self.number("peak_mhz", self.stored_frequency)

    @property
    def stored_frequency(self) -> float:
        """The stored frequency as a plain number, zero without one."""
        return float(np.mean(self.number("frequency_mhz", 0.0)))

    @cached_property
    def rf_db(self) -> Values:
        """The change of the RF power at the connector."""
        return self["rf_db"] + self.number("db_per_supply_v", 0.0) * self["supply_v"]

    @cached_property
    def ratio(self) -> Values:
        """The drive ratio P / P_sat in the sound's column now."""
        return np.clip(
            self.then.ratio * attenuation_factor(self.rf_db + self["match_db"]), _LEAST, STRONGEST_RATIO + 0.05
        )

    def efficiency(self, *, best_frequency: bool = False, rf_share: float = 1.0, best_angle: bool = False) -> Values:
        """Return the share of the light in the crystal that is diffracted, over that of the stored day."""
        off_mhz = self.number("detuning_mhz", 0.0) + self.oscillator_mhz - self.peak_shift_mhz
        detuning = self.then.detuning(_NONE if best_frequency else off_mhz)
        now = diffraction_efficiency(detuning, rf_share * self.ratio)
        malus = np.ones(1) if best_angle else np.cos(np.radians(self["turn_deg"])) ** 2
        return as_values(malus * np.exp(self["sound_ln"]) * now / self.then.efficiency)

    @cached_property
    def entering(self) -> Values:
        """The share of the beam that enters the crystal."""
        return as_values(np.exp(self["before_ln"] + self["along_ln"]) * self._slit())

    def _slit(self) -> Values:
        if not self.is_stored("aperture_mm", "beam_diameter_mm"):
            return np.ones(1)
        width, diameter = (np.maximum(self.stored[n], _LEAST) for n in ("aperture_mm", "beam_diameter_mm"))
        wider = diameter * np.exp(self["wider_ln"])
        return as_values(share_through_slit(width, wider) / share_through_slit(width, diameter))

    @cached_property
    def laser(self) -> Values:
        """The laser's light over that of the stored day."""
        return as_values(np.exp(self["laser_ln"]))

    @cached_property
    def head(self) -> Values:
        """What the light meter shows of the same light, over that of the stored day."""
        return as_values(np.exp(self["head_ln"]))

    def light(self, efficiency: Values, *, own_head: bool = True) -> Values:
        """Return the light (mW) that a meter shows in the order."""
        dark = self.number("dark_mw", 0.0)
        then = self.stored["light_mw"] - dark
        share = self.entering * np.exp(self["behind_ln"]) * efficiency
        if not own_head:
            return as_values(then * self.laser * share)
        shown = self.shown("light_mw", share)
        if "full" in self._state and self.is_stored("range_mw"):
            shown = np.minimum(shown, self.stored["range_mw"])
        return shown

    def shown(self, name: str, share: Values | float = 1.0) -> Values:
        """Return what the light meter shows where ``share`` of the stored light of this name is left."""
        dark = self.number("dark_mw", 0.0)
        return as_values(self.head * self.laser * share * (self.stored[name] - dark) + dark + self.zero_mw)

    @cached_property
    def zero_mw(self) -> Values:
        """The shift of the meter's zero, given as a share of the stored light."""
        if not self.is_stored("light_mw"):
            return _NONE
        return as_values(self["zero_share"] * (self.stored["light_mw"] - self.number("dark_mw", 0.0)))

    def return_loss_db(self) -> Values:
        """Return the return loss that lets the changed share of the power in; 80 dB at the most."""
        inside = -np.expm1(-self.stored["return_loss_db"] * math.log(10.0) / 10.0)
        reflected = np.clip(1.0 - inside / attenuation_factor(-self["match_db"]), 1e-8, 1.0 - _LEAST)
        return as_values(-10.0 * np.log10(reflected))


READINGS: dict[str, tuple[str, Callable[[Chain], Values]]] = {
    "light_mw": ("light_mw", lambda c: c.light(c.efficiency())),
    "light_best_frequency_mw": ("light_mw", lambda c: c.light(c.efficiency(best_frequency=True))),
    "light_best_angle_mw": ("light_mw", lambda c: c.light(c.efficiency(best_angle=True))),
    "light_half_rf_mw": ("light_mw", lambda c: c.light(c.efficiency(rf_share=0.5))),
    "light_other_head_mw": ("light_mw", lambda c: c.light(c.efficiency(), own_head=False)),
    "incident_mw": ("incident_mw", lambda c: c.shown("incident_mw")),
    "incident_other_head_mw": ("incident_mw", lambda c: c.laser * (c.stored["incident_mw"] - c.number("dark_mw", 0.0))),
    "through_mw": ("through_mw", lambda c: c.shown("through_mw", c.entering)),
    "depletion": ("depletion", lambda c: c.stored["depletion"] * c.efficiency()),
    "dark_mw": ("dark_mw", lambda c: c.stored["dark_mw"] + c.zero_mw),
    "frequency_mhz": ("frequency_mhz", lambda c: c.stored["frequency_mhz"] + c.oscillator_mhz),
    "peak_mhz": ("peak_mhz", lambda c: c.stored["peak_mhz"] + c.peak_shift_mhz),
    "fwhm_mhz": ("fwhm_mhz", lambda c: c.stored["fwhm_mhz"] * passband_fwhm(c.ratio) / c.then.width),
    "rf_power_w": ("rf_power_w", lambda c: c.stored["rf_power_w"] * attenuation_factor(c.rf_db)),
    "return_loss_db": ("return_loss_db", Chain.return_loss_db),
    "polarisation_deg": ("polarisation_deg", lambda c: c.stored["polarisation_deg"] + c["turn_deg"]),
    "rise_us": (
        "rise_us",
        lambda c: c.stored["rise_us"] * np.exp(c["wider_ln"]) * rise_past_edge(np.exp(c["along_ln"])),
    ),
    "box_c": ("box_c", lambda c: c.stored["box_c"] + c.box_k),
    "crystal_c": ("crystal_c", lambda c: c.stored["crystal_c"] + c.crystal_k),
    "supply_v": ("supply_v", lambda c: c.stored["supply_v"] + c["supply_v"]),
}
"""Reading -> the stored number that it is held against, and what it becomes."""
