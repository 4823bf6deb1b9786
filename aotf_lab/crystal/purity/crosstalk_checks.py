"""What a crosstalk matrix is asked before it is believed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf, isfinite

from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.passbands.passbands import Passbands
from aotf_lab.crystal.purity.cells import Cell
from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import Check
from aotf_lab.estimation.checks import t_limit, z_limit

__all__ = ["left_out_check", "power_check", "prediction_check"]


def prediction_check(
    passbands: Passbands, cells: Mapping[tuple[str, str], Cell], places: Mapping[str, UFloat | float]
) -> tuple[Check, ...]:
    """Return the check that what was measured agrees with the numbers, and stays below the bounds."""
    judged = [c for c in cells.values() if isfinite(c.z)]
    if not judged:
        return ()
    limits = [_limit(c, len(judged)) for c in judged]
    worst, limit = max(zip(judged, limits, strict=True), key=lambda pair: abs(pair[0].z) / pair[1])
    detail = (
        f"line {worst.light_of} with the filter set to {worst.set_to}: measured {worst.measured_words} dB, predicted "
        f"{worst.predicted_words} dB, {abs(worst.z):.1f} standard uncertainties; limit {limit:.1f}"
    )
    if abs(worst.z) <= limit:
        return (Check("prediction", True, detail),)
    many = sum(abs(c.z) > most for c, most in zip(judged, limits, strict=True))
    f, peak = float(nominal_value(places[worst.set_to])), passbands.peak_mhz(worst.light_of).n
    width = passbands.fwhm_mhz(worst.light_of).n
    order = next((k for k in (2, 3) if abs(k * f - peak) < 3 * width), None)
    if worst.ratio is not None:
        why = "within the main lobe: has a peak moved, or is the RF power another?"
    elif order is not None:
        why = f"{order} x {f:.3f} MHz is the line's own frequency: a harmonic of the oscillator drives it"
    else:
        why = "more than any sidelobe gives: the files of two lines exchanged, light scattered in the crystal, its "
        why += "other polarisation, or stray light"
    count = f" (and {many - 1} other cells)" if many > 1 else ""
    return (Check("prediction", False, f"{detail}{count}; {why}"),)


def _limit(cell: Cell, cells: int) -> float:
    """Return the limit of |z| of one among ``cells``."""
    dof = inf if cell.measured is None else cell.measured.dof
    return t_limit(dof, cells) if isfinite(dof) else z_limit(cells)


def power_check(skipped: Sequence[str], same_power: float) -> tuple[Check, ...]:
    """Return the check that the leaks were read at the RF power of the set line, within the share ``same_power``."""
    if not skipped:
        return ()
    more = f" (and {len(skipped) - 1} more)" if len(skipped) > 1 else ""
    return (Check("RF power of the readings", False, f"{skipped[0]}{more}: limit {100 * same_power:.0f} %; "
                  "not used, give rf_power_w as it was"),)  # fmt: skip


def left_out_check(left_out: Mapping[str, AotfLabError]) -> tuple[Check, ...]:
    """Return the check that the leak of every line that was read could be used; it says why one was not."""
    if not left_out:
        return ()
    lines = ", ".join(left_out)
    why = "; ".join(map(str, left_out.values()))
    detail = f"those of line {lines} are not used, {len(left_out)} with 0 allowed; what leaks of it is only predicted"
    return (Check("leakage files", False, f"{detail}: {why}"),)
