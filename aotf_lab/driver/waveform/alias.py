"""Whether the frequency that a trace shows is the true one, by a counter or by what the oscillator can make."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, nominal_value, std_dev

from aotf_lab.driver.waveform.sampling import Sampling, folded, unfolded
from aotf_lab.driver.waveform.spectrum import Band
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.checks import Check, z_limit

__all__ = ["Known", "Place", "known"]

Place = tuple[int, int]
"""A true frequency by (k, sign): k times the sample rate, plus or minus the frequency shown."""

_AGREES = 2e-3
"""Counter and trace agree when they differ by less than this share: a scope's time base is within 0.2 %."""
_RESOLVED = 3.0


@dataclass(frozen=True)
class Known:
    """What is known of the frequency besides the trace: a counter's reading, and the range of the oscillator (MHz)."""

    counted_mhz: float | None
    u_counted_mhz: float
    expected_mhz: Band | None

    def bands(self, grid: Sampling) -> tuple[Band, ...]:
        """Return where in the spectrum, as sampled, the fundamental must lie; () where that is not known."""
        if self.counted_mhz is not None:
            fold = folded(self.counted_mhz, grid.rate_mhz)
            slack = self._slack(self.counted_mhz) + _RESOLVED / grid.span_us
            return ((fold - slack, fold + slack),)
        if self.expected_mhz is not None and self.expected_mhz[1] < 0.5 * grid.rate_mhz:
            return (self.expected_mhz,)
        return ()

    def _slack(self, frequency_mhz: float) -> float:
        return z_limit() * self.u_counted_mhz + _AGREES * frequency_mhz

    def asked(self, shown_mhz: float, grid: Sampling) -> tuple[tuple[Check, ...], tuple[Place, ...]]:
        """Return the checks of the frequency shown, and where they fail the places that may be the true one."""
        if self.counted_mhz is not None:
            return self._by_counter(self.counted_mhz, shown_mhz, grid)
        if self.expected_mhz is not None:
            return _by_range(self.expected_mhz, shown_mhz, grid)
        return (), ()

    def _by_counter(self, counted: float, shown: float, grid: Sampling) -> tuple[tuple[Check, ...], tuple[Place, ...]]:
        rate = grid.rate_mhz
        slack = self._slack(counted)
        said = f"the trace shows {shown:.6g} MHz and the counter {counted:.6g} MHz"
        if abs(shown - counted) <= slack:
            return (Check("counter", True, f"{said}: they agree"),), ()
        fold = folded(counted, rate)
        k = round(counted / rate)
        place = (k, 1 if counted >= k * rate else -1)
        said += f": at {rate:.6g} million samples per second {counted:.6g} MHz folds to {fold:.6g} MHz"
        if k > 0 and abs(fold - shown) <= slack + _AGREES * k * rate:
            cure = "the true frequency is the counter's, and the trace must be saved with a faster time base"
            return (Check("alias", False, f"{said}; {cure}"),), (place,)
        cure = "check the scope's time base, and that both saw the same setting"
        return (Check("counter", False, f"{said}, which is not what the trace shows; {cure}"),), ()


def _by_range(band: Band, shown: float, grid: Sampling) -> tuple[tuple[Check, ...], tuple[Place, ...]]:
    rate = grid.rate_mhz
    places = unfolded(shown, rate, band[0] * (1.0 - _AGREES), band[1] * (1.0 + _AGREES))
    said = f"the trace shows {shown:.6g} MHz, the oscillator makes {band[0]:.6g} to {band[1]:.6g} MHz"
    if places == ((0, 1),):
        return (Check("alias", True, f"{said}: no other frequency there looks the same at this sample rate"),), ()
    if not places:
        detail = f"{said}, of which none looks so at {rate:.6g} million samples per second"
        return (Check("expected range", False, f"{detail}; check the range stated, and the scope's time base"),), ()
    words = " or ".join(f"{k * rate + sign * shown:.6g} MHz" for k, sign in places)
    verdict = f"the true frequency is {words}" if len(places) == 1 else f"the true frequency may be {words}"
    cure = "save the trace again with a faster time base" + (", or read a counter" if len(places) > 1 else "")
    detail = f"{said}: at {rate:.6g} million samples per second {verdict}; {cure}"
    return (Check("alias", False, detail),), places


def known(counter_mhz: UFloat | float | None, expected_mhz: Band | None) -> Known:
    """Return what is known of the frequency; raises ``ReadingsError`` for a reading or a range that cannot be."""
    if counter_mhz is not None and not 0.0 < float(nominal_value(counter_mhz)) < np.inf:
        raise ReadingsError(
            "a counter's reading that is no frequency", found=float(nominal_value(counter_mhz)),
            allowed="MHz, above 0", cure="state counter_mhz in MHz, or leave it out",
        )  # fmt: skip
    if expected_mhz is not None and not 0.0 <= expected_mhz[0] < expected_mhz[1] < np.inf:
        raise ReadingsError(
            "a range of the oscillator that is none", found=Said(f"{expected_mhz[0]:.6g} to {expected_mhz[1]:.6g} MHz"),
            allowed="lowest and highest frequency in MHz", cure="state expected_mhz=(lowest, highest)",
        )  # fmt: skip
    if counter_mhz is None:
        return Known(None, 0.0, expected_mhz)
    return Known(float(nominal_value(counter_mhz)), float(std_dev(counter_mhz)), expected_mhz)
