"""What is asked of a scan's floor, of the ranges of its meter, and of the number of its peaks."""

from __future__ import annotations

from aotf_lab.crystal.scan.branches import Branches
from aotf_lab.crystal.scan.further import BRANCH_LIMIT, Further
from aotf_lab.estimation import Check
from aotf_lab.estimation.checks import t_limit, z_limit

__all__ = ["further_checks"]


def further_checks(found: Further, branches: Branches | None) -> list[Check]:
    """Return the checks "floor", "one peak" and, where ranges of the meter were found, "meter ranges"."""
    checks = [_floor_check(found), _peaks_check(found, branches)]
    if found.ranges_found and found.solution.model.ranges is not None:
        checks.append(_ranges_check(found))
    return checks


def _floor_check(found: Further) -> Check:
    fit = found.solution.fit
    limit = z_limit() if fit.u_known else t_limit(fit.dof)
    detail = f"slope of the floor {found.slope:.2g} +- {found.u_slope:.2g} mW/MHz, limit {limit:.1f} times that u"
    if found.moved_mhz is None:
        level = "a level floor was fitted" if abs(found.slope) <= limit * found.u_slope else "two peaks explain it"
        return Check("floor", True, f"{detail}: {level}")
    moved = 1e3 * found.moved_mhz
    detail = f"{detail}: a sloping floor was fitted; a level one would have moved the centre by {-moved:.2g} kHz"
    return Check("floor", True, detail, abs(found.moved_mhz))


def _peaks_check(found: Further, branches: Branches | None) -> Check:
    limit = f"limit {BRANCH_LIMIT:g}"
    if branches is None:
        return Check("one peak", True, f"a second passband would not raise twice the log likelihood beyond its {limit}")
    detail = f"two peaks: {branches}; together they raise twice the log likelihood by {branches.gained:.3g}, {limit}"
    cure = (
        "likely both polarisations of the light, or else a second line of the laser: put a polariser before the "
        f"crystal, or turn the polarisation by {branches.turn_deg:.2g} degrees (a half-wave plate by half of that)"
    ).replace("+/-", " +- ")
    return Check("one peak", False, f"{detail}; {cure}", abs(branches.separation_mhz.n) * branches.share.n)


def _ranges_check(found: Further) -> Check:
    ranges = found.solution.table.ranges
    count = 0 if ranges is None else int(ranges.max()) + 1
    detail = f"the digits show {count} ranges of the power meter, which differ at the same light"
    return Check("meter ranges", False, f"{detail}, 1 allowed; hold one range, or log it in a column range")
