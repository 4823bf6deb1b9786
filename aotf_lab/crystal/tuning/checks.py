"""Does the published shape hold for these lines, and were they stated well enough?"""

from __future__ import annotations

import numpy as np

from aotf_lab.crystal.tuning.law import FREED, TuningLaw, shape_pulls
from aotf_lab.crystal.tuning.lines import LineTable
from aotf_lab.estimation import Check, Fit
from aotf_lab.estimation.checks import z_limit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.indices import optical_range_nm

__all__ = ["published_range_check", "shape_check", "stated_check", "strained"]


def strained(fit: Fit) -> bool:
    """Return whether the shape of ``fit`` lies beyond what the weak priors allow."""
    return max(shape_pulls(fit.values).values()) > z_limit()


def shape_check(weak: Fit, freed: Fit | None, law: TuningLaw, nm: FloatArray) -> Check:
    """Return the check that the published shape, with its weak priors, holds for these lines.

    ``weak`` is the fit under the weak priors, ``freed`` the one that was used instead of it, if
    one was; ``nm`` are wavelengths at which the two are compared.
    """
    pulls = [
        f"{name} {value:.3g} ({pull:.1f} standard uncertainties from 0)"
        for (name, pull), value in zip(shape_pulls(weak.values).items(), weak.values[1:], strict=True)
    ]
    detail = f"the lines ask for {' and '.join(pulls)} against the published birefringence of {law.material}"
    detail += f", limit {z_limit():.1f}"
    if freed is None:
        return Check("published shape", True, detail)
    apart = float(np.max(np.abs(law(nm, *freed.values) - law(nm, *weak.values))))
    reason = "the weak priors do not apply" if strained(weak) else "beyond its range the weak priors do not apply"
    return Check(
        "published shape",
        False,
        f"{detail}: {reason}, and were widened {FREED:g} times, which moves the curve by up to {apart:.3g} MHz; "
        "the crystal is not as published, or a line is mislabelled",
        at_stake_mhz=apart,
    )


def published_range_check(law: TuningLaw, lines: LineTable) -> Check:
    """Return the check that the lines lie where the published dispersion was measured."""
    low, high = optical_range_nm(law.material)
    allowed = f"{low:g} to {high:g} nm, the range of the published dispersion of {law.material}"
    beyond = law.beyond_nm(lines.wavelength_nm)
    if not beyond.size:
        return Check("published dispersion", True, f"all lines lie within {allowed}")
    detail = f"{beyond.size} of {len(lines.labels)} lines lie outside {allowed}, the first at {beyond[0]:.6g} nm"
    return Check("published dispersion", False, f"{detail}: its shape was extrapolated; use more lines, closely spaced")


def stated_check(lines: LineTable) -> Check | None:
    """Return the failed check that every line came with its uncertainties, None when they did."""
    notes = list(lines.notes)
    if lines.u_wavelength_nm is None:
        notes.append("no u_wavelength_nm is stated for any line: the wavelengths were taken as exact")
    if not notes:
        return None
    return Check("stated uncertainty of the lines", False, "; ".join(notes) + "; state it for each line")
